"""The history as it was known on a past day."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.history.schema import BY_NAME, History, column
from insights.notes import Note

FOUND_ON_THE_BENCH = (
    "root_cause",
    "upstream_cause",
    "cause_removed",
    "earlier_work",
    "technician",
    "bench_minutes",
    "parts_cost",
    "price",
    "term_days",
    "relation",
    "decision",
    "claim_cost",
    "notes",
)
"""Entered when a job is finished; with the practices, lots and readings."""


@dataclass(frozen=True)
class KnownThen:
    """A history as it was known on a past day.

    Parameters
    ----------
    history
        The jobs that had arrived by then, with what was known of them.
    rows
        Which rows of the later history they are, rising, shape (N,).
    """

    history: History
    rows: np.ndarray


def as_known(history: History, day: pd.Timestamp) -> History:
    """Give the history as it was known at the end of a past day, from its own dates.

    See :func:`known_then`, which also says which rows are left.
    """
    return known_then(history, day).history


def known_then(history: History, day: pd.Timestamp) -> KnownThen:
    """Take out of a history everything that its own dates show to be later than a day.

    Jobs received later are dropped. A later hand-back, report or end of service is blanked. Of
    a job still on the bench then, everything found or decided there is blanked: causes,
    relation, decision, claim cost, price, term, practices, lots and readings.

    Parameters
    ----------
    history
        As it is recorded now.
    day
        The past day; what happened on it was known.

    Returns
    -------
    KnownThen

    Raises
    ------
    RequestError
        No job had arrived by then.

    Notes
    -----
    Without a log of entries some things can't be known: when a cell was really written, so that
    a late entry counts as known from its date; what was corrected since, so that the corrected
    value counts as known then; when a decision or a claim's cost was settled, which counts as
    known from the hand-back (or end of service) of its own visit; and, for a visit with neither,
    from its arrival.
    """
    jobs = history.jobs
    received = jobs["received"].to_numpy()
    rows = np.flatnonzero(received <= day.to_datetime64())
    if not len(rows):
        raise RequestError(
            f"No job had arrived by {day:%Y-%m-%d}; the first came on "
            f"{jobs['received'].min():%Y-%m-%d}. Give a later day."
        )
    known = jobs.take(rows).reset_index(drop=True)
    finished = known["handed_back"].fillna(known["ended_on"])
    unfinished = (finished > day).to_numpy()
    left = (known["ended_on"] > day).to_numpy()
    blanked = {name: known[name].mask(unfinished) for name in known if _is_found(str(name))}
    blanked |= {
        name: known[name].mask(known[name] > day)
        for name in known
        if str(name) in BY_NAME and BY_NAME[str(name)].kind == "date"
    }
    blanked["ended_how"] = known["ended_how"].mask(left)
    note = Note(
        "as_known",
        f"The record as it was known on {day:%Y-%m-%d}, as far as its dates tell: cells corrected "
        "or entered late since count as known then.",
        len(rows),
    )
    past = replace(history, jobs=known.assign(**blanked), notes=(*history.notes, note))
    return KnownThen(past, rows)


def _is_found(name: str) -> bool:
    described = column(name)
    return name in FOUND_ON_THE_BENCH or (described is not None and name not in BY_NAME)
