"""What the customer said and what the bench wrote: many ways to say it, slips, red herrings.

Chance of its own, so that a scenario with words is, words aside, the same history as one without.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from synthetic.identity import mistype
from synthetic.scenario import Scenario
from synthetic.visits import Facts

NOTHING_SAID = -1
SLIPS_OF_A_WORDING = 8
STREAM = 7  # beside the scenario's seed


def tell(
    scenario: Scenario, facts: Facts, symptom: np.ndarray, finished: np.ndarray
) -> dict[str, pd.Series]:
    """Put each job's symptom into words, and write the bench's notes.

    Parameters
    ----------
    scenario
        The truth; its ``telling`` holds the words.
    facts
        What each job really was. Added are the ``symptom`` that the complaint speaks of and its
        ``wording``, both counted through ``telling.complaints``, -1 where it says nothing.
    symptom
        The symptom that the customer has in mind, shape (jobs,).
    finished
        Which jobs have been worked on, shape (jobs,): notes are written then.

    Returns
    -------
    dict
        ``complaint`` and ``notes``.
    """
    random = np.random.default_rng((scenario.seed, STREAM))
    telling = scenario.telling
    count = len(symptom)
    untold = random.random(count) < telling.untold_share
    empty = random.random(count) < telling.empty_phrase_share
    ways = [way for some in telling.complaints.values() for way in some]
    said = _taken(telling.empty_phrases, random.integers(0, len(telling.empty_phrases), count))
    wording = _chosen(ways, symptom, random)
    said = pc.if_else(pa.array(empty), said, _typed(ways, wording, random, telling.mistyped_share))
    opening = _taken(telling.openings, random.integers(0, len(telling.openings), count))
    ending = _taken(telling.endings, random.integers(0, len(telling.endings), count))
    complaint = pc.binary_join_element_wise(opening, said, ending, "")
    facts["symptom"] = np.where(untold | empty, NOTHING_SAID, symptom)
    facts["wording"] = np.where(untold | empty, NOTHING_SAID, wording)
    return {
        "complaint": _series(_unless(untold, complaint)),
        "notes": _notes(scenario, facts["cause"], finished, random),
    }


def _notes(
    scenario: Scenario, cause: np.ndarray, finished: np.ndarray, random: np.random.Generator
) -> pd.Series:
    """Write notes as benches do: mostly once the fault is found, so that they name it."""
    telling = scenario.telling
    count = len(cause)
    noted = finished & (random.random(count) < telling.noted_share)
    fault = cause < len(scenario.causes)  # no fault found and misuse leave no finding
    found = fault & (random.random(count) < telling.finding_share)
    ways = [telling.findings[name] for name in scenario.cause_names]
    wording = _chosen(ways, np.where(fault, cause, 0), random)
    finding = _typed(ways, wording, random, telling.mistyped_share)
    remark = _taken(telling.remarks, random.integers(0, len(telling.remarks), count))
    return _series(_unless(~noted, pc.if_else(pa.array(found), finding, remark)))


def _chosen(
    ways: Sequence[Sequence[str]], thing: np.ndarray, random: np.random.Generator
) -> np.ndarray:
    """Choose one of the ways of saying each thing, counted through all of them."""
    many = np.array([len(some) for some in ways])
    start = np.cumsum(many) - many
    return start[thing] + np.floor(random.random(len(thing)) * many[thing]).astype(np.int64)


def _typed(
    ways: Sequence[Sequence[str]],
    wording: np.ndarray,
    random: np.random.Generator,
    mistyped_share: float,
) -> pa.Array:
    """Write wordings down, with a slip of the keys here and there."""
    flat = [text for some in ways for text in some]
    slips = [mistype(text, random).lower() for text in flat for _ in range(SLIPS_OF_A_WORDING)]
    slip = wording * SLIPS_OF_A_WORDING + random.integers(0, SLIPS_OF_A_WORDING, len(wording))
    slipped = random.random(len(wording)) < mistyped_share
    return _taken([*flat, *slips], np.where(slipped, len(flat) + slip, wording))


def _taken(texts: Sequence[str], codes: np.ndarray) -> pa.Array:
    return pa.array(list(texts)).take(pa.array(codes))


def _unless(silent: np.ndarray, texts: pa.Array) -> pa.Array:
    return pc.if_else(pa.array(silent), pa.scalar(None, pa.string()), texts)


def _series(values: pa.Array) -> pd.Series:
    return pd.Series(pd.array(values, dtype="string[pyarrow]"))
