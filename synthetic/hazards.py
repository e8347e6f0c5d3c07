"""The hazards behind an invented workshop: drawn from by the generator, summed by the truth."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from synthetic.scenario import (
    CENTRE_AGE_YEARS,
    CENTRE_CONDITION,
    SHARE_DAY,
    Cause,
    Effects,
    Scenario,
)


def by_name(effects: Effects, names: Sequence[str]) -> np.ndarray:
    """Line up effects with a list of names; a name without an effect has 0."""
    return np.array([effects.get(name, 0.0) for name in names])


def measured_log_hazard(
    scenario: Scenario, cause: Cause, facts: Mapping[str, np.ndarray]
) -> np.ndarray:
    """Sum a cause's log hazard ratios over what the record holds, but for practices and lots.

    Parameters
    ----------
    scenario, cause
        The truth.
    facts
        ``age_years``, ``condition``, ``model``, ``technician`` and ``cause`` (codes), each
        of shape (n,).

    Returns
    -------
    numpy.ndarray
        Shape (n,).
    """
    own = scenario.cause_names.index(cause.name)
    models = by_name(cause.model_log_hazard, [model.name for model in scenario.models])
    technicians = np.array([technician.log_hazard for technician in scenario.technicians])
    return (
        cause.age_log_hazard * (facts["age_years"] - CENTRE_AGE_YEARS)
        + cause.condition_log_hazard * (facts["condition"] - CENTRE_CONDITION)
        + models[facts["model"]]
        + technicians[facts["technician"]]
        + scenario.same_cause_log_hazard * (facts["cause"] == own)
    )


def practice_multipliers(scenario: Scenario, name: str) -> np.ndarray:
    """Give what doing a practice multiplies each cause's hazard by, shape (causes,)."""
    effects = scenario.practice(name).hazard_multipliers
    return np.array([effects.get(cause, 1.0) for cause in scenario.cause_names])


def with_practices(
    scenario: Scenario, base: np.ndarray, done: Mapping[str, np.ndarray]
) -> np.ndarray:
    """Multiply hazards without practices by the effects of those done.

    Parameters
    ----------
    scenario
        The truth.
    base
        Hazard multipliers without any practice, shape (n, causes).
    done
        By practice: was it done, shape (n,).
    """
    total = base.copy()
    for name, doing in done.items():
        multipliers = practice_multipliers(scenario, name)
        for cause in np.flatnonzero(multipliers != 1):
            total[doing, cause] *= multipliers[cause]
    return total


def daily_hazards(scenario: Scenario, days: int) -> np.ndarray:
    """Give the cumulative hazard that each end gains on each day, for a multiplier of one.

    Parameters
    ----------
    scenario
        The truth.
    days
        How many days after hand-back.

    Returns
    -------
    numpy.ndarray
        Shape (causes + 3, days): the causes, no fault found, misuse, leaving service.
    """
    edges = np.arange(days + 1) / SHARE_DAY
    causes = [np.diff(cause.hazard_by_180_days * edges**cause.shape) for cause in scenario.causes]
    others = [np.full(days, hazard) for hazard in _other_daily_hazards(scenario)]
    return np.array([*causes, *others])


def draw_first_end(
    scenario: Scenario, multipliers: np.ndarray, random: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Draw what ends each episode first, and on which day.

    Parameters
    ----------
    scenario
        The truth.
    multipliers
        Shape (n, causes).
    random
        Source of chance.

    Returns
    -------
    end
        Index as in :func:`daily_hazards`, shape (n,).
    day
        Whole days from hand-back, from 1, infinite where nothing ever happens, shape (n,).
    """
    rows = len(multipliers)
    soonest = np.full(rows, np.inf)
    end = np.zeros(rows, dtype=np.int64)
    for code, cause in enumerate(scenario.causes):
        gained = random.exponential(size=rows)
        with np.errstate(divide="ignore"):
            scaled = gained / (cause.hazard_by_180_days * multipliers[:, code])
        _take_sooner(soonest, end, SHARE_DAY * scaled ** (1 / cause.shape), code)
    for offset, hazard in enumerate(_other_daily_hazards(scenario)):
        gained = random.exponential(size=rows)
        if hazard > 0:
            _take_sooner(soonest, end, gained / hazard, len(scenario.causes) + offset)
    return end, np.ceil(soonest)


def _take_sooner(soonest: np.ndarray, end: np.ndarray, time: np.ndarray, code: int) -> None:
    sooner = time < soonest
    soonest[sooner] = time[sooner]
    end[sooner] = code


def _other_daily_hazards(scenario: Scenario) -> tuple[float, float, float]:
    returning = scenario.returning
    return (
        float(-np.log1p(-returning.no_fault_found_by_180_days) / SHARE_DAY),
        float(-np.log1p(-returning.misuse_by_180_days) / SHARE_DAY),
        scenario.leaving.daily_hazard,
    )
