"""The doubly robust comparison: right when either the hazards or the chances are right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from insights.evidence.compared import ARMS, Compared, quotient
from insights.evidence.fitting import Design
from insights.evidence.hazards import Clock, Hazards, Weighted, hazard_ratios
from insights.survival.lifetable import CENSORED


@dataclass(frozen=True)
class Ends:
    """Cells in which something ended: arm, pattern, interval, and whether it is asked about."""

    cell: np.ndarray
    arm: np.ndarray
    pattern: np.ndarray
    interval: np.ndarray
    is_target: np.ndarray

    @classmethod
    def of(cls, cells: Compared, clock: Clock) -> Ends:
        """Pick the cells that hold an end."""
        cell = np.flatnonzero(cells.cell_outcome > CENSORED)
        interval = np.searchsorted(clock.edges, cells.cell_day[cell], side="left") - 1
        return cls(
            cell,
            cells.cell_arm[cell],
            cells.cell_pattern[cell],
            interval,
            cells.is_target_cell[cell],
        )


@dataclass(frozen=True)
class _Course:
    """What the model expects of one arm, by interval, pattern and draw, each (K, P, B)."""

    target: np.ndarray
    every: np.ndarray
    days: np.ndarray
    to_come: np.ndarray
    risk: np.ndarray


def doubly_robust_risks(
    ends: Ends,
    design: Design,
    hazards: Hazards,
    data: Weighted,
    weights: np.ndarray,
    job_weights: np.ndarray,
    population: np.ndarray,
    is_target: np.ndarray,
) -> np.ndarray:
    """Correct the hazard model's risks by its own weighted residuals.

    Parameters
    ----------
    ends
        Cells with an end.
    design, hazards, data
        The hazard model and the counts it was fitted to.
    weights
        Of each cell, shape (C, B).
    job_weights
        Of a job by arm and pattern, so that arms resemble the population, shape (2, P, B).
    population
        Weight of each pattern, shape (P, B).
    is_target
        Which parts are asked about.

    Returns
    -------
    numpy.ndarray
        Risk by arm, shape (2, B).

    Notes
    -----
    The augmented estimator for censored and competing ends (Bai, Tsiatis and O'Brien 2013,
    Biometrics 69:830-839; Ozenne and others 2020, Biometrical Journal 62:751-763), with the
    martingale residuals of each interval taken at its middle. The chance of still being
    followed, by arm and interval, is the weighted days at risk over those that the model expects
    were nobody's follow-up cut short.
    """
    followed = data.jobs
    risks = []
    for arm in ARMS:
        course = _course(design, hazards, arm, is_target)
        tilt = job_weights[arm]
        days = data.days_at_risk[:, arm]
        cut_short = quotient(
            (followed[arm] * tilt * course.days).sum(axis=1), (tilt * days).sum(axis=1)
        )
        expected = tilt * days * (course.target - course.to_come * course.every)
        residual = -(expected.sum(axis=1) * cut_short).sum(axis=0)
        mine = ends.arm == arm
        cell, pattern, interval = ends.cell[mine], ends.pattern[mine], ends.interval[mine]
        seen = ends.is_target[mine][:, None] - course.to_come[interval, pattern]
        residual += (weights[cell] * tilt[pattern] * seen * cut_short[interval]).sum(axis=0)
        model = (population * course.risk).sum(axis=0) / population.sum(axis=0)
        risks.append(model + residual / (followed[arm] * tilt).sum(axis=0))
    return np.stack(risks)


def _course(design: Design, hazards: Hazards, arm: int, is_target: np.ndarray) -> _Course:
    ratios = [hazard_ratios(design, beta)[arm] for beta in hazards.beta]
    shape = (len(hazards.widths), *ratios[0].shape)
    target, every, days, at_middle, middle = (np.empty(shape) for _ in range(5))
    reached, risk = np.ones(shape[1:]), np.zeros(shape[1:])
    for k, width in enumerate(hazards.widths):
        daily = [rate[k] * ratio for rate, ratio in zip(hazards.rates, ratios, strict=True)]
        target[k] = sum(hazard for hazard, asked in zip(daily, is_target, strict=True) if asked)
        every[k] = sum(daily) + hazards.leaving[k]
        half = np.exp(-every[k] * (width / 2))
        still = every[k] > 0
        inverse = np.divide(1.0, every[k], out=np.zeros_like(half), where=still)
        days[k] = reached * np.where(still, (1 - half**2) * inverse, width)
        at_middle[k] = risk + target[k] * reached * (1 - half) * inverse
        middle[k] = reached * half
        risk = risk + target[k] * days[k]
        reached = middle[k] * half
    return _Course(target, every, days, (risk - at_middle) / middle, risk)
