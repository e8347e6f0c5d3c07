"""Recent months completed: how many of their returns are still to come."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from insights.errors import EvidenceError, RequestError
from insights.followup import ENDS, Followup
from insights.notes import Note, counted
from insights.survival.chain_ladder import ChainLadder, bornhuetter_ferguson, chain_ladder
from insights.survival.lifetable import life_table
from insights.survival.outlook import Outlook, outlook
from insights.survival.strata import strata

MATURE_SHARE = 0.9
"""Below so much of the returns already seen, a month is marked immature."""
METHOD = (
    "Survival: each job still followed returns by the day with chance (F(day) - F(age)) / "
    "(1 - F(age)), F by Aalen-Johansen. Bornhuetter-Ferguson on its maturity F(age) / F(day). "
    "Chain ladder with volume-weighted factors and Mack's standard errors, on whole months."
)


@dataclass(frozen=True, eq=False)
class Maturity:
    """Months of hand-back with their returns by one day, completed.

    Parameters
    ----------
    table
        One row a month of hand-back: ``month``, ``jobs``, ``returns`` (by the day, seen so far),
        ``mature_share`` (of its returns already to be seen), ``immature``, and the number
        expected in the end by ``survival``, ``bornhuetter_ferguson`` and ``chain_ladder`` (with
        ``chain_ladder_se``; missing where the pattern can't be told).
    triangle
        Returns by calendar month since the month of hand-back, cumulative: one row a month, one
        column a lag, missing where not yet seen.
    ladder
        The completed triangle; None where no whole month is there.
    day
        Returns up to this day after hand-back are meant.
    share
        Share back by that day over all jobs.
    jobs, units, returns
        How many are behind it.
    data_date
        The day up to which the record is complete.
    method, notes
        How, and what a reader should know.
    """

    table: pd.DataFrame
    triangle: pd.DataFrame
    ladder: ChainLadder | None
    day: int
    share: float
    jobs: int
    units: int
    returns: int
    data_date: pd.Timestamp
    method: str
    notes: tuple[Note, ...]


def maturity(followup: Followup, *, day: int = 180) -> Maturity:
    """Complete the months of hand-back to their returns by one day.

    Parameters
    ----------
    followup
        The hand-backs. With ``follow="covered"`` only jobs whose own term reaches the day can
        show their returns up to it; the others are left aside, and a note says how many.
    day
        Days after hand-back.

    Returns
    -------
    Maturity

    Raises
    ------
    RequestError
        The day is not a whole number from 1 on.
    EvidenceError
        No job's term reaches the day, or the record doesn't.

    Notes
    -----
    The triangle ends with the last whole calendar month before the data date; the survival
    estimate and Bornhuetter-Ferguson's use every day.
    """
    if not (day >= 1 and day == int(day)):
        raise RequestError(f"The day is {day}. Give a whole number of days from 1 on, like 180.")
    chosen, aside = _reaching(followup, int(day))
    (part,) = strata(life_table(chosen))
    ahead = outlook(part)
    share = float(ahead.share(np.array([float(day)]))[0])
    if np.isnan(share):
        raise EvidenceError(
            f"The record can't carry returns to day {day}. {ahead.why_not(day)} Ask for an earlier "
            "day."
        )
    table = _by_month(chosen, ahead, day, share)
    triangle = _triangle(chosen, day, table)
    ladder = chain_ladder(triangle.to_numpy()) if len(triangle) else None
    return Maturity(
        table=_with_ladder(table, ladder),
        triangle=triangle,
        ladder=ladder,
        day=int(day),
        share=share,
        jobs=chosen.job_count,
        units=chosen.unit_count,
        returns=int(table["returns"].sum()),
        data_date=chosen.data_date,
        method=METHOD,
        notes=(*followup.notes, *_notes(table, aside, day)),
    )


def reaches(followup: Followup, day: float) -> np.ndarray:
    """Mark the hand-backs that can show their returns up to a day, shape (N,).

    With ``follow="covered"`` those whose own term reaches it, or has none recorded; else all.
    """
    if followup.follow != "covered":
        return np.ones(followup.job_count, dtype=bool)
    term = followup.history.jobs["term_days"].to_numpy()[followup.episodes["job"]]
    return np.isnan(term) | (term >= day)


def _reaching(followup: Followup, day: int) -> tuple[Followup, int]:
    long_enough = reaches(followup, day)
    if not long_enough.any():
        term = followup.history.jobs["term_days"].to_numpy()[followup.episodes["job"]]
        raise EvidenceError(
            f"No job has a term of {day} days or more; the longest is {np.nanmax(term):g}. Ask for "
            "a day inside it."
        )
    kept = followup.episodes[long_enough].reset_index(drop=True)
    return replace(followup, episodes=kept), int((~long_enough).sum())


def _month(followup: Followup) -> pd.PeriodIndex:
    handed_back = followup.history.jobs["handed_back"].to_numpy()[followup.episodes["job"]]
    return pd.DatetimeIndex(handed_back).to_period("M")


def _back_by(followup: Followup, day: int) -> np.ndarray:
    episodes = followup.episodes
    return ((episodes["end"] == ENDS[0]) & (episodes["days"] <= day)).to_numpy()


def _by_month(followup: Followup, ahead: Outlook, day: int, share: float) -> pd.DataFrame:
    days = followup.episodes["days"].to_numpy()
    handed_back = followup.history.jobs["handed_back"].to_numpy()[followup.episodes["job"]]
    age = (followup.data_date.to_datetime64() - handed_back) / np.timedelta64(1, "D")
    waiting = (followup.episodes["end"] == "data_date").to_numpy() & (days < day)
    by_age = np.append(0.0, ahead.share(np.arange(1.0, day + 1)))
    so_far = by_age[np.minimum(age, day).astype(int)]
    to_come = np.where(waiting, (share - so_far) / (1 - so_far), 0.0)
    frame = pd.DataFrame(
        {
            "jobs": 1,
            "returns": _back_by(followup, day).astype(np.int64),
            "mature_share": so_far / share if share > 0 else np.minimum(age, day) / day,
            "survival": to_come,
        }
    )
    grouped = frame.groupby(_month(followup), sort=True)
    table = grouped.agg(
        {"jobs": "sum", "returns": "sum", "mature_share": "mean", "survival": "sum"}
    )
    table["survival"] += table["returns"]
    table.insert(3, "immature", table["mature_share"] < MATURE_SHARE)
    seen, jobs = table["returns"].to_numpy(), table["jobs"].to_numpy()
    table["bornhuetter_ferguson"] = bornhuetter_ferguson(
        seen, jobs, share, table["mature_share"].to_numpy()
    )
    return table


def _triangle(followup: Followup, day: int, table: pd.DataFrame) -> pd.DataFrame:
    """Count returns by month of hand-back and calendar month since, up to the last whole month."""
    last = (followup.data_date + pd.Timedelta(days=1)).to_period("M") - 1
    months = table.index[table.index <= last]
    if not len(months):
        return pd.DataFrame()
    since = _month(followup)
    back = _back_by(followup, day)
    start = followup.history.jobs["handed_back"].to_numpy()[followup.episodes["job"]]
    whole = np.floor(followup.episodes["days"].to_numpy()).astype("timedelta64[D]")
    arrived = pd.DatetimeIndex(start + whole).to_period("M")
    longest = _longest_lag(months, day)
    lag = arrived.asi8 - since.asi8
    place = months.get_indexer(since)
    counted = back & (place >= 0) & (arrived <= last)
    counts = np.zeros((len(months), longest + 1))
    np.add.at(counts, (place[counted], lag[counted]), 1.0)
    cumulative = counts.cumsum(axis=1)
    future = months.asi8[:, None] + np.arange(longest + 1) > last.ordinal
    cumulative[future] = np.nan
    return pd.DataFrame(cumulative, index=months)


def _longest_lag(months: pd.PeriodIndex, day: int) -> int:
    ends = months.end_time.normalize() + pd.Timedelta(days=day)
    return int((ends.to_period("M").asi8 - months.asi8).max())


def _with_ladder(table: pd.DataFrame, ladder: ChainLadder | None) -> pd.DataFrame:
    table = table.assign(chain_ladder=np.nan, chain_ladder_se=np.nan)
    if ladder is not None:
        rows = len(ladder.ultimates)
        table.iloc[:rows, table.columns.get_loc("chain_ladder")] = ladder.ultimates
        table.iloc[:rows, table.columns.get_loc("chain_ladder_se")] = ladder.se
    table.insert(0, "month", table.index.astype(str))
    return table.reset_index(drop=True)


def _notes(table: pd.DataFrame, aside: int, day: int) -> list[Note]:
    notes = []
    if aside:
        notes.append(
            Note(
                "shorter_terms",
                f"{counted(aside, 'job has', 'jobs have')} a term shorter than {day} days and "
                f"{'is' if aside == 1 else 'are'} left aside: owners stop coming back before.",
                aside,
            )
        )
    young = table["immature"]
    if young.any():
        notes.append(
            Note(
                "immature",
                f"{counted(int(young.sum()), 'month has', 'months have')} shown less than "
                f"{100 * MATURE_SHARE:.0f}% of all returns to come; raw rates look too good there.",
                int(table["jobs"][young].sum()),
            )
        )
    return notes
