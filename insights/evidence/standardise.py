"""Both ways of working predicted for every job of a population, and averaged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from insights.evidence.compared import ARMS, quotient
from insights.evidence.fitting import Design
from insights.evidence.hazards import Hazards, hazard_ratios


@dataclass(frozen=True)
class Standardised:
    """Risks had all jobs of a population been done one way, and the other.

    Parameters
    ----------
    risks
        By part and arm, shape (parts, 2, B).
    days_lost
        Mean days lost to comebacks of the target parts up to the day asked for, (2, B).
    """

    risks: np.ndarray
    days_lost: np.ndarray


def standardise(
    design: Design, hazards: Hazards, population: np.ndarray, is_target: np.ndarray
) -> Standardised:
    """Predict both ways of working for every pattern, and average over a population.

    Parameters
    ----------
    design, hazards
        The model.
    population
        Weight of each pattern, shape (P, B).
    is_target
        Which parts count towards ``days_lost``.

    Notes
    -----
    The g-formula (Robins 1986, Mathematical Modelling 7:1393-1512). With constant hazards inside
    an interval a part's cumulative incidence is exact: the chance of reaching the interval,
    times the chance of any end in it, times the part's share of the hazard.
    """
    weight = population / population.sum(axis=0)
    ratios = [hazard_ratios(design, beta) for beta in hazards.beta]
    risks = np.zeros((len(ratios), 2, weight.shape[1]))
    lost = np.zeros((2, weight.shape[1]))
    for arm in ARMS:
        reached = weight.copy()
        for k, width in enumerate(hazards.widths):
            daily = [
                rate[k] * ratio[arm] for rate, ratio in zip(hazards.rates, ratios, strict=True)
            ]
            total = sum(daily) + hazards.leaving[k]
            ending = -np.expm1(-total * width)
            mean_days = np.where(total > 0, quotient(ending, total), width)
            lost[arm] += risks[is_target, arm].sum(axis=0) * width
            for part, hazard in enumerate(daily):
                risks[part, arm] += (reached * hazard * mean_days).sum(axis=0)
                if is_target[part]:
                    waiting = quotient(width - mean_days, total)
                    lost[arm] += (reached * hazard * waiting).sum(axis=0)
            reached *= 1 - ending
    return Standardised(risks, lost)
