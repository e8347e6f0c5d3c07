"""What a comparison of two ways of working says, as plain data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from insights.evidence.propensity import Population
from insights.notes import Note

Verdict = Literal[
    "helps",
    "harms",
    "not_clear",
    "too_early",
    "estimators_disagree",
    "different_units",
    "cannot_compare",
    "switched_on",
]
"""``helps``, ``harms``: the interval lies on one side of zero. ``not_clear``: it spans zero.
``too_early``: under 10 comebacks. ``estimators_disagree``: two ways of adjusting differ by more
than chance. ``different_units``: causes that the practice can't touch differ too.
``cannot_compare``: hardly any job could have been done either way. ``switched_on``: everyone
changed on one day, so only before and after can be compared (weak).
"""

ControlVerdict = Literal["near_zero", "differs", "says_little", "not_asked"]
"""``says_little``: the interval holds zero, but also a difference as large as the one claimed."""


@dataclass(frozen=True)
class RiskDifference:
    """Shares back by the day with the practice and without, and how they differ.

    Parameters
    ----------
    risk_level, risk_against
        Share back had all jobs been done the way asked about, and the other way.
    difference
        ``risk_level - risk_against``; below zero the practice helps.
    low, high
        Limits of the difference; NaN where none can be given.
    """

    risk_level: float
    risk_against: float
    difference: float
    low: float
    high: float


@dataclass(frozen=True)
class Estimate:
    """A number with its limits; NaN where it can't be given."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True)
class JobsPerComeback:
    """How many jobs one comeback more or less is spread over.

    Parameters
    ----------
    jobs, low, high
        Jobs per comeback avoided (below zero: caused) and its limits; NaN where the
        difference may be of either sign, because the range then runs through infinity.
    avoided_per, caused_per
        At the two ends of the difference's interval: one comeback avoided per so many jobs at
        best, one caused per so many at worst; NaN for an end on the other side of zero.
    """

    jobs: float
    low: float
    high: float
    avoided_per: float
    caused_per: float


@dataclass(frozen=True)
class Overlap:
    """How many jobs could have been done either way.

    Parameters
    ----------
    share_outside
        Share of the population whose chance of being done the way asked about is outside
        0.05 to 0.95.
    effective_jobs_level, effective_jobs_against
        How many equally weighted jobs the weighted ones are worth, by arm.
    """

    share_outside: float
    effective_jobs_level: float
    effective_jobs_against: float


@dataclass(frozen=True)
class Control:
    """The difference in causes that the practice can't touch; it should be near zero."""

    causes: tuple[str, ...]
    risk: RiskDifference
    verdict: ControlVerdict


@dataclass(frozen=True)
class Switch:
    """A practice switched on for everyone at once.

    Parameters
    ----------
    date
        First day of hand-back under the new way.
    share_before, share_after
        Share of jobs done the way asked about.
    before_after
        Plain difference between the two ways, all along the calendar.
    less_untouched
        The same less the difference in causes it can't touch; NaN where none were named.
    """

    date: pd.Timestamp
    share_before: float
    share_after: float
    before_after: Estimate
    less_untouched: Estimate


@dataclass(frozen=True)
class PracticeEvidence:
    """What a practice changes on like-for-like jobs, and why to believe it.

    Parameters
    ----------
    practice, level, against
        What is compared: jobs done ``level`` with jobs done ``against``.
    day
        Comebacks up to and including this day are counted.
    cause
        The root cause asked about; None for all comebacks.
    population
        Whose jobs the adjusted risks are of: ``not_yet`` done so, ``all``, ``done`` so, or
        ``comparable`` ones.
    covariates
        What was adjusted for.
    jobs, jobs_level, jobs_against, units
        How many are compared.
    returns, returns_level, returns_against
        Comebacks asked about by the day.
    crude, adjusted
        The plain comparison, and the one on like-for-like jobs.
    ratio
        Risk with the practice over risk without, adjusted.
    jobs_per_comeback
        The adjusted difference as jobs per comeback avoided.
    days_gained
        Days without a comeback gained per job up to the day (restricted mean difference).
    table
        Every estimator side by side: ``estimator``, ``population``, ``risk_level``,
        ``risk_against``, ``difference``, ``low``, ``high``, ``why_not`` (empty where it is
        given).
    causes
        The adjusted comparison split by cause, adding up exactly: ``part``, ``risk_level``,
        ``risk_against``, ``difference``, ``low``, ``high``; the last row is ``all comebacks``.
    balance
        ``covariate``, ``value``, ``share_level``, ``share_against``, ``before``, ``after``,
        ``is_adjusted``: shares of each arm's jobs, and the standardised difference before and
        after weighting; not adjusted for are other practices decided in the same repair.
    propensity
        For a figure: ``low``, ``high`` of a band of the chance to be done so, and the jobs of
        each arm in it, ``jobs_level``, ``jobs_against``.
    technicians
        ``technician``, ``jobs_level``, ``jobs_against``, ``share_level``.
    incomparable
        Covariate values (almost) always or never done so: ``covariate``, ``value``, ``jobs``,
        ``share_level``.
    overlap, control, switch
        See their types; ``switch`` is None where the practice was not switched on at once.
    e_value, e_value_limit
        How strongly an unmeasured reason would have to be tied to both the choice and the
        comebacks (as risk ratios) to explain the difference, or its nearer limit, away.
    draws
        Draws of the adjusted difference, one per replicate.
    verdict
        See :data:`Verdict`.
    confidence
        Of every interval.
    method, notes
        How, and what a reader should know.
    """

    practice: str
    level: str
    against: str
    day: float
    cause: str | None
    population: Population
    covariates: tuple[str, ...]
    jobs: int
    jobs_level: int
    jobs_against: int
    units: int
    returns: int
    returns_level: int
    returns_against: int
    crude: RiskDifference
    adjusted: RiskDifference
    ratio: Estimate
    jobs_per_comeback: JobsPerComeback
    days_gained: Estimate
    table: pd.DataFrame
    causes: pd.DataFrame
    balance: pd.DataFrame
    propensity: pd.DataFrame
    technicians: pd.DataFrame
    incomparable: pd.DataFrame
    overlap: Overlap
    control: Control
    switch: Switch | None
    e_value: float
    e_value_limit: float
    draws: np.ndarray
    verdict: Verdict
    confidence: float
    method: str
    notes: tuple[Note, ...]
