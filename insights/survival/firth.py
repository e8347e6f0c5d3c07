"""Firth's penalty for Cox regression: finite hazard ratios where a level has no comebacks."""

from __future__ import annotations

import numpy as np
from scipy import optimize, stats

from insights.errors import EvidenceError
from insights.survival.newton import Objective, climb
from insights.survival.partial import Evaluation, evaluate
from insights.survival.slots import Record

WIDEST = 60.0
"""No log hazard ratio beyond this is looked at: exp(60) is no ratio anyone can use."""


def penalised(record: Record) -> Objective:
    """Give the log partial likelihood plus half the log determinant of its information.

    The penalty of Firth (1993, Biometrika 80:27-38), used for Cox regression by Heinze and
    Schemper (2001, Biometrics 57:114-119).
    """

    def objective(beta: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        at = evaluate(record, beta)
        sign, log_determinant = np.linalg.slogdet(at.information)
        if sign <= 0 or not np.isfinite(at.log_likelihood):
            return -np.inf, at.score, at.information
        gradient = at.score + penalty_gradient(at)
        return at.log_likelihood + log_determinant / 2, gradient, at.information

    return objective


def penalty_gradient(at: Evaluation) -> np.ndarray:
    """Differentiate half the log determinant of the information, shape (p,).

    The derivative of a slot's covariance of x is its third central moment. Its trace against
    the inverse information ``W`` needs only the moments of ``q = x'Wx``, so no array of p ** 3
    is built; tied events enter by the same power sums as in the likelihood.
    """
    record = at.record
    W = np.linalg.inv(at.information)
    q = np.einsum("ri,ij,rj->r", record.X, W, record.X)
    columns = np.column_stack([q, q[:, None] * record.X]) * at.risk[:, None]
    s = record.by_stratum(record.leaving @ columns, backwards=True)
    e = record.events @ columns
    sq, sqx, eq, eqx = s[:, :1], s[:, 1:], e[:, :1], e[:, 1:]
    (_, s1, s2), (_, e1, e2) = at.at_risk, at.dying
    a = at.power[:, :, :, None]
    third = sqx * a[0, 1] - eqx * a[1, 1]
    third -= sq * s1 * a[0, 2] - (sq * e1 + eq * s1) * a[1, 2] + eq * e1 * a[2, 2]
    sw, ew = s1 @ W, e1 @ W
    turned = (
        _apply(s2, sw) * a[0, 2]
        - (_apply(s2, ew) + _apply(e2, sw)) * a[1, 2]
        + _apply(e2, ew) * a[2, 2]
    )
    ss, se, ee = _dot(sw, s1), _dot(sw, e1), _dot(ew, e1)
    turned -= (
        ss * s1 * a[0, 3]
        - (ss * e1 + 2 * se * s1) * a[1, 3]
        + (2 * se * e1 + ee * s1) * a[2, 3]
        - ee * e1 * a[3, 3]
    )
    return (third - 2 * turned).sum(axis=0) / 2


def profile_limits(
    record: Record, beta: np.ndarray, level: float = 0.95
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Bound each coefficient where the penalised profile likelihood has dropped far enough.

    Parameters
    ----------
    record
        The counted rows.
    beta
        The penalised maximum, shape (p,).
    level
        Confidence, between 0 and 1.

    Returns
    -------
    low, high, p : numpy.ndarray
        Limits of each coefficient, and the chance of so large a drop at zero if the true
        coefficient is zero (penalised likelihood ratio, one degree of freedom).

    Notes
    -----
    Profile limits stay honest where Wald's fail, because with few events the likelihood is
    far from symmetric (Heinze and Schemper 2001).
    """
    objective = penalised(record)
    top, _, information = objective(beta)
    allowed = float(stats.chi2.ppf(level, 1)) / 2
    se = np.sqrt(np.diag(np.linalg.inv(information)))
    low, high, p = np.empty_like(beta), np.empty_like(beta), np.empty_like(beta)
    for k in range(len(beta)):
        profile = _Profile(objective, beta, information, k)
        low[k] = _crossing(profile, top - allowed, beta[k], -se[k])
        high[k] = _crossing(profile, top - allowed, beta[k], se[k])
        p[k] = stats.chi2.sf(max(2 * (top - profile(0.0)), 0.0), 1)
    return low, high, p


class _Profile:
    """The highest value to be had with one coefficient held fixed."""

    def __init__(
        self, objective: Objective, beta: np.ndarray, information: np.ndarray, held: int
    ) -> None:
        self.objective = objective
        self.free = np.arange(len(beta)) != held
        self.held = held
        self.beta = beta
        inner = information[np.ix_(self.free, self.free)]
        # How the other coefficients give way: a start close to where they will settle.
        self.slope = -np.linalg.solve(inner, information[self.free, held])

    def __call__(self, value: float) -> float:
        start = self.beta.copy()
        start[self.free] += self.slope * (value - self.beta[self.held])
        start[self.held] = value
        self.beta = climb(self.objective, start, self.free)
        return self.objective(self.beta)[0]


def _crossing(profile: _Profile, wanted: float, top: float, step: float) -> float:
    inside, outside = top, top + 2 * step
    while profile(outside) > wanted:
        inside, outside = outside, outside + 2 * (outside - inside)
        if abs(outside) > WIDEST:
            raise EvidenceError(
                "The limits of a hazard ratio lie beyond any usable number. Join levels, or wait "
                "for more comebacks."
            )
    return float(
        optimize.brentq(
            lambda value: profile(value) - wanted, inside, outside, xtol=1e-7 * abs(step)
        )
    )


def _apply(square: np.ndarray, vector: np.ndarray) -> np.ndarray:
    return np.einsum("jab,jb->ja", square, vector)


def _dot(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    return (left * right).sum(axis=1, keepdims=True)
