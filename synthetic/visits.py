"""One round of visits: who comes in, what is found, what is done, when it leaves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from synthetic.hazards import by_name, measured_log_hazard
from synthetic.scenario import CENTRE_AGE_YEARS, CENTRE_CONDITION, Practice, Scenario

Facts = dict[str, np.ndarray]
DAYS_A_YEAR = 365.25
NONE = -1


@dataclass(frozen=True)
class Units:
    """The appliances: codes and traits that stay, each of shape (units,).

    Parameters
    ----------
    model
        Code.
    customer
        Number of the owner.
    first_day
        Day of the first visit, counted from the scenario's first day.
    age_years
        Age on that day.
    wear
        Standard normal trait that shows as poor condition.
    frailty
        Multiplier of every hazard.
    """

    model: np.ndarray
    customer: np.ndarray
    first_day: np.ndarray
    age_years: np.ndarray
    wear: np.ndarray
    frailty: np.ndarray


def choose(random: np.random.Generator, shares: object, size: int) -> np.ndarray:
    """Draw codes with the given shares, which need not add up to one."""
    weights = np.asarray(shares, dtype=float)
    edges = np.cumsum(weights) / weights.sum()
    edges[-1] = 1.0
    return np.searchsorted(edges, random.random(size), side="right")


def make_units(scenario: Scenario, random: np.random.Generator) -> Units:
    """Draw the units and the day of their first visit."""
    count = scenario.first_visits
    owned = random.geometric(1 / scenario.units_per_customer, count)
    customer = np.repeat(np.arange(count), owned)[:count]
    random.shuffle(customer)
    # Work grows in a straight line: solve u = (t + g t²/2) / (1 + g/2) for the time t in 0..1.
    uniform = random.random(count)
    growth = scenario.growth
    when = uniform
    if growth:
        when = (np.sqrt(1 + 2 * growth * uniform * (1 + growth / 2)) - 1) / growth
    variance = scenario.unit_frailty_variance
    frailty = random.gamma(1 / variance, variance, count) if variance else np.ones(count)
    shape = scenario.age_shape
    return Units(
        model=choose(random, [model.share for model in scenario.models], count),
        customer=customer,
        first_day=np.floor(when * scenario.days),
        age_years=random.gamma(shape, scenario.age_mean_years / shape, count).round(1),
        wear=random.standard_normal(count),
        frailty=frailty,
    )


def first_visits(scenario: Scenario, units: Units, random: np.random.Generator) -> Facts:
    """Line up every unit's first visit."""
    count = len(units.model)
    weights = [cause.first_visit_weight for cause in scenario.causes]
    received = units.first_day
    post = choose(random, scenario.returning.post_days_shares, count)
    return {
        "unit": np.arange(count),
        "visit": np.ones(count, dtype=np.int64),
        "received": received,
        "notified": received - post,
        "cause": choose(random, weights, count),
        "before_cause": np.full(count, NONE),
        "before_handed_back": np.full(count, np.nan),
        "before_term_days": np.full(count, np.nan),
    }


def work_on(
    scenario: Scenario, units: Units, visits: Facts, random: np.random.Generator
) -> tuple[Facts, np.ndarray]:
    """Draw what a round of visits finds and does.

    Parameters
    ----------
    scenario, units
        The truth.
    visits
        Who comes in and why, as :func:`first_visits` gives it.
    random
        Source of chance.

    Returns
    -------
    facts
        The visits with everything about the job.
    base
        Hazard multipliers without practices, shape (n, causes).
    """
    count = len(visits["unit"])
    unit = visits["unit"]
    facts = dict(visits)
    facts["model"] = units.model[unit]
    since_first = (visits["received"] - units.first_day[unit]) / DAYS_A_YEAR
    facts["age_years"] = (units.age_years[unit] + since_first).round(1)
    facts["condition"] = _condition(facts["age_years"], units.wear[unit], random)
    shares = [technician.share for technician in scenario.technicians]
    facts["technician"] = choose(random, shares, count)
    facts["term_days"] = np.array(list(scenario.terms))[
        choose(random, list(scenario.terms.values()), count)
    ]
    facts["severity"] = random.standard_normal(count)
    facts["bench_days"] = random.geometric(1 / scenario.bench_days, count)
    facts["written_off"] = random.random(count) < np.where(
        visits["visit"] == 1,
        scenario.leaving.beyond_repair_share,
        scenario.returning.write_off_share,
    )
    for practice in scenario.practices:
        facts |= _practise(scenario, practice, facts, random)
    for part in scenario.parts:
        opened = visits["received"] + random.normal(0, part.overlap_days, count)
        lot = 1 + np.floor(np.maximum(opened, 0) / part.lot_days).astype(np.int64)
        facts[f"lot_{part.name}"] = np.where(random.random(count) < part.fitted_share, lot, 0)
    for reading in scenario.readings:
        facts[f"quality_{reading.name}"] = random.standard_normal(count)
        facts[f"noise_{reading.name}"] = random.standard_normal(count)
    susceptible = random.random(count) >= scenario.never_fails_share
    return facts, _base_multipliers(scenario, units, facts) * susceptible[:, None]


