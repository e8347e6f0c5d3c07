"""What the bench finds of an earlier repair. Chance of its own, so that all else stays the same.

The state of earlier work changes no hazard in any scenario: units repaired before elsewhere come
back like the others of their model, age and condition, whatever was found in them.
"""

from __future__ import annotations

import numpy as np

from insights.history.schema import EARLIER_WORK
from synthetic.scenario import Scenario

STREAM = 8  # beside the scenario's seed
ELSEWHERE = (0.50, 0.20, 0.22, 0.08)
HERE = (0.93, 0.01, 0.02, 0.04)
"""Shares of sound, parts missing, substandard and unknown (invented)."""


def find_earlier_work(
    scenario: Scenario, elsewhere: np.ndarray, here: np.ndarray, finished: np.ndarray
) -> np.ndarray:
    """Draw in what state the bench finds earlier work, on jobs that it has opened.

    Parameters
    ----------
    scenario
        The truth.
    elsewhere, here
        Which jobs' units had been repaired before, and where, shape (jobs,).
    finished
        Which jobs have been worked on, shape (jobs,).

    Returns
    -------
    numpy.ndarray
        Codes of :data:`insights.history.schema.EARLIER_WORK`, -1 where nothing is written, shape
        (jobs,).
    """
    draw = np.random.default_rng((scenario.seed, STREAM)).random(len(elsewhere))
    last = len(EARLIER_WORK) - 1
    theirs, ours = (
        np.minimum(np.searchsorted(np.cumsum(shares), draw, side="right"), last)
        for shares in (ELSEWHERE, HERE)
    )
    return np.where(finished & elsewhere, theirs, np.where(finished & here, ours, -1))
