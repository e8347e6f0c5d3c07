"""The chance that a job is done the way in question, given what was known before it."""

from __future__ import annotations

from typing import Literal

import numpy as np
from scipy import special

from insights.evidence.compared import AGAINST, LEVEL
from insights.evidence.fitting import PRIOR_SD, Design, climb

Population = Literal["not_yet", "all", "done", "comparable"]
POPULATIONS: tuple[Population, ...] = ("not_yet", "all", "done", "comparable")
EXACT = 1e-9
NEAR = 0.01
"""Draws are refitted to within this share of a standard error."""


def fit_propensity(
    design: Design, jobs: np.ndarray, start: np.ndarray | None = None, prior_sd: float = PRIOR_SD
) -> np.ndarray:
    """Fit a logistic model of the choice of a practice.

    Parameters
    ----------
    design
        Columns of the covariates, P patterns.
    jobs
        Jobs by arm and pattern, or weights, shape (2, P, B).
    start
        Coefficients of the whole record, shape (1 + p,), to refit draws from; None fits the
        whole record itself.
    prior_sd
        Of the Normal prior on every covariate's log odds ratio; the intercept has none.

    Returns
    -------
    numpy.ndarray
        Intercept and coefficients, shape (1 + p, B).
    """
    total = jobs.sum(axis=0)
    precision = np.append(0.0, np.full(design.width, prior_sd**-2))

    def gradient(beta: np.ndarray) -> np.ndarray:
        residual = jobs[LEVEL] - total * chances(design, beta)
        slope = np.vstack([residual.sum(axis=0), design.transposed @ residual])
        return slope - precision[:, None] * beta

    def curvature(beta: np.ndarray) -> np.ndarray:
        chance = chances(design, beta)
        return _bordered(design, total * chance * (1 - chance)) + np.diag(precision)

    if start is None:
        share = jobs[LEVEL].sum(axis=0) / total.sum(axis=0)
        begin = np.zeros((1 + design.width, total.shape[1]))
        begin[0] = special.logit(np.clip(share, 0.01, 0.99))
        return climb(gradient, curvature, begin, curvature(begin), EXACT)
    begin = np.repeat(start[:, None], total.shape[1], axis=1)
    return climb(
        gradient, curvature, begin, _mean_curvature(design, total, start) + np.diag(precision), NEAR
    )


def chances(design: Design, beta: np.ndarray) -> np.ndarray:
    """Give the chance of each pattern, shape (P, B)."""
    return special.expit(beta[0] + design.matrix @ beta[1:])


def population_weights(population: Population, jobs: np.ndarray, chance: np.ndarray) -> np.ndarray:
    """Weigh patterns as the population named has them, shape (P, B).

    Parameters
    ----------
    population
        ``all`` jobs compared, those ``done`` so, those ``not_yet`` done so, or ``comparable``
        ones: all, weighted by how open the choice was (the overlap population of Li, Morgan
        and Zaslavsky 2018, J. Am. Stat. Assoc. 113:390-400).
    jobs
        Shape (2, P, B).
    chance
        Shape (P, B).
    """
    if population == "not_yet":
        return jobs[AGAINST]
    if population == "done":
        return jobs[LEVEL]
    if population == "all":
        return jobs.sum(axis=0)
    return jobs.sum(axis=0) * chance * (1 - chance)


def job_weights(population: Population, chance: np.ndarray) -> np.ndarray:
    """Weigh a job of each arm and pattern so that both arms resemble the population, (2, P, B).

    Inverse-probability weights: the population's tilt over the chance of the job's own arm
    (Li, Morgan and Zaslavsky 2018, table 1). A pattern that is always or never done one way
    gets no finite weight from them; the prior keeps chances off 0 and 1.
    """
    other = 1 - chance
    tilt = {
        "not_yet": other,
        "done": chance,
        "all": np.ones_like(chance),
        "comparable": chance * other,
    }[population]
    return np.stack([tilt / other, tilt / chance])


def _bordered(design: Design, weights: np.ndarray) -> np.ndarray:
    """Compute Z' diag(weights) Z for Z the columns with an intercept before them: (B, 1+p, 1+p)."""
    out = np.empty((weights.shape[1], 1 + design.width, 1 + design.width))
    out[:, 0, 0] = weights.sum(axis=0)
    out[:, 0, 1:] = out[:, 1:, 0] = (design.transposed @ weights).T
    out[:, 1:, 1:] = design.cross(weights)
    return out


def _mean_curvature(design: Design, total: np.ndarray, beta: np.ndarray) -> np.ndarray:
    chance = chances(design, beta[:, None])
    return _bordered(design, total.mean(axis=1, keepdims=True) * chance * (1 - chance))[0]
