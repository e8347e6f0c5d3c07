"""Lifetime distributions fitted by maximum likelihood."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from insights.errors import EvidenceError
from insights.survival.lifetimes import Family, Likelihood, Observed

STEP = 1e-4
"""Step of the central differences; errors of 1e-8 in slope and 1e-6 in curvature."""
ON_BOUND = 0.999
STEPS = 12
SMALL_STEP = 1e-6
WIDEST = np.array([60.0, 5.0, 12.0])
"""Bounds of level, log shape and log odds: past them a fit has no finite maximum."""


@dataclass(frozen=True)
class Fit:
    """One family fitted by maximum likelihood.

    Parameters
    ----------
    likelihood
        What was fitted.
    theta
        The parameters (see :class:`Likelihood`).
    log_likelihood
        At the maximum.
    """

    likelihood: Likelihood
    theta: np.ndarray
    log_likelihood: float

    @property
    def name(self) -> str:
        """Name of the family."""
        return self.likelihood.family.name

    @property
    def aic(self) -> float:
        """Akaike's criterion (Akaike 1974, IEEE Trans. Autom. Control 19:716-723)."""
        return 2 * self.likelihood.family.size - 2 * self.log_likelihood

    @property
    def location(self) -> float:
        """Location on log time (days): the log of the Weibull scale or the other's median."""
        return float(np.log(self.likelihood.anchor) - self.theta[0] * self.scale)

    @property
    def scale(self) -> float:
        """Scale on log time: one over the shape."""
        return float(np.exp(-self.theta[1]))

    @property
    def returning_share(self) -> float:
        """The share that would ever return; 1 where the family has no other kind."""
        return float(special.expit(self.theta[2])) if self.likelihood.family.cure else 1.0

    def stays(self, days: np.ndarray) -> np.ndarray:
        """Give the chance of no return by each day."""
        return np.exp(self.likelihood.log_stay(self.theta, np.asarray(days, dtype=float)))

    def covariance(self) -> np.ndarray:
        """Give the covariance of (location, scale[, log odds of returning]).

        The inverse of the observed information, carried over by the delta method.

        Raises
        ------
        EvidenceError
            The likelihood is flat in some direction: the record can't tell the parameters.
        """
        _, curvature = slope_and_curvature(self.likelihood, self.theta)
        change = np.eye(len(self.theta))
        change[0, :2] = -self.scale, self.theta[0] * self.scale
        change[1, :2] = 0.0, -self.scale
        return change @ inverse_information(curvature) @ change.T


def fit(family: Family, observed: Observed) -> Fit:
    """Fit one family by maximum likelihood.

    Parameters
    ----------
    family
        Which.
    observed
        Lifetimes, counted.

    Returns
    -------
    Fit

    Raises
    ------
    EvidenceError
        No lifetime was seen to end, or the likelihood has no finite maximum (all ended on one
        day).
    """
    if not observed.events:
        raise EvidenceError("Nothing came back, so no lifetime can be fitted. Wait for returns.")
    likelihood = Likelihood(family, observed, anchor_day(observed))
    tops = [climb(likelihood, start) for start in _starts(likelihood)]
    theta, value = max(tops, key=lambda top: top[1])
    if (np.abs(theta[:2]) >= ON_BOUND * WIDEST[:2]).any() or np.isnan(value):
        raise EvidenceError(
            f"No finite {family.name} curve fits: the returns lie too close together in time. "
            "Wait for more returns."
        )
    return Fit(likelihood, theta, value)


def anchor_day(observed: Observed) -> float:
    """Choose the day at which the level is taken: the last return."""
    return float(observed.upper[np.isfinite(observed.upper)].max())


def climb(
    objective: Callable[[np.ndarray], np.ndarray], start: np.ndarray
) -> tuple[np.ndarray, float]:
    """Find a maximum within :data:`WIDEST` by Newton steps, by simplex where they fail."""
    theta, value, arrived = _newton(objective, start)
    if arrived:
        return theta, value
    bound = WIDEST[: len(start)]

    def downhill(theta: np.ndarray) -> float:
        value = -float(objective(theta))
        return value if np.isfinite(value) else 1e300

    found = optimize.minimize(
        downhill,
        theta,
        method="Nelder-Mead",
        bounds=optimize.Bounds(-bound, bound),
        options={"xatol": 1e-4, "fatol": 1e-6, "maxiter": 2000, "maxfev": 2000},
    )
    theta, value, _ = _newton(objective, found.x)
    return theta, value


def _newton(
    objective: Callable[[np.ndarray], np.ndarray], start: np.ndarray
) -> tuple[np.ndarray, float, bool]:
    """Step uphill while the likelihood bends downwards; tell whether the top was reached."""
    bound = WIDEST[: len(start)]
    theta, value = start, float(objective(start))
    for _ in range(STEPS):
        slope, curvature = slope_and_curvature(objective, theta)
        if not np.isfinite(curvature).all() or np.linalg.eigvalsh(curvature).max() >= 0:
            return theta, value, False
        step = -np.linalg.solve(curvature, slope)
        if np.abs(step).max() < SMALL_STEP:
            return theta, value, True
        ahead = np.clip(theta + step, -bound, bound)
        reached = float(objective(ahead))
        if not reached >= value - 1e-12 * abs(value):
            return theta, value, False
        theta, value = ahead, reached
    return theta, value, False


def slope_and_curvature(
    objective: Callable[[np.ndarray], np.ndarray], theta: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Give gradient and Hessian by central differences, all points in one call."""
    size = len(theta)
    steps = STEP * np.eye(size)
    first, second = np.triu_indices(size, 1)
    mixed = [theta + a * steps[first] + b * steps[second] for a in (1, -1) for b in (1, -1)]
    values = objective(np.concatenate([[theta], theta + steps, theta - steps, *mixed]))
    middle, up, down = values[0], values[1 : 1 + size], values[1 + size : 1 + 2 * size]
    pp, pm, mp, mm = values[1 + 2 * size :].reshape(4, -1)
    curvature = np.diag((up - 2 * middle + down) / STEP**2)
    curvature[first, second] = curvature[second, first] = (pp - pm - mp + mm) / (4 * STEP**2)
    return (up - down) / (2 * STEP), curvature


def inverse_information(curvature: np.ndarray) -> np.ndarray:
    """Invert the negative Hessian.

    Raises
    ------
    EvidenceError
        It is not positive definite.
    """
    if not np.isfinite(curvature).all() or np.linalg.eigvalsh(-curvature).min() <= 1e-9:
        raise EvidenceError(
            "The record can't tell the curve's parameters apart, so they have no spread. Wait for "
            "more returns, or ask for a shorter term."
        )
    return np.linalg.inv(-curvature)


def _starts(likelihood: Likelihood) -> list[np.ndarray]:
    observed, family = likelihood.observed, likelihood.family
    share = min(observed.events / (observed.jobs.sum() + 1), 0.9)
    if not family.cure:
        return [np.array([family.level_at(share), family.usual_log_shape])]
    return [
        np.array([family.level_at(share / returning), 0.0, special.logit(returning)])
        for returning in (min(1.3 * share, 0.95), (share + 1) / 2)
    ]
