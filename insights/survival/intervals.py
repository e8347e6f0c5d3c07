"""Bounds: log-log where there are enough returns, exact-type where few or none."""

from __future__ import annotations

import numpy as np
from scipy import special

from insights.errors import RequestError

FEW_RETURNS = 2
"""Below so many returns a share has exact-type bounds, from there on log-log ones.

Chosen on simulated shops (tests/survival/test_coverage.py). At 1% and 40 jobs bounds can only
cover about 95% or about 99.5%, as a second return does or does not exclude the truth: log-log
bounds of two returns do, exact, mid-P and later switches don't. Elsewhere the rules hardly differ.
"""
ROUNDING = 1e-12


def share_bounds(
    share: np.ndarray,
    variance: np.ndarray,
    at_risk: np.ndarray,
    returns: np.ndarray,
    level: float = 0.95,
) -> tuple[np.ndarray, np.ndarray]:
    """Bound a cumulative share on each day.

    Parameters
    ----------
    share, variance
        The estimated share and its variance, each shape (D,).
    at_risk
        How many were still at risk on the day, shape (D,).
    returns
        How many counted returns the share rests on, up to and including the day, shape (D,).
    level
        Confidence, between 0 and 1.

    Returns
    -------
    low, high : numpy.ndarray
        Shape (D,), between 0 and 1.

    Notes
    -----
    Without a return, Clopper and Pearson's bounds of none among those still at risk; with a
    single one, the same on :func:`effective_jobs`; from :data:`FEW_RETURNS` on, log-log bounds.
    Where all have come back, or the units' influences cancel to no variance at all, no log-log
    bounds exist, and Clopper and Pearson's stay.
    """
    many = (returns >= FEW_RETURNS) & _estimable(share * (1 - share), variance)
    few = ~many
    low, high = np.empty(len(share)), np.empty(len(share))
    jobs = effective_jobs(share[few], variance[few], at_risk[few])
    low[few], high[few] = exact_bounds(share[few], jobs, level)
    low[many], high[many] = log_log_bounds(share[many], variance[many], level)
    return low, high


def effective_jobs(share: np.ndarray, variance: np.ndarray, at_risk: np.ndarray) -> np.ndarray:
    """Count how many fully followed, independent jobs would pin the share down as well.

    ``share * (1 - share) / variance``; where no variance can be estimated (no return, or
    every job returned) the number still at risk.
    """
    spread = share * (1 - share)
    known = _estimable(spread, variance)
    return np.divide(spread, variance, out=np.asarray(at_risk, dtype=float).copy(), where=known)


def exact_bounds(
    share: np.ndarray, jobs: np.ndarray, level: float = 0.95
) -> tuple[np.ndarray, np.ndarray]:
    """Bound a share of ``jobs``, which need not be whole, as Clopper and Pearson do.

    The beta quantiles of Clopper and Pearson (1934, Biometrika 26:404-413): 0 of 40 gives 0 to
    8.8%. Without jobs nothing is known: 0 to 1.
    """
    tail = (1 - level) / 2
    back = np.clip(share, 0, 1) * jobs
    rest = jobs - back
    low, high = np.zeros(len(back)), np.ones(len(back))
    some, left = back > 0, rest > 0
    low[some] = special.betaincinv(back[some], rest[some] + 1, tail)
    high[left] = special.betaincinv(back[left] + 1, rest[left], 1 - tail)
    return low, high


def log_log_bounds(
    share: np.ndarray, variance: np.ndarray, level: float = 0.95
) -> tuple[np.ndarray, np.ndarray]:
    """Bound a share strictly between 0 and 1 on the scale of log(-log(1 - share)).

    The interval of Kalbfleisch and Prentice (1980, The Statistical Analysis of Failure Time
    Data, section 1.3); it stays between 0 and 1.
    """
    hazard = -np.log1p(-share)
    width = normal_quantile(level) * np.sqrt(variance) / ((1 - share) * hazard)
    return -np.expm1(-hazard * np.exp(-width)), -np.expm1(-hazard * np.exp(width))


def mean_bounds(
    mean: np.ndarray,
    variance: np.ndarray,
    at_risk: np.ndarray,
    returns: np.ndarray,
    level: float = 0.95,
) -> tuple[np.ndarray, np.ndarray]:
    """Bound a mean that builds up event by event: returns per unit, or days lost to returns.

    Parameters
    ----------
    mean, variance
        The estimate and its variance, each shape (D,).
    at_risk, returns, level
        As in :func:`share_bounds`; ``returns`` is not needed.

    Returns
    -------
    low, high : numpy.ndarray
        Shape (D,), never below 0.

    Notes
    -----
    The exact bounds of a Poisson count (Garwood 1936, Biometrika 28:437-442) for the effective
    count ``mean**2 / variance``, scaled back, as Fay and Feuer (1997, Statistics in Medicine
    16:791-801) do for weighted sums of Poisson counts. Without a return, none seen among those
    still at risk.
    """
    known = _estimable(mean, variance)
    units = np.divide(mean, variance, out=np.asarray(at_risk, dtype=float).copy(), where=known)
    count = mean * units
    tail = (1 - level) / 2
    low, high = np.zeros(len(count)), np.full(len(count), np.inf)
    some, watched = count > 0, units > 0
    low[some] = special.gammaincinv(count[some], tail) / units[some]
    high[watched] = special.gammaincinv(count[watched] + 1, 1 - tail) / units[watched]
    return low, high


def _estimable(spread: np.ndarray, variance: np.ndarray) -> np.ndarray:
    """Tell where spread and variance are more than the rounding error of a zero."""
    return (spread > ROUNDING) & (variance > ROUNDING * spread)


def normal_quantile(level: float) -> float:
    """Give the two-sided normal quantile of a confidence level.

    Raises
    ------
    RequestError
        The level is not between 0 and 1.
    """
    if not 0 < level < 1:
        raise RequestError(f"The confidence level is {level}. Give one between 0 and 1, like 0.95.")
    return float(special.ndtri((1 + level) / 2))
