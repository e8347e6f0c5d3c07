"""Ratios of counts to their expectation, pulled together as far as chance made them differ."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

LOG_ALPHA = (-3.0, 8.0)
SPREADS = np.linspace(0.05, 2.0, 40)
"""Standard deviations of true ratios between groups that are weighed against each other."""
USUAL_SPREAD = 0.35
"""Before the counts are seen, the spread is most likely this much: a Rayleigh distribution."""
PSEUDO_COUNT = 0.5
NEGLIGIBLE = 1e-4
NEWTON_STEPS = 6
HALVINGS = 20


def log_likelihood(seen: np.ndarray, expected: np.ndarray, alpha: np.ndarray) -> np.ndarray:
    """Give the log likelihood of each group's count, up to what doesn't hang on ``alpha``.

    A Poisson count whose mean is ``expected`` times a factor drawn from Gamma(alpha, alpha), mean
    one: the negative binomial distribution.

    Parameters
    ----------
    seen, expected
        Counts, and what to expect of them, shape (G,).
    alpha
        One or several, shape (...).

    Returns
    -------
    numpy.ndarray
        Shape (..., G).
    """
    alpha = np.asarray(alpha, dtype=float)[..., None]
    return (
        special.gammaln(alpha + seen)
        - special.gammaln(alpha)
        - alpha * np.log1p(expected / alpha)
        - seen * np.log(alpha + expected)
    )


def most_likely_alpha(seen: np.ndarray, expected: np.ndarray) -> float:
    """Give the ``alpha`` under which the counts are most likely (:func:`log_likelihood`).

    The larger, the more alike the groups; the search ends at ``exp(8)``, where factors differ by
    less than 2%.
    """

    def misfit(log_alpha: float) -> float:
        return -float(log_likelihood(seen, expected, np.exp(log_alpha)).sum())

    return float(np.exp(optimize.minimize_scalar(misfit, bounds=LOG_ALPHA, method="bounded").x))


@dataclass(frozen=True, eq=False)
class Ratios:
    """What is known of each group's true ratio: a mixture of gamma distributions.

    Parameters
    ----------
    weight
        Of each spread between groups that is plausible, adding up to one, shape (A,).
    shape, rate
        Of each group's gamma distribution under each spread, shape (A, G).
    expected
        What to expect of each group, its level set by the others, shape (G,).
    spread
        Standard deviation of true ratios between groups, averaged over what is plausible.
    """

    weight: np.ndarray
    shape: np.ndarray
    rate: np.ndarray
    expected: np.ndarray
    spread: float

    @property
    def mean(self) -> np.ndarray:
        """The ratio of each group, shrunk, shape (G,)."""
        return self.weight @ (self.shape / self.rate)

    @property
    def variance(self) -> np.ndarray:
        """How unsure the ratio of each group is, shape (G,)."""
        mean = self.shape / self.rate
        return self.weight @ (mean / self.rate + (mean - self.mean) ** 2)

    def chance_above(self, ratio: float | np.ndarray) -> np.ndarray:
        """Give the chance that the true ratio is above this one, shape (G,)."""
        return self.weight @ special.gammaincc(self.shape, ratio * self.rate)

    def quantile(self, chance: float) -> np.ndarray:
        """Give the ratio that the true one is below with this chance, shape (G,).

        By bisection on the logarithm, between the smallest and the largest of the parts.
        """
        parts = np.log(special.gammaincinv(self.shape, chance) / self.rate)
        low, high = parts.min(axis=0), parts.max(axis=0)
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            above = 1 - self.chance_above(np.exp(middle)) > chance
            low, high = np.where(above, low, middle), np.where(above, middle, high)
        return np.exp((low + high) / 2)


def known_spread(seen: np.ndarray, expected: np.ndarray, alpha: float) -> Ratios:
    """Shrink ratios where both the expectation and the spread between groups are given.

    The posterior of a Poisson mean's factor under a Gamma(alpha, alpha) prior, mean
    ``(alpha + seen) / (alpha + expected)``.
    """
    seen, expected = (np.atleast_2d(np.asarray(each, dtype=float)) for each in (seen, expected))
    return Ratios(np.ones(1), alpha + seen, alpha + expected, expected[0], float(alpha**-0.5))


def shrunk_ratios(seen: np.ndarray, expected: np.ndarray) -> Ratios:
    """Estimate each group's true ratio to what the other groups let one expect.

    Parameters
    ----------
    seen
        Counts, shape (G,).
    expected
        What the mix of work lets one expect, up to one common factor, shape (G,).

    Returns
    -------
    Ratios

    Notes
    -----
    A group must not set its own yardstick: the common factor is estimated for each from the
    others alone, gamma with shape their count plus one half (Jeffreys' prior for a Poisson
    rate). Ratios are Gamma(alpha, alpha) between groups. The spread ``alpha ** -0.5`` is not
    plugged in at its most likely value, which with few groups is often none at all and
    makes intervals far too narrow (Carlin and Gelfand 1990, Journal of the American Statistical
    Association 85:105-114), but averaged over its posterior under a Rayleigh prior,
    which keeps off zero (Chung, Rabe-Hesketh, Dorie, Gelman and Liu 2013, Psychometrika
    78:685-709). Of G groups each set against the rest only G - 1 speak for themselves, and the
    likelihood counts by that share. How unsure the common factor is widens each part.
    """
    seen, expected = (np.asarray(values, dtype=float) for values in (seen, expected))
    others = seen.sum() - seen + PSEUDO_COUNT
    rest = expected.sum() - expected
    level = np.divide(others, rest, out=np.full(len(seen), np.nan), where=rest > 0)
    against = expected * level
    alpha = SPREADS**-2.0
    alone = np.isnan(against)
    prior = np.log(SPREADS) - (SPREADS / USUAL_SPREAD) ** 2 / 2
    own_share = 1 - 1 / len(seen)
    fit = own_share * log_likelihood(seen[~alone], against[~alone], alpha).sum(axis=1) + prior
    weight = np.exp(fit - fit.max())
    weight /= weight.sum()
    kept = weight > NEGLIGIBLE
    alpha, weight = alpha[kept, None], weight[kept] / weight[kept].sum()
    held = alpha + against
    unsure = special.polygamma(1, others) * (against / held) ** 2
    # The gamma distribution with the same mean and variance of its logarithm.
    shape = _trigamma_inverse(special.polygamma(1, alpha + seen) + unsure)
    mean = special.digamma(alpha + seen) - np.log(held)
    rate = np.exp(special.digamma(shape) - mean)
    return Ratios(weight, shape, rate, against, float(weight @ SPREADS[kept]))


def _trigamma_inverse(value: np.ndarray) -> np.ndarray:
    """Find the shape of the gamma distribution whose logarithm has this variance.

    Newton's method on 1 / trigamma, which is nearly a straight line, from below.
    """
    x = 0.5 + 1 / value
    for _ in range(NEWTON_STEPS):
        found = special.polygamma(1, x)
        x = x + found * (1 - found / value) / special.polygamma(2, x)
    return x
