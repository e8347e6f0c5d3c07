"""One month: what left, what came back in it, and what would be usual on the units then out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from insights.errors import EvidenceError, RequestError
from insights.followup import ENDS, SAME_DAY, Followup
from insights.notes import Note
from insights.reviewing.expected import case_mix
from insights.survival.intervals import normal_quantile

MONTHS_A_YEAR = 12
QUIET_DAYS = 7
"""A workshop may be shut, or write nothing down, for so long."""
LEFT, BACK, APART = "handed_back", "came_back", "nothing_failed"
METHOD = (
    "Comebacks usual in a month: the hazard by age and by what the job brought, of the whole "
    "record, added up over every unit's days out of our hands in that month. Range of chance: "
    "Poisson about it."
)


@dataclass(frozen=True, eq=False)
class OneMonth:
    """A month beside the month before and the same month a year before.

    Parameters
    ----------
    month
        The month.
    table
        One row a ``month`` (this, the one before, a year before): ``handed_back`` units,
        ``came_back`` (arrivals in it that count as comebacks), ``nothing_failed`` (arrivals of
        units handed back before that do not count), ``expected`` comebacks on the units then out,
        ``low`` and ``high`` (what chance alone makes of that). Missing before the record begins.
    causes
        Comebacks by root ``cause``, one column a month of ``table``, the most this month first.
    arrivals
        The comebacks of this month, the latest first: ``job_id``, ``index_job_id``, ``model``,
        ``received``, ``days``, ``cause``, ``decision``.
    method, notes
        How, and what a reader should know.
    """

    month: pd.Period
    table: pd.DataFrame
    causes: pd.DataFrame
    arrivals: pd.DataFrame
    method: str
    notes: tuple[Note, ...]


def latest_month(data_date: pd.Timestamp, today: pd.Timestamp) -> pd.Period:
    """Choose the month to speak of: the last whole one that the record covers.

    A record that ends in a month's last days covers it: nothing may have happened since.

    Parameters
    ----------
    data_date
        The day up to which the record is complete.
    today
        By this machine's clock.
    """
    covered = (data_date + pd.Timedelta(days=QUIET_DAYS)).to_period("M") - 1
    return min(covered, today.to_period("M") - 1)


def one_month(followup: Followup, month: pd.Period, *, level: float = 0.95) -> OneMonth:
    """Count one month and set it beside the one before and the same a year before.

    Parameters
    ----------
    followup
        The hand-backs, known up to the month's end or later.
    month
        The month.
    level
        Of the range of chance.

    Returns
    -------
    OneMonth

    Raises
    ------
    RequestError
        The month lies outside the record.

    Notes
    -----
    What is usual is fitted on the whole record, the month itself included; in a long record that
    hardly shows, in a first year it makes an odd month look less odd.
    """
    normal_quantile(level)
    first = _handed_back(followup).min().to_period("M")
    last = followup.data_date.to_period("M")
    if not first <= month <= last:
        raise RequestError(f"{month} is outside the record, which goes from {first} to {last}.")
    months = (month, month - 1, month - MONTHS_A_YEAR)
    back = _comebacks(followup)
    usual, notes = _usual(followup, months)
    rows = [_counted(followup, back, each, first) for each in months]
    table = pd.DataFrame(rows).assign(expected=usual)
    table[["low", "high"]] = [by_chance(mean, level) for mean in usual]
    before_record = table["month"] < first
    table.loc[before_record, ["expected", "low", "high"]] = np.nan
    now = back[back["counts"] & (back["month"] == month)].sort_values(
        "received", ascending=False, kind="stable"
    )
    arrivals = now[["job_id", "index_job_id", "model", "received", "days", "cause", "decision"]]
    return OneMonth(
        month=month,
        table=table,
        causes=_causes(back, months),
        arrivals=arrivals.reset_index(drop=True),
        method=METHOD,
        notes=notes,
    )


def usual_in(followup: Followup, months: tuple[pd.Period, ...]) -> np.ndarray:
    """Give the comebacks to expect in each month on the units then out, shape (M,).

    Raises
    ------
    EvidenceError
        Too few jobs to say.
    """
    mix = case_mix(followup)
    relative = mix.relative(followup)
    handed_back = _handed_back(followup).to_numpy()
    days = followup.episodes["days"].to_numpy()
    found = []
    for month in months:
        # A comeback on a day of age d falls in (d - 1, d]; one on the first day in (0, 1/2].
        until = _age(month.end_time, handed_back)
        before = _age(month.start_time - pd.Timedelta(days=1), handed_back)
        to, since = (np.minimum(_at_risk(age), days) for age in (until, before))
        found.append(float((relative * (mix.cumulative(to) - mix.cumulative(since))).sum()))
    return np.array(found)


def _age(day: pd.Timestamp, handed_back: np.ndarray) -> np.ndarray:
    return (day.normalize().to_datetime64() - handed_back) / np.timedelta64(1, "D")


def _at_risk(age: np.ndarray) -> np.ndarray:
    return np.where(age < 0, 0.0, np.maximum(age, SAME_DAY))


def _usual(
    followup: Followup, months: tuple[pd.Period, ...]
) -> tuple[np.ndarray, tuple[Note, ...]]:
    try:
        return usual_in(followup, months), ()
    except EvidenceError as error:
        return np.full(len(months), np.nan), (Note("nothing_usual", str(error)),)


def by_chance(mean: float, level: float) -> tuple[float, float]:
    """Give what chance alone makes of a mean count (Poisson); missing where it is not known."""
    if not np.isfinite(mean) or mean <= 0:
        return np.nan, np.nan
    low, high = stats.poisson.interval(level, mean)
    return float(low), float(high)


def _handed_back(followup: Followup) -> pd.Series:
    days = followup.history.jobs["handed_back"]
    return days.take(followup.episodes["job"].to_numpy()).reset_index(drop=True)


def _comebacks(followup: Followup) -> pd.DataFrame:
    """List the arrivals that closed a clock, counted or not."""
    jobs = followup.history.jobs
    closed = followup.episodes[followup.episodes["return_job"] >= 0]
    visit = jobs.take(closed["return_job"].to_numpy()).reset_index(drop=True)
    index = jobs["job_id"].take(closed["job"].to_numpy()).reset_index(drop=True)
    return pd.DataFrame(
        {
            "job_id": visit["job_id"],
            "index_job_id": index,
            "model": visit["model"].astype(object),
            "received": visit["received"],
            "month": visit["received"].dt.to_period("M"),
            "days": closed["days"].to_numpy(),
            "counts": (closed["end"] == ENDS[0]).to_numpy(),
            "cause": closed["cause"].astype(object).to_numpy(),
            "decision": visit["decision"].astype(object),
        }
    )


def _counted(
    followup: Followup, back: pd.DataFrame, month: pd.Period, first: pd.Period
) -> dict[str, object]:
    if month < first:
        return {"month": month, LEFT: np.nan, BACK: np.nan, APART: np.nan}
    arrived = back[back["month"] == month]
    left = _handed_back(followup).dt.to_period("M") == month
    return {
        "month": month,
        LEFT: int(left.sum()),
        BACK: int(arrived["counts"].sum()),
        APART: int((~arrived["counts"]).sum()),
    }


def _causes(back: pd.DataFrame, months: tuple[pd.Period, ...]) -> pd.DataFrame:
    names = [str(month) for month in months]
    counted = back[back["counts"] & back["month"].isin(list(months))]
    wide = pd.crosstab(counted["cause"], counted["month"].astype(str))
    wide = wide.reindex(columns=names, fill_value=0)
    ordered = wide.sort_values(names, ascending=False, kind="stable")
    return ordered.rename_axis(index="cause", columns=None).reset_index()