def calendar(scenario: Scenario, days: np.ndarray) -> pd.DatetimeIndex:
    """Turn days since the scenario's first day into dates; NaN becomes NaT."""
    whole = np.where(np.isfinite(days), days, 0).astype("timedelta64[D]")
    dates = np.datetime64(scenario.first_day, "D") + whole
    return pd.DatetimeIndex(np.where(np.isfinite(days), dates, np.datetime64("NaT", "D")))


def _condition(age: np.ndarray, wear: np.ndarray, random: np.random.Generator) -> np.ndarray:
    """Grade 1 (good) to 5 (poor): older and more worn units grade worse."""
    latent = 0.13 * (age - CENTRE_AGE_YEARS) + 0.8 * wear + random.normal(0, 0.5, len(age))
    return 1 + np.searchsorted([-1.2, -0.4, 0.4, 1.2], latent)


def _practise(
    scenario: Scenario, practice: Practice, facts: Facts, random: np.random.Generator
) -> Facts:
    """Choose a practice on each job: ``done_*``, ``applies_*``, ``ticked_*``, ``slip_*``."""
    count = len(facts["unit"])
    models = [model.name for model in scenario.models]
    habit = np.array([t.practice_log_odds.get(practice.name, 0.0) for t in scenario.technicians])
    dates = calendar(scenario, facts["received"])
    quarters = by_name(practice.quarter_log_odds, ("Q1", "Q2", "Q3", "Q4"))
    log_odds = (
        practice.log_odds
        + practice.age_log_odds * (facts["age_years"] - CENTRE_AGE_YEARS)
        + practice.condition_log_odds * (facts["condition"] - CENTRE_CONDITION)
        + practice.severity_log_odds * facts["severity"]
        + practice.yearly_log_odds * facts["received"] / DAYS_A_YEAR
        + by_name(practice.model_log_odds, models)[facts["model"]]
        + habit[facts["technician"]]
        + quarters[np.asarray(dates.quarter) - 1]
    )
    done = random.random(count) < 1 / (1 + np.exp(-log_odds))
    slipped = np.zeros(count, dtype=bool)
    names = [technician.name for technician in scenario.technicians]
    for slip in scenario.slips:
        if slip.practice == practice.name:
            start = pd.Timestamp(slip.first_day)
            within = (dates >= start) & (dates < start + pd.Timedelta(days=slip.days))
            if slip.technician:
                within &= facts["technician"] == names.index(slip.technician)
            done &= ~(within & (random.random(count) < slip.left_share))
            slipped |= within
    applies = np.isin(facts["model"], [models.index(name) for name in practice.models or models])
    return {
        f"done_{practice.name}": done & applies,
        f"applies_{practice.name}": applies,
        f"ticked_{practice.name}": random.random(count) >= practice.unrecorded_share,
        f"slip_{practice.name}": slipped & applies,
    }


def _base_multipliers(scenario: Scenario, units: Units, facts: Facts) -> np.ndarray:
    columns = []
    for cause in scenario.causes:
        log_hazard = measured_log_hazard(scenario, cause, facts)
        log_hazard += scenario.severity_log_hazard * facts["severity"]
        for reading in scenario.readings:
            per_sd = reading.hazard_log.get(cause.name, 0.0)
            if per_sd:
                log_hazard += per_sd * facts[f"quality_{reading.name}"]
        multiplier = np.exp(log_hazard) * units.frailty[facts["unit"]]
        for part in scenario.parts:
            if part.cause in ("", cause.name):
                bad = np.isin(facts[f"lot_{part.name}"], part.bad_lots)
                multiplier[bad] *= part.multiplier
        columns.append(multiplier)
    return np.column_stack(columns)
