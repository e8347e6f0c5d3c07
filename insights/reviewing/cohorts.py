"""Months of hand-back beside each other as they age, and this year beside last."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pandas as pd
from scipy import stats

from insights.followup import Followup
from insights.notes import Note
from insights.reviewing.expected import case_mix, returned
from insights.survival.curves import return_curves
from insights.survival.intervals import share_bounds
from insights.survival.lifetable import life_table
from insights.survival.stating import MIN_AT_RISK, Measured, at_table, request, supported_days
from insights.survival.strata import all_returns, strata

AGES_DAYS = tuple(range(30, 361, 30))
YEAR_DAYS = 365
HALF = 0.5
THIS_YEAR, LAST_YEAR = "the last 12 months", "the 12 months before"
METHOD = (
    "Share back by age, each month of hand-back by itself (Aalen-Johansen; blank where fewer than "
    "10 jobs are old enough). This year against last: comebacks to expectation on either year's "
    "mix of work, ratio of two Poisson rates with Jeffreys' prior."
)


@dataclass(frozen=True, eq=False)
class YearOnYear:
    """The hand-backs of the last 12 months beside those of the 12 before.

    Parameters
    ----------
    curves
        ``year``, ``day``, ``share`` back, ``low``, ``high``; as far as each year is followed.
    jobs, returns, expected
        Of this year and of last: hand-backs, comebacks so far, and what the mix of work lets one
        expect of them in so many days.
    ratio, low, high
        Comebacks for each expected, this year over last; missing where a year has no job.
    chance_worse
        That the ratio is above one.
    """

    curves: pd.DataFrame
    jobs: tuple[int, int]
    returns: tuple[int, int]
    expected: tuple[float, float]
    ratio: float
    low: float
    high: float
    chance_worse: float


@dataclass(frozen=True, eq=False)
class Cohorts:
    """Hand-backs by month, as they age.

    Parameters
    ----------
    table
        One row per ``month`` of hand-back and ``day`` of age: ``at_risk``, ``share`` back by the
        age, ``low``, ``high``; missing where too few jobs are so old.
    months
        One row a month: ``month``, ``jobs``, ``returns`` seen. Months without a hand-back stand
        among them with none.
    year
        This year beside last.
    data_date
        The day up to which the record is complete.
    method, notes
        How, and what a reader should know.
    """

    table: pd.DataFrame
    months: pd.DataFrame
    year: YearOnYear
    data_date: pd.Timestamp
    method: str
    notes: tuple[Note, ...]


def cohorts(
    followup: Followup, *, ages: tuple[int, ...] = AGES_DAYS, level: float = 0.95
) -> Cohorts:
    """Set months of hand-back side by side.

    Parameters
    ----------
    followup
        The hand-backs.
    ages
        Days after hand-back.
    level
        Of the intervals.

    Returns
    -------
    Cohorts

    Raises
    ------
    RequestError
        An age or level that can't be used.
    """
    wanted = request(ages, MIN_AT_RISK, level)
    parts, months = [], []
    for month in strata(life_table(followup, ("month",))):
        found = all_returns(month)
        supported = supported_days(month.risk.days, month.risk.at_risk, wanted.min_at_risk)
        parts.append(Measured({"month": month.label}, found.curve, found.variance, supported))
        months.append((month.label, month.jobs, int(month.risk.returns.sum())))
    names = ["month", "day", "at_risk", "share", "low", "high"]
    return Cohorts(
        table=at_table(parts, ("month",), wanted, share_bounds)[names],
        months=_every_month(pd.DataFrame(months, columns=["month", "jobs", "returns"])),
        year=year_on_year(followup, ages, level),
        data_date=followup.data_date,
        method=METHOD,
        notes=followup.notes,
    )


def _every_month(months: pd.DataFrame) -> pd.DataFrame:
    """List the months from the first to the last, those without a hand-back too."""
    seen = months.set_index(pd.PeriodIndex(months["month"], freq="M"))[["jobs", "returns"]]
    every = pd.period_range(seen.index.min(), seen.index.max(), freq="M")
    found = seen.reindex(every, fill_value=0)
    found.insert(0, "month", found.index.astype(str))
    return found.reset_index(drop=True)


def year_on_year(
    followup: Followup, ages: tuple[int, ...] = AGES_DAYS, level: float = 0.95
) -> YearOnYear:
    """Compare the hand-backs of the last 12 months with those of the 12 before.

    Each year's comebacks are set against what the mix of its work and the days it has been
    followed let one expect, so that a young year is not taken for a good one.
    """
    mix = case_mix(followup)
    years = {name: _between(followup, *span) for name, span in _spans(followup.data_date).items()}
    jobs, back, expected = [], [], []
    curves = []
    for name, year in years.items():
        jobs.append(year.job_count)
        back.append(int(returned(year).sum()))
        expected.append(float(mix.expected(year).sum()))
        if year.job_count:
            curves.append(return_curves(year, at=ages, level=level).table.assign(year=name))
    ratio = _ratio(back, expected, level)
    return YearOnYear(
        _side_by_side(curves),
        (jobs[0], jobs[1]),
        (back[0], back[1]),
        (expected[0], expected[1]),
        *ratio,
    )


def _side_by_side(curves: list[pd.DataFrame]) -> pd.DataFrame:
    names = ["year", "day", "share", "low", "high"]
    if not curves:
        return pd.DataFrame(columns=names)
    return pd.concat(curves, ignore_index=True)[names]


def _spans(end: pd.Timestamp) -> dict[str, tuple[pd.Timestamp, pd.Timestamp]]:
    year = pd.Timedelta(days=YEAR_DAYS)
    return {THIS_YEAR: (end - year, end), LAST_YEAR: (end - 2 * year, end - year)}


def _between(followup: Followup, after: pd.Timestamp, until: pd.Timestamp) -> Followup:
    handed_back = followup.history.jobs["handed_back"].to_numpy()[followup.episodes["job"]]
    inside = (handed_back > after.to_datetime64()) & (handed_back <= until.to_datetime64())
    return replace(followup, episodes=followup.episodes[inside].reset_index(drop=True))


def _ratio(
    back: list[int], expected: list[float], level: float
) -> tuple[float, float, float, float]:
    if min(expected) <= 0:
        return (float("nan"),) * 4
    now, then = (count + HALF for count in back)
    law = stats.f(2 * now, 2 * then, scale=now / expected[0] / (then / expected[1]))
    low, middle, high = law.ppf([(1 - level) / 2, HALF, (1 + level) / 2])
    return float(middle), float(low), float(high), float(law.sf(1.0))
