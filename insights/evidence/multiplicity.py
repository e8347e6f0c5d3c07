"""Many questions of one record: one declared first, the others corrected as exploration."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.notes import Note, counted

CHANCE = 0.05
FALSE_SHARE = 0.10
DECLARED = "declared"
EXPLORATION = "exploration"
METHOD = (
    "The declared question is judged alone at 5%. All others are exploration: Benjamini-Hochberg "
    "keeps the expected share of false finds among those that stand out below the stated share."
)


@dataclass(frozen=True)
class ManyQuestions:
    """What stands out of several questions asked of one record.

    Parameters
    ----------
    table
        One row per question, in the order asked: ``question``, ``role`` (``declared`` or
        ``exploration``), ``p``, ``adjusted_p`` (the declared one's own p; for the others the
        smallest false share at which they would stand out; missing where no test was
        possible), ``stands_out``.
    declared
        The question named beforehand, None where there was none.
    false_share
        Expected share of false finds tolerated among those that stand out.
    method, notes
        How, and what a reader should know.
    """

    table: pd.DataFrame
    declared: str | None
    false_share: float
    method: str
    notes: tuple[Note, ...]


def many_questions(
    p_values: Mapping[str, float], *, declared: str | None, false_share: float = FALSE_SHARE
) -> ManyQuestions:
    """Judge one declared question alone and correct the rest.

    Parameters
    ----------
    p_values
        Question to p-value; NaN where it could not be tested.
    declared
        The one question that was named before looking; None says that none was.
    false_share
        Expected share of false finds to tolerate among the rest.

    Returns
    -------
    ManyQuestions

    Raises
    ------
    RequestError
        A p-value outside 0 to 1, an unknown declared question, or a share outside 0 to 1.
    """
    if not p_values:
        raise RequestError("No question was asked. Give at least one p-value.")
    if declared is not None and declared not in p_values:
        raise RequestError(
            f"The declared question '{declared}' is not among those asked: {', '.join(p_values)}."
        )
    if not 0 < false_share < 1:
        raise RequestError(f"false_share is {false_share}. Give one between 0 and 1, like 0.1.")
    for question, p in p_values.items():
        if not (np.isnan(p) or 0 <= p <= 1):
            raise RequestError(f"The p-value of '{question}' is {p}. It must lie between 0 and 1.")
    table = pd.DataFrame({"question": list(p_values), "p": list(p_values.values())})
    first = (table["question"] == declared).to_numpy()
    rest = ~first & table["p"].notna().to_numpy()
    adjusted = table["p"].to_numpy(dtype=float).copy()
    adjusted[rest] = adjust_benjamini_hochberg(adjusted[rest])
    table.insert(1, "role", np.where(first, DECLARED, EXPLORATION))
    table["adjusted_p"] = adjusted
    table["stands_out"] = adjusted <= np.where(first, CHANCE, false_share)
    return ManyQuestions(table, declared, false_share, METHOD, _notes(table, rest, declared))


def adjust_benjamini_hochberg(p: np.ndarray) -> np.ndarray:
    """Give each p-value the smallest false share at which it would stand out.

    The step-up procedure of Benjamini and Hochberg (1995, JRSS B 57:289-300): the ``i``-th
    smallest of ``m`` becomes the least of ``p_j m / j`` over ``j >= i``.
    """
    order = np.argsort(p)[::-1]
    scaled = p[order] * len(p) / np.arange(len(p), 0, -1)
    adjusted = np.empty(len(p))
    adjusted[order] = np.minimum(np.minimum.accumulate(scaled), 1)
    return adjusted


def _notes(table: pd.DataFrame, rest: np.ndarray, declared: str | None) -> tuple[Note, ...]:
    notes = []
    if declared is None:
        notes.append(
            Note(
                "none_declared",
                "No question was declared beforehand, so every find here is exploration: a hint "
                "of what to try, not a result.",
            )
        )
    if rest.any():
        notes.append(
            Note(
                "exploration",
                f"{counted(int(rest.sum()), 'further question was', 'further questions were')} "
                "asked of the same record; what stands out there is exploration, to be tried on "
                "new jobs.",
            )
        )
    untested = int(table["p"].isna().sum())
    if untested:
        notes.append(
            Note("untested", f"{counted(untested, 'question')} could not be tested at all.")
        )
    return tuple(notes)
