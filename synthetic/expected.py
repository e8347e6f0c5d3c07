"""What becomes of hand-backs on average: the hazards summed day by day, nothing simulated.

Cumulative hazards are taken as straight within a day. Against the Weibull law itself that moves
a cause's daily chance by the order of the squared daily hazard, under one in a million here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from synthetic.hazards import daily_hazards
from synthetic.scenario import Scenario

Count = Literal["all", "faults", "covered"]
CHUNK_CELLS = 30_000  # of the order of a processor's cache


@dataclass(frozen=True)
class Ends:
    """Chances of each way to end, by day after hand-back.

    Parameters
    ----------
    jobs
        Which rows of the multipliers these are.
    counted
        Chance of a counted comeback that arrives on that day, by cause, shape (causes, n, days);
        with ``count="all"`` no fault found and misuse follow the causes.
    uncounted
        Chance of any other comeback on that day, shape (n, days).
    left
        Chance of leaving service on that day with the shop knowing it, shape (n, days).
    """

    jobs: slice
    counted: np.ndarray
    uncounted: np.ndarray
    left: np.ndarray

    @property
    def running(self) -> np.ndarray:
        """Chance that the episode still runs at the start of each day, shape (n, days)."""
        gone = self.counted.sum(axis=0) + self.uncounted + self.left
        return 1 - np.cumsum(gone, axis=-1) + gone


def expected_ends(
    scenario: Scenario,
    multipliers: np.ndarray,
    term_days: np.ndarray,
    days: int,
    count: Count,
) -> Iterator[Ends]:
    """Give the chances of every end for each job, some jobs at a time.

    Parameters
    ----------
    scenario
        The truth.
    multipliers
        Hazard multipliers, practices included, shape (n, causes).
    term_days
        Each job's term, infinite for cover that lasts, shape (n,).
    days
        How far to go.
    count
        Which comebacks are counted: every one; faults; faults that showed inside the term.

    Yields
    ------
    Ends
    """
    step = max(1, CHUNK_CELLS // days)
    for start in range(0, len(multipliers), step):
        jobs = slice(start, min(start + step, len(multipliers)))
        yield _ends(scenario, jobs, multipliers[jobs], term_days[jobs], days, count)


def _ends(
    scenario: Scenario,
    jobs: slice,
    multipliers: np.ndarray,
    term_days: np.ndarray,
    days: int,
    count: Count,
) -> Ends:
    causes = len(scenario.causes)
    hazards = daily_hazards(scenario, days)
    total = multipliers @ hazards[:causes] + hazards[causes:].sum(axis=0)
    earlier = np.cumsum(hazards, axis=1) - hazards
    before = np.exp(-(multipliers @ earlier[:causes] + earlier[causes:].sum(axis=0)))
    # Chance that something happens on the day, per unit of that day's hazard.
    something = np.where(total > 0, -np.expm1(-total) / np.where(total > 0, total, 1), 0) * before
    returning = scenario.returning
    in_term = np.arange(1, days + 1) <= term_days[:, None]
    brought = something
    if returning.in_term_share != 1 or returning.out_of_term_share != 1:
        shares = np.where(in_term, returning.in_term_share, returning.out_of_term_share)
        brought = something * shares
    faults = np.stack(
        [brought * multipliers[:, [cause]] * hazards[cause] for cause in range(causes)]
    )
    others = np.stack([brought * hazards[causes], brought * hazards[causes + 1]])
    left = something * hazards[causes + 2] * scenario.leaving.recorded_share
    if count == "all":
        counted, uncounted = np.concatenate([faults, others]), np.zeros_like(left)
    elif count == "faults":
        counted, uncounted = faults, others.sum(axis=0)
    else:
        counted = faults * in_term
        uncounted = (faults * ~in_term).sum(axis=0) + others.sum(axis=0)
    post = np.array(returning.post_days_shares)
    post /= post.sum()
    return Ends(jobs, _posted(counted, post), _posted(uncounted, post), left)


def _posted(chances: np.ndarray, post: np.ndarray) -> np.ndarray:
    """Move chances from the day of the fault to the days of arrival (last axis)."""
    if len(post) == 1:
        return chances
    arrived = post[0] * chances
    for delay in range(1, min(len(post), chances.shape[-1])):
        arrived[..., delay:] += post[delay] * chances[..., :-delay]
    return arrived


def cumulative_share(counted: np.ndarray, left: np.ndarray, running: np.ndarray) -> np.ndarray:
    """Sum the counted comebacks by day, other comebacks taken away, leaving service competing.

    Parameters
    ----------
    counted
        Expected counted comebacks by cause and day, shape (causes, ..., days).
    left, running
        Expected leavings, and episodes running at the start of the day, shape (..., days).

    Returns
    -------
    numpy.ndarray
        Share back by the end of each day, shape (causes, ..., days); NaN where none runs.
    """
    running = np.where(running > 0, running, np.nan)
    hazards = counted / running
    staying = np.cumprod(1 - hazards.sum(axis=0) - left / running, axis=-1)
    before = np.concatenate([np.ones_like(staying[..., :1]), staying[..., :-1]], axis=-1)
    return np.cumsum(hazards * before, axis=-1)
