"""Cox's partial likelihood on counts, exact with ties."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from insights.survival.slots import Record

ORDER = 3
"""Powers of the risk sums kept: two for the likelihood, a third for Firth's penalty."""


@dataclass(frozen=True)
class Evaluation:
    """The partial likelihood at given coefficients.

    Parameters
    ----------
    record
        The counted rows.
    log_likelihood
        Its value.
    risk
        Relative hazard of each pattern, up to one common factor, shape (R,).
    factor
        The logarithm of that factor.
    at_risk, dying
        Sums of ``risk * (1, x, xx')`` over the jobs at risk and over those with the event in
        each slot: three arrays each, shapes (J,), (J, p), (J, p, p).
    power
        ``power[k, m]`` is the sum over a slot's tied events of fraction ** k / risk sum ** m,
        for k <= m, shape (4, 4, J).
    """

    record: Record
    log_likelihood: float
    risk: np.ndarray
    factor: float
    at_risk: tuple[np.ndarray, np.ndarray, np.ndarray]
    dying: tuple[np.ndarray, np.ndarray, np.ndarray]
    power: np.ndarray

    @cached_property
    def score(self) -> np.ndarray:
        """Gradient of the log likelihood, shape (p,)."""
        return self.slot_scores.sum(axis=0)

    @cached_property
    def information(self) -> np.ndarray:
        """Minus its second derivative, shape (p, p)."""
        return self.slot_information.sum(axis=0)

    @cached_property
    def slot_scores(self) -> np.ndarray:
        """Covariates of each slot's events less those expected (Schoenfeld), shape (J, p)."""
        return self.record.events @ self.record.X - self.slot_expected

    @cached_property
    def slot_expected(self) -> np.ndarray:
        """Covariates expected of each slot's events, summed over them, shape (J, p)."""
        a = self.power[:, :, :, None]
        return self.at_risk[1] * a[0, 1] - self.dying[1] * a[1, 1]

    @cached_property
    def slot_information(self) -> np.ndarray:
        """Each slot's share of the information, shape (J, p, p)."""
        _, s1, s2 = self.at_risk
        _, e1, e2 = self.dying
        a = self.power[:, :, :, None, None]
        crossed = s1[:, :, None] * e1[:, None, :]
        return (
            s2 * a[0, 1]
            - e2 * a[1, 1]
            - s1[:, :, None] * s1[:, None, :] * a[0, 2]
            + (crossed + crossed.transpose(0, 2, 1)) * a[1, 2]
            - e1[:, :, None] * e1[:, None, :] * a[2, 2]
        )


def evaluate(record: Record, beta: np.ndarray) -> Evaluation:
    """Work out the log partial likelihood, its gradient and its information.

    Efron's approximation (1977, JASA 72:557-565) takes the tied events out of the risk set one
    share at a time. Each count stands for so many single jobs, so the result is that of the
    jobs written out one a row; only sums of scalars run over single events.
    """
    p = record.X.shape[1]
    linear = record.X @ beta
    factor = float(linear.max())
    risk = np.exp(linear - factor)
    i, j = np.triu_indices(p)
    weighted = (
        np.column_stack([np.ones(len(risk)), record.X, record.X[:, i] * record.X[:, j]])
        * risk[:, None]
    )
    at_risk = _moments(record.by_stratum(record.leaving @ weighted, backwards=True), p)
    dying = _moments(record.events @ weighted, p)
    remaining = at_risk[0][record.slot_of] - record.fraction * dying[0][record.slot_of]
    died = record.events.sum(axis=0)
    return Evaluation(
        record=record,
        log_likelihood=float(died @ linear - np.log(remaining).sum() - factor * died.sum()),
        risk=risk,
        factor=factor,
        at_risk=at_risk,
        dying=dying,
        power=_power_sums(record, 1 / remaining),
    )


def _power_sums(record: Record, inverse: np.ndarray) -> np.ndarray:
    """Add ``fraction ** k * inverse ** m`` up over each slot's events, for k <= m <= ORDER."""
    first = record.deaths.cumsum() - record.deaths
    power = np.zeros((ORDER + 1, ORDER + 1, len(record.deaths)))
    term = np.ones_like(inverse)
    for m in range(1, ORDER + 1):
        term = term * inverse
        mixed = term
        for k in range(m + 1):
            power[k, m] = np.add.reduceat(mixed, first)
            mixed = mixed * record.fraction
    return power


def score_residuals(at: Evaluation) -> np.ndarray:
    """Give each job's share of the score, one row per cell, shape (C, p).

    The residuals of Lin and Wei (1989, JASA 84:1074-1078) with Efron's share of tied events,
    as in Therneau and Grambsch (2000, Modeling Survival Data, section 7.2).
    """
    record, a = at.record, at.power[:, :, :, None]
    s1, e1 = at.at_risk[1], at.dying[1]
    hazard = at.power[0, 1]
    drift = s1 * a[0, 2] - e1 * a[1, 2]
    summed = record.by_stratum(np.column_stack([hazard, drift]))
    summed = np.vstack([summed, np.zeros(summed.shape[1])])  # slot -1: nothing yet
    lived = summed[record.last] - summed[record.before]
    x = record.X[record.row]
    risk = at.risk[record.row][:, None]
    residual = -risk * (x * lived[:, :1] - lived[:, 1:])
    dead = np.flatnonzero(record.event)
    slot = record.last[dead]
    expected = at.slot_expected / record.deaths[:, None]
    spared = s1 * a[1, 2] - e1 * a[2, 2]
    residual[dead] += x[dead] - expected[slot]
    residual[dead] += risk[dead] * (x[dead] * a[1, 1][slot] - spared[slot])
    return residual


def _moments(columns: np.ndarray, p: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    i, j = np.triu_indices(p)
    square = np.empty((len(columns), p, p))
    square[:, i, j] = columns[:, 1 + p :]
    square[:, j, i] = columns[:, 1 + p :]
    return columns[:, 0], columns[:, 1 : 1 + p], square
