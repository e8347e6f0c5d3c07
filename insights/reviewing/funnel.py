"""How far chance alone takes a count from its expectation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import stats

WARNING_SIGMAS = 1.959963984540054
ACTION_SIGMAS = 3.0902323061678132
"""Normal quantiles of 95% and of 99.8%, the two limits of a funnel."""
RARE = 0.05


def exact_limits(law: Any, sigmas: float) -> tuple[np.ndarray, np.ndarray]:
    """Give the limits that counts under a discrete law stay inside with a given chance.

    Parameters
    ----------
    law
        A frozen distribution of :mod:`scipy.stats` on 0, 1, 2, ..., such as ``poisson(expected)``.
    sigmas
        How wide, as standard deviations of a normal distribution with the same chance.

    Returns
    -------
    low, high : numpy.ndarray
        Not whole: interpolated between neighbouring counts, so that limits fall smoothly with
        the size of a group (Spiegelhalter 2005, Statistics in Medicine 24:1185-1202, appendix).
        Low ones never below zero, high ones never below one: a single comeback is never out of
        limits, however little was expected.
    """
    tail = stats.norm.sf(sigmas)
    low, high = (_interpolated(law, chance) for chance in (tail, 1 - tail))
    return np.maximum(low, 0.0), np.maximum(high, 1.0)


def sigma_limits(law: Any, sigmas: float, phi: float = 1.0) -> tuple[np.ndarray, np.ndarray]:
    """Give the limits of so many standard deviations about the mean, never below zero.

    Parameters
    ----------
    law
        A frozen distribution of :mod:`scipy.stats`.
    sigmas
        How many.
    phi
        How many times its variance the groups really scatter (:func:`dispersion`).
    """
    mean, spread = np.asarray(law.mean()), np.asarray(law.std()) * np.sqrt(phi)
    return np.maximum(mean - sigmas * spread, 0.0), mean + sigmas * spread


@dataclass(frozen=True)
class Dispersion:
    """Whether groups differ more than counts do by chance.

    Parameters
    ----------
    phi
        Mean squared distance from the expectation, in variances; about 1 under chance alone.
    p
        Chance of so large a value if only chance were at work.
    """

    phi: float
    p: float

    @property
    def is_over(self) -> bool:
        """Whether chance alone would rarely scatter the groups so."""
        return self.phi > 1 and self.p < RARE


def dispersion(seen: np.ndarray, expected: np.ndarray) -> Dispersion:
    """Compare the scatter of counts with that of Poisson counts (Spiegelhalter 2005, section 4).

    Parameters
    ----------
    seen, expected
        Shape (G,); the expectations are scaled to add up to the counts.

    Notes
    -----
    ``phi`` is Pearson's chi-square over its degrees of freedom G - 1. Its chance is that of a
    multiple of a chi-square with the mean and the variance that Pearson's statistic has with
    small counts as well: of N counts in G groups, 2 (G - 1) plus the sum of 1 / expected less
    (G^2 + 2 G - 2) / N (Haldane 1937, Biometrika 29:133-143).
    """
    seen, expected = (np.asarray(values, dtype=float) for values in (seen, expected))
    used = expected > 0
    size, total = int(used.sum()), float(seen[used].sum())
    freedom = size - 1
    # A single count falls into one group or another: that says nothing of their scatter.
    if freedom < 1 or total < 2:
        return Dispersion(1.0, 1.0)
    mean = expected[used] * total / expected[used].sum()
    statistic = float(((seen[used] - mean) ** 2 / mean).sum())
    variance = 2 * freedom + float((1 / mean).sum()) - (size**2 + 2 * size - 2) / total
    scale = variance / (2 * freedom)
    return Dispersion(statistic / freedom, float(stats.chi2.sf(statistic / scale, freedom / scale)))


def _interpolated(law: Any, chance: float) -> np.ndarray:
    count = law.ppf(chance)
    above, at = law.cdf(count), law.pmf(count)
    return np.asarray(count - (above - chance) / at)
