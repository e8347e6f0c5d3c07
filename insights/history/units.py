"""Which jobs are the same unit, with reasons."""
from __future__ import annotations
from dataclasses import dataclass
import numpy as np
import pandas as pd
from insights.history.schema import History
from insights.notes import Note

LINK_AT = 0.99
REVIEW_FROM = 0.20

@dataclass(frozen=True)
class Links:
    """Which jobs belong to one unit, and how surely.

    Parameters
    ----------
    unit_of_job
        One whole number a job, in the order of ``history.jobs``; equal numbers, same unit.
    pairs
        One row per pair of jobs considered beyond equal serials: ``job_id``,
        ``earlier_job_id``, ``probability``, ``status`` (``linked`` or ``doubtful``), ``reasons``.
    link_at, review_from
        The two thresholds in force.
    """

    unit_of_job: np.ndarray
    pairs: pd.DataFrame
    link_at: float = LINK_AT
    review_from: float = REVIEW_FROM
    notes: tuple[Note, ...] = ()

def link_units(history: History, *, link_at: float = LINK_AT, review_from: float = REVIEW_FROM) -> Links:
    raise NotImplementedError
