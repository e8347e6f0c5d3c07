"""Ready scenarios: the demo, and shops with one thing to find."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from synthetic.cafe import cafe_workshop
from synthetic.generate import generate
from synthetic.scenario import (
    SHARE_DAY,
    Cause,
    Model,
    Part,
    Practice,
    Returning,
    Scenario,
    Slip,
    Technician,
)

__all__ = [
    "cafe_workshop",
    "cure_shop",
    "linking_shop",
    "lot_shop",
    "null_shop",
    "practice_shop",
    "simple_shop",
    "slip_shop",
]

YEAR = 365
REFUNDED = Returning(write_off_share=1.0)
PILOT_JOBS = 4000


def simple_shop(
    risk: float = 0.04,
    jobs: int = 600,
    seed: int = 1,
    *,
    days: int = 730,
    shape: float = 0.8,
    term_days: int = 365,
) -> Scenario:
    """One cause, no covariates, every serial right: for coverage studies.

    Exactly ``jobs`` hand-backs, spread evenly over ``days`` (so follow-up is staggered);
    comebacks are refunded, so that each unit has one episode. The true share back by 180 days is
    ``risk``, and by day ``t`` it is ``1 - (1 - risk) ** ((t / 180) ** shape)``.

    Parameters
    ----------
    risk
        True share back by 180 days.
    jobs, seed, days, shape, term_days
        Hand-backs, seed, days up to the data date, Weibull shape, the one term.
    """
    return Scenario(
        seed=seed,
        first_visits=jobs,
        days=days,
        causes=(Cause("contact", risk, shape=shape),),
        terms={term_days: 1.0},
        returning=REFUNDED,
    )


def cure_shop(
    risk: float = 0.06,
    jobs: int = 1000,
    seed: int = 1,
    *,
    never_fails_share: float = 0.9,
    days: int = 365,
    shape: float = 1.2,
    term_days: int = 730,
) -> Scenario:
    """Make a shop where most jobs never fail and the rest fail for sure.

    Like :func:`simple_shop`, with a share of the jobs beyond the reach of any fault. By day ``t``
    the true share back is on average ``(1 - c) * (1 - (1 - r) ** ((t / 180) ** shape))``, where
    ``c`` is ``never_fails_share`` and ``r`` is ``risk / (1 - c)``.

    Parameters
    ----------
    risk
        Average share back by 180 days; less than the share that can fail.
    never_fails_share
        Share of the jobs that no fault ever comes to.
    jobs, seed, days, shape, term_days
        As for :func:`simple_shop`; the days up to the data date are fewer than the term.
    """
    simple = simple_shop(
        risk / (1 - never_fails_share), jobs, seed, days=days, shape=shape, term_days=term_days
    )
    return replace(simple, never_fails_share=never_fails_share)


def practice_shop(
    effect: float = 0.4,
    risk: float = 0.05,
    jobs: int = 1000,
    seed: int = 1,
    *,
    zero_event: bool = False,
    unmeasured: float = 0.0,
    repaired: bool = False,
) -> Scenario:
    """Make a shop with one practice, chosen by age, condition and technician.

    ``practice_contact_pair`` (``both`` or ``one``) multiplies the hazard of the cause ``contact``
    by ``effect``; the cause ``cord`` is its control, which the practice can't touch. Old and
    poor units get more done and come back more from both causes.

    Parameters
    ----------
    effect
        Below 1 it helps, 1 it does nothing, above 1 it harms.
    risk
        True share back by 180 days over all jobs, practices as chosen; exact for a pilot of
        4,000 jobs, so any one shop differs by the chance of its job mix.
    jobs, seed
        Hand-backs (exactly, where comebacks are refunded) and seed.
    zero_event
        Every return is for ``contact`` and none follows ``both``, whatever the effect says;
        ``both`` is done on a quarter of the jobs instead of half.
    unmeasured
        Log hazard ratio (of both causes) and log odds of doing it, per standard deviation of a
        severity that nobody writes down; 0.8 to 1 is a strong one.
    repaired
        Comebacks are repaired and open new episodes, with a unit frailty of variance 0.3, instead
        of being refunded: ``jobs`` then counts units.
    """
    scenario = _practice_scenario(effect, risk, zero_event, unmeasured)
    again = Returning() if repaired else REFUNDED
    return replace(
        scenario,
        seed=seed,
        first_visits=jobs,
        returning=again,
        unit_frailty_variance=0.3 if repaired else 0.0,
    )


@lru_cache(maxsize=64)
def _practice_scenario(effect: float, risk: float, zero_event: bool, unmeasured: float) -> Scenario:
    contact = Cause(
        "contact",
        risk if zero_event else 0.6 * risk,
        shape=0.9,
        age_log_hazard=0.10,
        condition_log_hazard=0.35,
    )
    cord = replace(contact, name="cord", share_by_180_days=0.4 * risk)
    practice = Practice(
        "contact_pair",
        done="both",
        left="one",
        log_odds=-1.2 if zero_event else 0.0,
        age_log_odds=0.20,
        condition_log_odds=0.55,
        severity_log_odds=unmeasured,
        hazard_multipliers={"contact": 0.0 if zero_event else effect},
    )
    scenario = Scenario(
        days=4 * YEAR,
        models=_two_models(),
        technicians=(
            Technician("Ada", 0.4, {"contact_pair": 0.8}, 0.15),
            Technician("Bo", 0.3),
            Technician("Cleo", 0.3, {"contact_pair": -0.8}, -0.15),
        ),
        causes=(contact,) if zero_event else (contact, cord),
        practices=(practice,),
        severity_log_hazard=unmeasured,
        returning=REFUNDED,
    )
    return _calibrated(scenario, risk)


def lot_shop(
    multiplier: float = 3.0,
    units: int = 150,
    jobs: int = 3000,
    seed: int = 1,
    *,
    risk: float = 0.04,
    days: int = 3 * YEAR,
) -> Scenario:
    """Make a shop with one bad lot of contacts, two thirds of the way.

    Parameters
    ----------
    multiplier
        What the bad lot multiplies the hazard of every cause by.
    units
        About how many jobs get a part of each lot.
    jobs, seed, days
        Hand-backs, seed, days up to the data date.
    risk
        Share back by 180 days without the bad lot, by two causes together.
    """
    lot_days = days * units / jobs
    bad = int(2 * days / (3 * lot_days)) + 1
    part = Part(
        "contact",
        lot_days=lot_days,
        overlap_days=lot_days / 20,
        bad_lots=(bad,),
        multiplier=multiplier,
    )
    quiet = null_shop(jobs, seed, risk=risk, days=days)
    return replace(quiet, parts=(part,))


def slip_shop(
    effect: float = 0.25,
    jobs: int = 6000,
    seed: int = 1,
    *,
    risk: float = 0.04,
    days: int = 3 * YEAR,
) -> Scenario:
    """Make a shop where everyone leaves a habit for two months, two thirds of the way.

    Parameters
    ----------
    effect
        What ``practice_switch`` (``cleaned`` or ``left``), done on 19 jobs in 20, multiplies the
        hazard of the cause ``switch`` by.
    jobs, seed, days
        Hand-backs, seed, days up to the data date.
    risk
        Share back by 180 days, about, while the habit is kept.
    """
    habit = Practice(
        "switch", "cleaned", "left", log_odds=2.94, hazard_multipliers={"switch": effect}
    )
    quiet = null_shop(jobs, seed, risk=risk, days=days)
    switch = Cause("switch", 1 - (1 - risk / 2) ** (1 / effect), shape=0.9)
    start = np.datetime64(quiet.first_day) + np.timedelta64(2 * days // 3, "D")
    return replace(
        quiet,
        causes=(quiet.causes[0], switch),
        practices=(habit,),
        slips=(Slip("switch", "", str(start)),),
    )


def null_shop(
    jobs: int = 3000,
    seed: int = 1,
    *,
    risk: float = 0.04,
    days: int = 3 * YEAR,
    lots: int = 20,
    technicians: int = 4,
) -> Scenario:
    """Make a shop where nothing differs and nothing changes.

    Lots, technicians, two models and a practice are recorded, and none has any effect.

    Parameters
    ----------
    jobs, seed, days
        Hand-backs, seed, days up to the data date.
    risk
        Share back by 180 days, by two causes together.
    lots, technicians
        How many of each.
    """
    half = 1 - (1 - risk) ** 0.5
    return Scenario(
        seed=seed,
        first_visits=jobs,
        days=days,
        models=_two_models(),
        technicians=tuple(
            Technician(f"bench {number}", 1.0) for number in range(1, technicians + 1)
        ),
        causes=(Cause("contact", half, shape=0.9), Cause("cord", half, shape=0.9)),
        practices=(Practice("switch", "cleaned", "left"),),
        parts=(Part("contact", lot_days=days / lots, overlap_days=0.0),),
        returning=REFUNDED,
    )


def linking_shop(jobs: int = 100_000, seed: int = 1, *, mistyped_share: float = 0.05) -> Scenario:
    """Make the demo's workshop with more mistyped serials: for the linking of units.

    Parameters
    ----------
    jobs, seed
        About how many jobs, and the seed.
    mistyped_share
        Share of serials with one slip.
    """
    cafe = cafe_workshop(jobs, seed)
    return replace(cafe, paperwork=replace(cafe.paperwork, mistyped_share=mistyped_share))


def _two_models() -> tuple[Model, ...]:
    return (Model("grill", 0.6, "CG"), Model("boiler", 0.4, "WB"))


def _calibrated(scenario: Scenario, risk: float) -> Scenario:
    """Scale all causes alike until the pilot's true share back by 180 days is the risk."""
    scaled = replace(scenario, seed=0, first_visits=PILOT_JOBS)
    _, truth = generate(scaled)
    # Who gets what done does not hang on the hazards, so one pilot serves every scale.
    for _ in range(20):
        found = np.nanmean(replace(truth, scenario=scaled).job_risk(SHARE_DAY))
        if abs(found - risk) < 1e-9:
            break
        scale = np.log1p(-risk) / np.log1p(-found)
        scaled = replace(
            scaled,
            causes=tuple(
                replace(cause, share_by_180_days=1 - (1 - cause.share_by_180_days) ** scale)
                for cause in scaled.causes
            ),
        )
    return scaled
