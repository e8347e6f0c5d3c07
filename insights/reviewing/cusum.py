"""The arithmetic of a cumulative sum that starts again at zero."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

NEVER = -1


@dataclass(frozen=True, eq=False)
class Climb:
    """Charts followed over some days.

    Parameters
    ----------
    level
        Of every chart at the end of each day, shape (C, D).
    began
        For each day, the last one at whose end the chart was at zero, which is where the
        change is thought to have come; -1 where it came in above zero and has not been there
        since, shape (C, D).
    """

    level: np.ndarray
    began: np.ndarray


def climb(step: np.ndarray, start: np.ndarray | float = 0.0) -> Climb:
    """Follow charts that go up and down by evidence and never below zero.

    Parameters
    ----------
    step
        Evidence of each day for a change against none, log likelihood ratio, shape (C, D).
    start
        Level before the first day, shape (C,) or one for all.

    Returns
    -------
    Climb

    Notes
    -----
    ``W = max(0, W + step)`` (Page 1954, Biometrika 41:100-115). With comebacks on a clock the
    step of a day is ``log(ratio)`` for each that came less ``ratio - 1`` for each to be expected
    (Gandy, Kvaloy, Bottle and Zhou 2010, Biometrika 97:375-388), taken together: a busy day is
    weighed as a whole, as its order is not known. The chart stands as high above the lowest point
    of the free sum as the free sum does, so days need no loop.
    """
    start = np.broadcast_to(np.asarray(start, dtype=float), step.shape[:1])[:, None]
    free = np.cumsum(step, axis=1) + start
    lowest = np.minimum(np.minimum.accumulate(free, axis=1), 0.0)
    at_zero = np.where(free <= lowest, np.arange(step.shape[1]), NEVER)
    return Climb(free - lowest, np.maximum.accumulate(at_zero, axis=1))


def event_maxima(gaps: np.ndarray, jump: float, drift: float, lengths: np.ndarray) -> np.ndarray:
    """Find how high charts climb within given lengths of their own clock.

    Parameters
    ----------
    gaps
        From event to event, shape (R, N); long enough to pass the longest length.
    jump
        Rise at each event.
    drift
        Fall for each unit of the clock.
    lengths
        Where to look, rising, shape (G,).

    Returns
    -------
    numpy.ndarray
        Highest level reached by each length, shape (R, G); 0 where nothing happened.
    """
    when = np.cumsum(gaps, axis=1)
    before = jump * np.arange(gaps.shape[1]) - drift * when
    lowest = np.minimum(np.minimum.accumulate(before, axis=1), 0.0)
    highest = np.maximum.accumulate(before + jump - lowest, axis=1)
    highest = np.concatenate([np.zeros((len(gaps), 1)), highest], axis=1)
    place = np.array([np.searchsorted(row, lengths, side="right") for row in when])
    return np.take_along_axis(highest, place, axis=1)


def first_day(reached: np.ndarray) -> np.ndarray:
    """Give the first day on which something holds, -1 where it never does: (C, D) to (C,)."""
    return np.where(reached.any(axis=1), reached.argmax(axis=1), NEVER)
