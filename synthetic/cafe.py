"""The demo: ten years of an invented workshop that repairs café counter appliances."""

from __future__ import annotations

from synthetic.cafe_words import TELLING
from synthetic.scenario import (
    Cause,
    Leaving,
    Model,
    Paperwork,
    Part,
    Practice,
    Reading,
    Returning,
    Scenario,
    Slip,
    Technician,
)

JOBS_PER_UNIT = 1.26  # in the long run of these truths


def cafe_workshop(jobs: int = 12_000, seed: int = 20) -> Scenario:
    """Ten years at three benches that repair café counter appliances: the demo.

    Renewing both contacts of a pair is done more readily on old and poor units, so the plain
    comparison makes it look nearly useless; in truth it spares two contact faults in three.
    Cleaning the switch spares four switch faults in ten. A new gasket changes nothing. One lot of
    contacts fails four times as readily, and in one autumn one bench leaves the switches uncleaned.

    Parameters
    ----------
    jobs
        About how many jobs, comebacks included.
    seed
        Another seed, another history of the same truth.
    """
    return Scenario(
        seed=seed,
        first_visits=round(jobs / JOBS_PER_UNIT),
        first_day="2015-10-01",
        days=3653,
        growth=0.6,
        models=_cafe_models(),
        technicians=(
            Technician("Ada", 0.40, {"contact_pair": 0.9, "switch": 0.5}, -0.05),
            Technician("Bo", 0.35, {"contact_pair": -0.2, "gasket": 0.4}),
            Technician("Cleo", 0.25, {"contact_pair": -0.9, "switch": -0.6}, 0.08),
        ),
        causes=_cafe_causes(),
        practices=_cafe_practices(),
        parts=(
            Part("contact", 0.85, lot_days=45, bad_lots=(61,), cause="contact", multiplier=4.0),
            Part("element", 0.30, lot_days=120, overlap_days=10),
            Part("gasket", 0.45, lot_days=90, overlap_days=8),
        ),
        slips=(Slip("switch", "Bo", "2023-09-01", 61),),
        readings=_cafe_readings(),
        terms={90: 0.30, 180: 0.45, 365: 0.25},
        returning=Returning(
            in_term_share=0.95,
            out_of_term_share=0.45,
            post_days_shares=(0.10, 0.20, 0.25, 0.20, 0.10, 0.06, 0.04, 0.03, 0.01, 0.01),
            no_fault_found_by_180_days=0.005,
            misuse_by_180_days=0.003,
            write_off_share=0.06,
        ),
        leaving=Leaving(beyond_repair_share=0.02, yearly_share=0.07, recorded_share=0.25),
        paperwork=Paperwork(
            mistyped_share=0.03,
            restyled_share=0.05,
            missing_serial_share=0.015,
            moved_share=0.02,
            missing_age_share=0.03,
            missing_condition_share=0.02,
            unknown_cause_share=0.02,
            pending_days=21,
        ),
        telling=TELLING,
        bench_days=5.0,
        units_per_customer=1.4,
        unit_frailty_variance=0.4,
        same_cause_log_hazard=0.35,
        currency="EUR",
    )


def _cafe_models() -> tuple[Model, ...]:
    return (
        Model("water boiler", 0.35, "WB", 95.0),
        Model("milk steamer", 0.20, "MS", 120.0),
        Model("contact grill", 0.30, "CG", 110.0),
        Model("grinder", 0.15, "GR", 85.0),
    )


def _cafe_causes() -> tuple[Cause, ...]:
    return (
        Cause(
            "contact",
            0.018,
            shape=1.5,
            age_log_hazard=0.08,
            condition_log_hazard=0.35,
            model_log_hazard={"contact grill": 0.3, "grinder": -0.7},
            first_visit_weight=3.0,
            upstream={"arcing switch": 0.35, "loose terminal": 0.15},
        ),
        Cause(
            "switch",
            0.012,
            shape=1.0,
            age_log_hazard=0.05,
            condition_log_hazard=0.25,
            first_visit_weight=2.0,
            upstream={"grease inside": 0.40},
        ),
        Cause(
            "element",
            0.008,
            shape=1.3,
            age_log_hazard=0.04,
            condition_log_hazard=0.10,
            model_log_hazard={"grinder": -3.0, "water boiler": 0.3},
            first_visit_weight=2.0,
            upstream={"scale": 0.50, "arcing switch": 0.10},
        ),
        Cause(
            "cord",
            0.006,
            shape=0.8,
            first_visit_weight=1.0,
            upstream={"pulled by the cord": 0.60},
        ),
        Cause(
            "seal",
            0.007,
            shape=0.7,
            condition_log_hazard=0.10,
            model_log_hazard={"grinder": -4.0, "contact grill": -4.0},
            first_visit_weight=1.2,
            upstream={"scale": 0.30},
        ),
        Cause(
            "thermostat",
            0.005,
            shape=1.0,
            age_log_hazard=0.03,
            model_log_hazard={"grinder": -4.0},
            first_visit_weight=1.3,
        ),
    )


def _cafe_practices() -> tuple[Practice, ...]:
    return (
        Practice(
            "contact_pair",
            done="both",
            left="one",
            log_odds=-0.3,
            age_log_odds=0.16,
            condition_log_odds=0.60,
            model_log_odds={"contact grill": 0.4, "grinder": -0.4},
            yearly_log_odds=0.05,
            hazard_multipliers={"contact": 0.35},
            unrecorded_share=0.01,
            minutes=4,
            cost=2.40,
        ),
        Practice(
            "switch",
            done="cleaned",
            left="left",
            log_odds=0.5,
            age_log_odds=0.05,
            condition_log_odds=0.25,
            quarter_log_odds={"Q4": -0.4},
            hazard_multipliers={"switch": 0.60},
            unrecorded_share=0.01,
            minutes=3,
        ),
        Practice(
            "gasket",
            done="renewed",
            left="kept",
            age_log_odds=0.10,
            condition_log_odds=0.20,
            models=("water boiler", "milk steamer"),
            minutes=5,
            cost=1.10,
        ),
    )


def _cafe_readings() -> tuple[Reading, ...]:
    return (
        Reading(
            "plate_c",
            228.0,
            6.0,
            likeness=-0.6,
            hazard_log={"thermostat": -0.5},
            decimals=0,
            models=("contact grill",),
        ),
        Reading(
            "insulation_mohm",
            3.2,
            0.8,
            likeness=0.7,
            hazard_log={"element": -0.4, "cord": -0.3},
            logarithmic=True,
        ),
        Reading(
            "earth_ohm",
            -2.3,
            0.35,
            likeness=-0.5,
            hazard_log={"cord": -0.3},
            logarithmic=True,
            decimals=3,
        ),
    )
