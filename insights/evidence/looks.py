"""Looking at a trial before its end without fooling oneself: group-sequential bounds."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, stats

from insights.errors import RequestError

Spending = Literal["obrien_fleming", "pocock"]
SPENDINGS: tuple[Spending, ...] = ("obrien_fleming", "pocock")
NODES = 160
FARTHEST = 12.0
"""No bound beyond this many standard errors: chance alone never gets there."""

_NODE, _WEIGHT = np.polynomial.legendre.leggauss(NODES)


def spent(fraction: np.ndarray | float, alpha: float, spending: Spending) -> np.ndarray:
    """Give how much of the false-alarm allowance may be used up by a share of the trial.

    Parameters
    ----------
    fraction
        Share of the planned information, between 0 and 1.
    alpha
        Two-sided allowance for the whole trial.
    spending
        ``obrien_fleming``: almost nothing early, nearly all at the end. ``pocock``: about
        evenly.

    Notes
    -----
    The spending functions of Lan and DeMets (1983, Biometrika 70:659-663), half of the
    allowance on each side.
    """
    share = np.asarray(fraction, dtype=float)
    if spending == "obrien_fleming":
        return 4 * stats.norm.sf(stats.norm.isf(alpha / 4) / np.sqrt(share))
    return alpha * np.log1p(np.expm1(1) * share)


def bounds(fractions: ArrayLike, alpha: float, spending: Spending) -> np.ndarray:
    """Find how many standard errors stop the trial at each look, on either side.

    Parameters
    ----------
    fractions
        Share of the planned information at each look, rising, the last at most 1.
    alpha
        Two-sided chance of stopping by mistake where there is no difference, over all looks.
    spending
        As in :func:`spent`.

    Returns
    -------
    numpy.ndarray
        One bound per look.

    Raises
    ------
    RequestError
        Fractions that do not rise within 0 to 1, or an unknown spending.
    """
    times = _check(fractions, alpha, spending)
    allowed = np.diff(spent(times, alpha, spending), prepend=0.0) / 2
    walk = _Walk(drift=0.0)
    found = []
    for time, allowance in zip(times, allowed, strict=True):
        step = walk.towards(time)
        bound = FARTHEST
        if step.above(FARTHEST) < allowance:
            bound = optimize.brentq(
                lambda z, step=step, allowance=allowance: step.above(z) - allowance,
                0.0,
                FARTHEST,
                xtol=1e-10,
            )
        found.append(bound)
        walk = step.kept_within(bound)
    return np.array(found)


def crossing_chances(
    limits: ArrayLike, fractions: ArrayLike, drift: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Give the chance of first crossing the upper and the lower bound at each look.

    Parameters
    ----------
    limits
        Bounds in standard errors.
    fractions
        Share of the planned information at each look, rising.
    drift
        How many standard errors the true difference is worth at the full information.

    Returns
    -------
    above, below : numpy.ndarray
        One chance per look.

    Notes
    -----
    The recursion of Armitage, McPherson and Rowe (1969, JRSS A 132:235-244), by Gauss-Legendre
    quadrature.
    """
    walk = _Walk(drift=drift)
    above, below = [], []
    for limit, time in zip(np.asarray(limits), np.asarray(fractions), strict=True):
        step = walk.towards(time)
        above.append(step.above(limit))
        below.append(step.below(-limit))
        walk = step.kept_within(limit)
    return np.array(above), np.array(below)


def inflation(limits: ArrayLike, fractions: ArrayLike, alpha: float, power: float) -> float:
    """Give how much larger the trial must be at most, for the right to stop early."""
    fixed = stats.norm.isf(alpha / 2) + stats.norm.ppf(power)

    def short(drift: float) -> float:
        return float(crossing_chances(limits, fractions, drift)[0].sum()) - power

    return float(optimize.brentq(short, 0.5 * fixed, 2 * fixed, xtol=1e-10) / fixed) ** 2


class _Walk:
    """Where the summed evidence can stand after the looks so far, none of them decisive."""

    def __init__(
        self,
        drift: float,
        time: float = 0.0,
        at: np.ndarray | None = None,
        mass: np.ndarray | None = None,
    ) -> None:
        self.drift = drift
        self.time = time
        self.at = np.zeros(1) if at is None else at
        self.mass = np.ones(1) if mass is None else mass

    def towards(self, time: float) -> _Step:
        return _Step(self, time)


class _Step:
    """The evidence on its way from one look to the next: normal increments."""

    def __init__(self, walk: _Walk, time: float) -> None:
        self.walk = walk
        self.time = time
        self.mean = walk.at + walk.drift * (time - walk.time)
        self.sd = float(np.sqrt(time - walk.time))

    def above(self, z: float) -> float:
        return float(self.walk.mass @ stats.norm.sf((z * np.sqrt(self.time) - self.mean) / self.sd))

    def below(self, z: float) -> float:
        return float(
            self.walk.mass @ stats.norm.cdf((z * np.sqrt(self.time) - self.mean) / self.sd)
        )

    def kept_within(self, z: float) -> _Walk:
        half = z * np.sqrt(self.time)
        at = half * _NODE
        density = stats.norm.pdf((at[:, None] - self.mean) / self.sd) / self.sd
        return _Walk(self.walk.drift, self.time, at, half * _WEIGHT * (density @ self.walk.mass))


def _check(fractions: ArrayLike, alpha: float, spending: str) -> np.ndarray:
    times = np.asarray(fractions, dtype=float)
    if spending not in SPENDINGS:
        raise RequestError(f"spending is '{spending}'. Choose one of: {', '.join(SPENDINGS)}.")
    if not 0 < alpha < 1:
        raise RequestError(f"alpha is {alpha}. Give a chance between 0 and 1, like 0.05.")
    rising = len(times) > 0 and (np.diff(times, prepend=0.0) > 0).all() and times[-1] <= 1
    if not rising:
        raise RequestError(
            f"The looks are at {', '.join(f'{time:g}' for time in times) or 'no'} of the trial. "
            "Give shares that rise from above 0 to at most 1."
        )
    return times
