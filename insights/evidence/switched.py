"""A practice switched on for everyone at once leaves only before and after."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.evidence.compared import LEVEL
from insights.evidence.reading import Reading
from insights.evidence.result import Switch

CLEAR = 0.95
FEWEST_JOBS = 10


@dataclass(frozen=True)
class Found:
    """The day of a switch, and the share done the way asked about before it and from it on."""

    date: pd.Timestamp
    share_before: float
    share_after: float


def find_switch(handed_back: np.ndarray, arm: np.ndarray) -> Found | None:
    """Look for one day that splits the two ways of working almost cleanly.

    Parameters
    ----------
    handed_back
        Day of each job.
    arm
        Of each job; -1 for jobs not compared.

    Returns
    -------
    Found or None
        None unless 95% of the jobs on either side were done alike, ten or more on each side.
    """
    chosen = arm >= 0
    days, day = np.unique(handed_back[chosen], return_inverse=True)
    jobs = np.bincount(day)
    done = np.bincount(day, arm[chosen] == LEVEL)
    before, done_before = np.cumsum(jobs)[:-1], np.cumsum(done)[:-1]
    after, done_after = jobs.sum() - before, done.sum() - done_before
    fair = (before >= FEWEST_JOBS) & (after >= FEWEST_JOBS)
    if not fair.any():
        return None
    share_before, share_after = done_before / before, done_after / after
    clear = np.maximum(
        np.minimum(1 - share_before, share_after), np.minimum(share_before, 1 - share_after)
    )
    best = int(np.where(fair, clear, -1).argmax())
    if clear[best] < CLEAR:
        return None
    return Found(pd.Timestamp(days[best + 1]), float(share_before[best]), float(share_after[best]))


def weigh_switch(found: Found | None, reading: Reading) -> Switch | None:
    """Set before against after, less the change in causes that the practice can't touch."""
    if found is None:
        return None
    return Switch(
        date=found.date,
        share_before=found.share_before,
        share_after=found.share_after,
        before_after=reading.plain_difference,
        less_untouched=reading.plain_less_untouched,
    )
