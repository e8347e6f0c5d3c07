"""Which jobs are the same unit, with reasons."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.history.schema import History
from insights.history.serials import normalise
from insights.notes import Note

LINK_AT = 0.99
REVIEW_FROM = 0.20
PAIR_COLUMNS = ("job_id", "earlier_job_id", "probability", "status", "reasons")


@dataclass(frozen=True)
class Links:
    """Which jobs belong to one unit, and how surely.

    Parameters
    ----------
    unit_of_job
        One whole number a job, in the order of ``history.jobs``; equal numbers, same unit.
    pairs
        One row per pair of jobs considered beyond equal serials: ``job_id``,
        ``earlier_job_id``, ``probability``, ``status`` (``linked``, ``doubtful`` or
        ``decided``), ``reasons``.
    link_at, review_from
        The two thresholds in force.
    notes
        Counts of units and of links by kind.
    """

    unit_of_job: np.ndarray
    pairs: pd.DataFrame
    link_at: float = LINK_AT
    review_from: float = REVIEW_FROM
    notes: tuple[Note, ...] = ()


def link_units(
    history: History, *, link_at: float = LINK_AT, review_from: float = REVIEW_FROM
) -> Links:
    """Say which jobs are the same unit.

    Parameters
    ----------
    history
        The jobs.
    link_at, review_from
        Probability from which a pair is linked, and from which it is put to a person.

    Returns
    -------
    Links
    """
    serial = normalise(history.jobs["unit_serial"])
    model = normalise(history.jobs["model"])
    key = pd.Series(np.arange(len(serial)).astype(str), dtype="object")
    known = serial.notna()
    key[known] = "/" + model[known].fillna("") + "/" + serial[known]
    unit_of_job, _ = pd.factorize(key)
    pairs = pd.DataFrame({name: [] for name in PAIR_COLUMNS})
    return Links(unit_of_job, pairs, link_at, review_from)
