"""What is true of an invented workshop: plain data, every effect stated.

Hazards multiply. A job's hazard of cause ``k`` on the day ``u`` after hand-back is the cause's own
Weibull hazard times ``exp`` of the sum of its log hazard ratios. An empty mapping has no effect
anywhere, and a missing key none there. Ages are centred at :data:`CENTRE_AGE_YEARS`,
conditions at :data:`CENTRE_CONDITION`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

NO_FAULT_FOUND = "none_found"
MISUSE = "misuse"
CENTRE_AGE_YEARS = 5.0
CENTRE_CONDITION = 3.0
SHARE_DAY = 180

Effects = Mapping[str, float]


@dataclass(frozen=True)
class Model:
    """A family of appliances: its share of the units, the start of its serials, a usual price."""

    name: str
    share: float
    prefix: str = "U"
    price: float = 120.0


@dataclass(frozen=True)
class Technician:
    """Who works at a bench.

    Parameters
    ----------
    name, share
        Initials or first name, and share of the jobs.
    practice_log_odds
        By practice: how much more readily than usual this technician does it (log odds).
    log_hazard
        How this technician's jobs fare with every cause (log hazard ratio).
    """

    name: str
    share: float
    practice_log_odds: Effects = field(default_factory=dict)
    log_hazard: float = 0.0


@dataclass(frozen=True)
class Cause:
    """Something that fails after a repair.

    Parameters
    ----------
    name
        The shop's code.
    share_by_180_days
        Share of reference jobs (age 5, condition 3, no other effect) that this cause alone would
        have failed by 180 days.
    shape
        Weibull shape: below 1 early failures, above 1 wear.
    age_log_hazard, condition_log_hazard
        Log hazard ratio per year of age, and per step of condition.
    model_log_hazard
        Log hazard ratio by model.
    first_visit_weight
        How often it is what brings a unit in for the first time, relative to the others.
    upstream
        What made it fail, with the share of cases.
    """

    name: str
    share_by_180_days: float
    shape: float = 1.0
    age_log_hazard: float = 0.0
    condition_log_hazard: float = 0.0
    model_log_hazard: Effects = field(default_factory=dict)
    first_visit_weight: float = 1.0
    upstream: Effects = field(default_factory=dict)

    @property
    def hazard_by_180_days(self) -> float:
        """Cumulative hazard of a reference job by 180 days."""
        return -math.log1p(-self.share_by_180_days)


@dataclass(frozen=True)
class Practice:
    """Something the bench does or leaves, how it chooses, and what it truly changes.

    Parameters
    ----------
    name
        Without the prefix ``practice_``.
    done, left
        The two levels.
    log_odds
        Log odds of doing it on a reference job; the ``*_log_odds`` add to it per year of
        age, per step of condition, by model, per calendar year, by quarter (``Q1`` to ``Q4``), and
        per standard deviation of the severity that nobody writes down.
    hazard_multipliers
        By cause: what doing it multiplies the hazard by. A cause not named is one that the
        practice can't touch.
    models
        The models it applies to; empty: all.
    unrecorded_share
        Share of the jobs on which it was not ticked either way.
    minutes, cost
        What doing it takes.
    """

    name: str
    done: str
    left: str
    log_odds: float = 0.0
    age_log_odds: float = 0.0
    condition_log_odds: float = 0.0
    model_log_odds: Effects = field(default_factory=dict)
    yearly_log_odds: float = 0.0
    quarter_log_odds: Effects = field(default_factory=dict)
    severity_log_odds: float = 0.0
    hazard_multipliers: Effects = field(default_factory=dict)
    models: tuple[str, ...] = ()
    unrecorded_share: float = 0.0
    minutes: float = 0.0
    cost: float = 0.0


@dataclass(frozen=True)
class Part:
    """A part bought in lots, used up one after the other.

    Parameters
    ----------
    name
        Without the prefix ``lot_``.
    fitted_share
        Share of the jobs that get one.
    lot_days
        How long a lot lasts.
    overlap_days
        Standard deviation of the days by which a box is opened early or late.
    bad_lots
        Numbers of the bad lots (the first is 1).
    cause, multiplier
        What the hazard of one cause is multiplied by on a bad lot; cause empty: every cause.
    """

    name: str
    fitted_share: float = 1.0
    lot_days: float = 45.0
    overlap_days: float = 5.0
    bad_lots: tuple[int, ...] = ()
    cause: str = ""
    multiplier: float = 1.0


@dataclass(frozen=True)
class Slip:
    """A habit that slips: one technician (empty: everyone) leaves a practice for some weeks."""

    practice: str
    technician: str
    first_day: str
    days: int = 61
    left_share: float = 0.95


@dataclass(frozen=True)
class Reading:
    """A final-test measurement that shares something with what fails later.

    Parameters
    ----------
    name
        Without the prefix ``reading_``, unit last.
    target, spread
        Mean and standard deviation (of the logarithm, where ``logarithmic``).
    likeness
        Correlation of the reading with the job's hidden quality.
    hazard_log
        By cause: log hazard ratio per standard deviation of the hidden quality.
    models
        The models it is taken on; empty: all.
    """

    name: str
    target: float
    spread: float
    likeness: float = 0.0
    hazard_log: Effects = field(default_factory=dict)
    logarithmic: bool = False
    decimals: int = 1
    models: tuple[str, ...] = ()


@dataclass(frozen=True)
class Returning:
    """Who brings a failed unit back, and how long it is in the post.

    Parameters
    ----------
    in_term_share, out_of_term_share
        Chance that the owner brings the unit back to us, by whether the fault showed inside the
        term.
    post_days_shares
        Chance of 0, 1, 2, ... days between the fault and its arrival.
    no_fault_found_by_180_days, misuse_by_180_days
        Share of jobs that come back without a fault, or ill-used (constant hazards).
    write_off_share
        Share of the comebacks that end in a refund or replacement instead of a repair.
    """

    in_term_share: float = 1.0
    out_of_term_share: float = 1.0
    post_days_shares: tuple[float, ...] = (1.0,)
    no_fault_found_by_180_days: float = 0.0
    misuse_by_180_days: float = 0.0
    write_off_share: float = 0.0


@dataclass(frozen=True)
class Leaving:
    """Units that end otherwise: scrapped at the first visit, or out of use in the field."""

    beyond_repair_share: float = 0.0
    yearly_share: float = 0.0
    recorded_share: float = 1.0

    @property
    def daily_hazard(self) -> float:
        """Constant hazard per day of leaving service in the field."""
        return -math.log1p(-self.yearly_share) / 365


@dataclass(frozen=True)
class Paperwork:
    """How the record is kept: shares of jobs with each slip of the pen, and what things cost.

    Parameters
    ----------
    mistyped_share, restyled_share, missing_serial_share
        Serials with one wrong character; written in other case or spacing; not written.
    moved_share
        Jobs on which the customer has another phone number than before.
    missing_age_share, missing_condition_share, unknown_cause_share
        Facts left empty.
    pending_days
        Comebacks that arrive in these last days before the data date may still be undecided.
    rate_per_minute, post_each_way
        Money.
    """

    mistyped_share: float = 0.0
    restyled_share: float = 0.0
    missing_serial_share: float = 0.0
    moved_share: float = 0.0
    missing_age_share: float = 0.0
    missing_condition_share: float = 0.0
    unknown_cause_share: float = 0.0
    pending_days: int = 0
    rate_per_minute: float = 0.70
    post_each_way: float = 9.50


@dataclass(frozen=True)
class Telling:
    """What customers say of a fault and what the bench writes; without words: nothing.

    Parameters
    ----------
    complaints
        By cause, every cause named: one tuple a symptom, each the ways of saying it. The same
        words may be said of several causes.
    findings
        By cause, every cause named: what the bench writes once it has found it.
    openings, endings
        What is said around the symptom.
    empty_phrases
        Complaints that say nothing.
    remarks
        Notes that say nothing of the cause.
    misleading_share
        Share of the complaints that speak of a symptom drawn without regard to the cause.
    empty_phrase_share, untold_share, mistyped_share
        Shares of the complaints that say nothing, were not written down, have a slip of the keys.
    noted_share, finding_share
        Share of the finished jobs with a note, and of those notes that name what was found.
    """

    complaints: Mapping[str, tuple[tuple[str, ...], ...]] = field(default_factory=dict)
    findings: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    openings: tuple[str, ...] = ("",)
    endings: tuple[str, ...] = ("",)
    empty_phrases: tuple[str, ...] = ("not working",)
    remarks: tuple[str, ...] = ("cleaned outside",)
    misleading_share: float = 0.15
    empty_phrase_share: float = 0.0
    untold_share: float = 0.0
    mistyped_share: float = 0.0
    noted_share: float = 0.0
    finding_share: float = 0.0


@dataclass(frozen=True)
class Scenario:
    """An invented workshop.

    Parameters
    ----------
    seed
        The same scenario makes the same history.
    first_visits
        Units that come in for a first time; their comebacks are jobs on top.
    days
        From ``first_day`` to the data date.
    growth
        How much more work a day there is at the end than at the beginning, as a share.
    terms
        Days of warranty, with the share of jobs. A repaired comeback draws a new term.
    bench_days
        Mean days on the bench (geometric, at least 1).
    units_per_customer
        Mean (geometric, at least 1).
    unit_frailty_variance
        Variance of a gamma multiplier, mean 1, that a unit keeps through all its repairs.
    severity_log_hazard
        Log hazard ratio of every cause per standard deviation of a severity that is not recorded.
    same_cause_log_hazard
        Log hazard ratio of the cause that was just repaired.
    never_fails_share
        Share of the jobs that no fault ever comes to.
    age_shape, age_mean_years
        Gamma distribution of the age at the first visit.
    """

    seed: int = 1
    first_visits: int = 1000
    first_day: str = "2022-01-01"
    days: int = 1460
    growth: float = 0.0
    models: tuple[Model, ...] = (Model("grill", 1.0),)
    technicians: tuple[Technician, ...] = (Technician("Ada", 1.0),)
    causes: tuple[Cause, ...] = (Cause("contact", 0.04),)
    practices: tuple[Practice, ...] = ()
    parts: tuple[Part, ...] = ()
    slips: tuple[Slip, ...] = ()
    readings: tuple[Reading, ...] = ()
    terms: Mapping[int, float] = field(default_factory=lambda: {365: 1.0})
    returning: Returning = field(default_factory=Returning)
    leaving: Leaving = field(default_factory=Leaving)
    paperwork: Paperwork = field(default_factory=Paperwork)
    telling: Telling = field(default_factory=Telling)
    bench_days: float = 1.0
    units_per_customer: float = 1.0
    unit_frailty_variance: float = 0.0
    severity_log_hazard: float = 0.0
    same_cause_log_hazard: float = 0.0
    never_fails_share: float = 0.0
    age_shape: float = 2.5
    age_mean_years: float = 5.0
    currency: str = ""

    @property
    def confounded(self) -> bool:
        """Does an unrecorded severity drive both the choice of a practice and the comebacks."""
        chosen_by_it = any(practice.severity_log_odds for practice in self.practices)
        return bool(self.severity_log_hazard) and chosen_by_it

    @property
    def cause_names(self) -> tuple[str, ...]:
        """Codes of the causes, in order."""
        return tuple(cause.name for cause in self.causes)

    def practice(self, name: str) -> Practice:
        """Find a practice by its name without the prefix.

        Raises
        ------
        KeyError
            There is none of that name.
        """
        for practice in self.practices:
            if practice.name == name:
                return practice
        known = ", ".join(practice.name for practice in self.practices) or "none"
        raise KeyError(f"No practice '{name}' in this scenario. Known: {known}.")
