"""Draws of a fitted lifetime's parameters: how sure the curve is, few returns or many."""

from __future__ import annotations

import numpy as np

from insights.errors import EvidenceError
from insights.survival.fitting import WIDEST, Fit, climb, inverse_information, slope_and_curvature

LOG_SHAPE_SD = 0.5
"""Prior: the share back rises with time to a power between 0.4 and 2.7 (95%), centre 1."""
LOG_ODDS_SD = 2.0
"""Prior: between 2% and 98% of the units would ever return (95%), centre one half."""
ENOUGH_FOR_NORMAL = 200
"""From so many returns on, the draws are normal; before, importance sampling mends the shape."""
PROPOSALS_PER_DRAW = 2
TAIL_DF = 5
CHUNK = 256


def parameter_draws(fit: Fit, size: int, rng: np.random.Generator) -> np.ndarray:
    """Draw parameters from their posterior under a weak prior.

    Parameters
    ----------
    fit
        A family fitted to what was observed.
    size
        How many draws.
    rng
        Source of chance.

    Returns
    -------
    numpy.ndarray
        In the parameters of :class:`insights.survival.lifetimes.Likelihood`, shape (size, p).

    Notes
    -----
    The prior is flat in the level and normal in the log shape (:data:`LOG_SHAPE_SD`) and, for a
    mixture, in the log odds of ever returning (:data:`LOG_ODDS_SD`): without it, few returns
    leave both without bounds. Sampling importance resampling (Rubin 1988, Bayesian Statistics
    3:395-402) from a multivariate t distribution at the mode; from :data:`ENOUGH_FOR_NORMAL`
    returns on, the normal approximation at the mode.
    """
    likelihood = fit.likelihood
    usual = likelihood.family.usual_log_shape

    def log_posterior(theta: np.ndarray) -> np.ndarray:
        value = likelihood(theta) - ((theta[..., 1] - usual) / LOG_SHAPE_SD) ** 2 / 2
        if likelihood.family.cure:
            value = value - (theta[..., 2] / LOG_ODDS_SD) ** 2 / 2
        return value

    mode, top = climb(log_posterior, fit.theta)
    _, curvature = slope_and_curvature(log_posterior, mode)
    spread = np.linalg.cholesky(inverse_information(curvature)).T
    if likelihood.observed.events >= ENOUGH_FOR_NORMAL:
        drawn = mode + rng.standard_normal((size, len(mode))) @ spread
        return np.clip(drawn, -WIDEST[: len(mode)], WIDEST[: len(mode)])
    normal = rng.standard_normal((PROPOSALS_PER_DRAW * size, len(mode)))
    stretch = np.sqrt(TAIL_DF / rng.chisquare(TAIL_DF, (len(normal), 1)))
    proposed = mode + (normal * stretch) @ spread
    inside = (np.abs(proposed) < WIDEST[: len(mode)]).all(axis=1)
    proposed, distance = proposed[inside], ((normal * stretch)[inside] ** 2).sum(axis=1)
    density = -(TAIL_DF + len(mode)) / 2 * np.log1p(distance / TAIL_DF)
    parts = [log_posterior(proposed[i : i + CHUNK]) for i in range(0, len(proposed), CHUNK)]
    return proposed[_resample(np.concatenate(parts) - top - density, size, rng)]


def _resample(log_weight: np.ndarray, size: int, rng: np.random.Generator) -> np.ndarray:
    """Choose places by weight, evenly spaced (systematic resampling)."""
    weight = np.exp(log_weight - np.nanmax(log_weight))
    weight[~np.isfinite(weight)] = 0.0
    if not weight.sum() > 0:
        raise EvidenceError("The curve's parameters can't be bounded. Wait for more returns.")
    reached = np.cumsum(weight) / weight.sum()
    wanted = (np.arange(size) + rng.random()) / size
    return np.minimum(np.searchsorted(reached, wanted), len(weight) - 1)
