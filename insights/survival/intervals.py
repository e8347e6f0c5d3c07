"""Bounds of a share: log-log where there are enough returns, exact-type where few or none."""

from __future__ import annotations

import numpy as np
from scipy import stats

from insights.errors import RequestError

ENOUGH_RETURNS = 10
"""From so many returns on, the log-log bounds; below, the exact-type ones."""


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
    """
    exact = exact_bounds(share, effective_jobs(share, variance, at_risk), level)
    smooth = log_log_bounds(share, variance, level)
    many = (returns >= ENOUGH_RETURNS) & (share < 1)
    return np.where(many, smooth[0], exact[0]), np.where(many, smooth[1], exact[1])


def effective_jobs(share: np.ndarray, variance: np.ndarray, at_risk: np.ndarray) -> np.ndarray:
    """Count how many fully followed, independent jobs would pin the share down as well.

    ``share * (1 - share) / variance``; where no variance can be estimated (no return, or
    every job returned) the number still at risk.
    """
    spread = share * (1 - share)
    known = (spread > 0) & (variance > 0)
    return np.divide(spread, variance, out=np.asarray(at_risk, dtype=float).copy(), where=known)


def exact_bounds(
    share: np.ndarray, jobs: np.ndarray, level: float = 0.95
) -> tuple[np.ndarray, np.ndarray]:
    """Bound a share of (possibly fractional) ``jobs`` by the beta quantiles of Clopper-Pearson.

    With whole numbers these are the bounds of Clopper and Pearson (1934, Biometrika
    26:404-413): 0 of 40 gives 0 to 8.8%.
    """
    tail = (1 - level) / 2
    back = np.clip(share, 0, 1) * jobs
    rest = jobs - back
    with np.errstate(invalid="ignore"):
        low = np.where(back > 0, stats.beta.ppf(tail, back, rest + 1), 0.0)
        high = np.where(rest > 0, stats.beta.ppf(1 - tail, back + 1, rest), 1.0)
    return np.where(jobs > 0, low, 0.0), np.where(jobs > 0, high, 1.0)


def log_log_bounds(
    share: np.ndarray, variance: np.ndarray, level: float = 0.95
) -> tuple[np.ndarray, np.ndarray]:
    """Bound a share on the scale of log(-log(1 - share)).

    The interval of Kalbfleisch and Prentice (1980, section 1.3); it stays between 0 and 1 and
    is no interval at all (NaN) where the share is 0 or 1.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
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
    """Bound a mean cumulative number of returns per unit on each day.

    Parameters
    ----------
    mean, variance
        The estimate and its variance, each shape (D,).
    at_risk, returns, level
        As in :func:`share_bounds`.

    Returns
    -------
    low, high : numpy.ndarray
        Shape (D,), never below 0.

    Notes
    -----
    From :data:`ENOUGH_RETURNS` on, normal bounds on the scale of the logarithm. Below, the
    exact bounds of a Poisson count (Garwood 1936, Biometrika 28:437-442) with ``mean**2 /
    variance`` as the effective count; without any return, zero seen among those at risk.
    """
    known = (mean > 0) & (variance > 0)
    units = np.divide(mean, variance, out=np.asarray(at_risk, dtype=float).copy(), where=known)
    count = mean * units
    tail = (1 - level) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        width = normal_quantile(level) * np.sqrt(variance) / mean
        low = np.where(count > 0, stats.gamma.ppf(tail, count) / units, 0.0)
        high = stats.gamma.ppf(1 - tail, count + 1) / units
        many = returns >= ENOUGH_RETURNS
        return (
            np.where(many, mean * np.exp(-width), low),
            np.where(many, mean * np.exp(width), high),
        )


def normal_quantile(level: float) -> float:
    """Give the two-sided normal quantile of a confidence level.

    Raises
    ------
    RequestError
        The level is not between 0 and 1.
    """
    if not 0 < level < 1:
        raise RequestError(f"The confidence level is {level}. Give one between 0 and 1, like 0.95.")
    return float(stats.norm.ppf((1 + level) / 2))
