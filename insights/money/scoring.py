"""How well forecasts of counts did: coverage, calibration, sharpness."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from insights.errors import RequestError

LEAST_CHANCE = 1e-12
"""A count given no chance at all scores as if it had this one."""
PIT_BINS = 10


@dataclass(frozen=True)
class Ratio:
    """Observed over expected.

    Parameters
    ----------
    value, low, high
        The ratio with its exact interval; NaN where nothing was expected.
    """

    value: float
    low: float
    high: float


def observed_over_expected(observed: int, expected: float, level: float = 0.95) -> Ratio:
    """Divide a count by what was expected, with exact Poisson bounds.

    The bounds of Garwood (1936, Biometrika 28:437-442).
    """
    if not expected > 0:
        return Ratio(float("nan"), float("nan"), float("nan"))
    tail = (1 - level) / 2
    low = stats.gamma.ppf(tail, observed) if observed else 0.0
    high = stats.gamma.ppf(1 - tail, observed + 1)
    return Ratio(observed / expected, float(low / expected), float(high / expected))


def hits_chance(hits: int, forecasts: int, level: float) -> float:
    """Give the chance of so few hits or fewer, if every interval held with its stated chance."""
    return float(stats.binom.cdf(hits, forecasts, level))


def log_score(chances: np.ndarray, observed: int) -> float:
    """Give minus the log of the chance that was given to what came; lower is better."""
    chance = chances[observed] if observed < len(chances) else 0.0
    return float(-np.log(max(chance, LEAST_CHANCE)))


def pit_bounds(chances: np.ndarray, observed: int) -> tuple[float, float]:
    """Give the chance of less than what came, and of that or less."""
    reached = np.append(0.0, np.cumsum(chances))
    place = min(observed, len(chances))
    return float(reached[place]), float(min(reached[min(place + 1, len(chances))], 1.0))


def pit_heights(low: np.ndarray, high: np.ndarray, bins: int = PIT_BINS) -> np.ndarray:
    """Lay out where what came fell among the chances given: flat where well calibrated.

    Parameters
    ----------
    low, high
        :func:`pit_bounds` of each forecast, shape (N,).
    bins
        How many of equal width.

    Returns
    -------
    numpy.ndarray
        Relative frequency by bin, adding up to one; NaN without forecasts.

    Raises
    ------
    RequestError
        Fewer than one bin.

    Notes
    -----
    The non-randomised probability integral transform for counts of Czado, Gneiting and Held
    (2009, Biometrics 65:1254-1261): each forecast spreads evenly between its bounds.
    """
    if bins < 1:
        raise RequestError(f"The number of bins is {bins}. Give 1 or more.")
    if not len(low):
        return np.full(bins, np.nan)
    edges = np.linspace(0, 1, bins + 1)[:, None]
    width = high - low
    wide = width > np.finfo(float).tiny  # a width below it has no finite inverse
    ramp = np.divide(edges - low, width, out=(edges >= high) * 1.0, where=wide)
    reached = np.clip(ramp, 0, 1).mean(axis=1)
    # A forecast without width on an edge still falls into a bin.
    reached[0], reached[-1] = 0.0, 1.0
    return np.diff(reached)


def poisson_chances(mean: float) -> np.ndarray:
    """Give the chances of a Poisson count as far as they matter."""
    most = int(np.ceil(mean + 12 * np.sqrt(mean) + 30))
    return stats.poisson.pmf(np.arange(most + 1), mean)


def binomial_chances(jobs: int, shares: np.ndarray) -> np.ndarray:
    """Give the chances of a binomial count, averaged over equally likely shares.

    Shape (M,), as far as they matter and at most up to ``jobs``.
    """
    mean = jobs * float(np.max(shares))
    most = min(jobs, int(np.ceil(mean + 12 * np.sqrt(mean) + 30)))
    count = np.arange(most + 1)[:, None]
    log = (
        special.gammaln(jobs + 1)
        - special.gammaln(count + 1)
        - special.gammaln(jobs - count + 1)
        + special.xlogy(count, shares)
        + special.xlog1py(jobs - count, -shares)
    )
    return np.exp(log).mean(axis=1)
