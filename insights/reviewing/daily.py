"""Hand-backs laid out by calendar day: who was out, what was known, what was to be expected."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from insights.followup import ENDS, Followup
from insights.history.schema import History
from insights.reviewing.cusum import NEVER
from insights.reviewing.expected import CaseMix

ONE_DAY = np.timedelta64(1, "D")
MOST_BANDS = 10


@dataclass(frozen=True, eq=False)
class Daily:
    """The hand-backs of a follow-up, in whole days since its first; arrays of shape (N,).

    Parameters
    ----------
    first_day
        Day 0.
    last
        The data date, as a day.
    start, end
        Day of hand-back; last day at risk.
    known
        The day on which a counted comeback had been looked at, so that its root cause and
        relation were known; -1 where there is none yet.
    cause
        Root cause of that comeback, as a category; missing where none.
    """

    first_day: pd.Timestamp
    last: int
    start: np.ndarray
    end: np.ndarray
    known: np.ndarray
    cause: pd.Series

    def date(self, day: int) -> pd.Timestamp:
        """Give the date of a day."""
        return self.first_day + pd.Timedelta(days=int(day))

    def day(self, date: pd.Timestamp) -> int:
        """Give the day of a date."""
        return int((date - self.first_day) // pd.Timedelta(days=1))


def lay_out(followup: Followup) -> Daily:
    """Lay hand-backs out by day."""
    episodes, jobs = followup.episodes, followup.history.jobs
    handed_back = jobs["handed_back"].to_numpy()[episodes["job"]]
    first_day = handed_back.min()
    start = ((handed_back - first_day) // ONE_DAY).astype(np.int64)
    end = start + np.floor(episodes["days"].to_numpy()).astype(np.int64)
    last = int((followup.data_date.to_datetime64() - first_day) // ONE_DAY)
    back = (episodes["end"] == ENDS[0]).to_numpy()
    seen_on = known_on(followup.history, followup.data_date).to_numpy()[episodes["return_job"]]
    known = np.full(len(start), NEVER)
    judged = back & ~np.isnat(seen_on)
    known[judged] = ((seen_on[judged] - first_day) // ONE_DAY).astype(np.int64)
    known = np.where(judged, np.maximum(known, end), known)
    cause = episodes["cause"].where(known != NEVER)
    return Daily(pd.Timestamp(first_day), last, start, end, known, cause)


def known_on(history: History, until: pd.Timestamp) -> pd.Series:
    """Give the day on which each visit's findings were known; missing where not yet.

    Those of a visit are entered when it is finished: the unit handed back, or out of service. A
    visit with neither counts from its arrival where something was found, and is still on the
    bench where nothing was: as in :func:`insights.history.asof.known_then`, so that a history
    as it was known on a past day gives the same days.
    """
    jobs = history.jobs
    finished = jobs["handed_back"].fillna(jobs["ended_on"])
    found = jobs["root_cause"].notna() | jobs["relation"].notna()
    day = finished.fillna(jobs["received"].where(found))
    return day.where(day <= until)


def only(followup: Followup, rows: np.ndarray) -> Followup:
    """Keep some hand-backs, by place or by mark."""
    return replace(followup, episodes=followup.episodes.iloc[rows].reset_index(drop=True))


def as_of(followup: Followup, daily: Daily, cut: np.ndarray, since: int) -> Followup:
    """Follow the same hand-backs only up to a day of their own, with what was known by then.

    Parameters
    ----------
    followup, daily
        The hand-backs.
    cut
        Last day seen of each, shape (N,).
    since
        Those handed back earlier are left out.

    Returns
    -------
    Followup
        Of those at risk at all by then.
    """
    keep = (daily.start < cut) & (daily.start >= since)
    episodes = followup.episodes[keep]
    start, end, known, seen = (
        values[keep] for values in (daily.start, daily.end, daily.known, cut)
    )
    over = end <= seen
    counted = over & (known != NEVER) & (known <= seen)
    how = episodes["end"].to_numpy(dtype=object)
    returned = how == ENDS[0]
    how = np.where(~over, "data_date", np.where(returned & ~counted, ENDS[1], how))
    days = np.where(over, episodes["days"], seen - start)
    cut_off = episodes.assign(
        days=days,
        end=pd.Categorical(how, categories=ENDS),
        cause=episodes["cause"].where(counted),
    ).reset_index(drop=True)
    return replace(followup, episodes=cut_off)


@dataclass(frozen=True, eq=False)
class Accrual:
    """How the comebacks to expect each day change, one entry each time a job's rate changes.

    Parameters
    ----------
    row
        Which hand-back, shape (M,).
    offset
        From which of the days on, shape (M,).
    change
        Of its rate, shape (M,).
    days
        How many days.
    """

    row: np.ndarray
    offset: np.ndarray
    change: np.ndarray
    days: int

    def by_chart(self, code: np.ndarray, charts: int) -> np.ndarray:
        """Add up by chart and day, shape (charts, days); code -1 belongs to none."""
        mine = code[self.row]
        width = self.days + 1
        used = mine >= 0
        summed = np.bincount(
            mine[used] * width + self.offset[used],
            weights=self.change[used],
            minlength=charts * width,
        )
        # Rates that cancel leave rounding behind; nothing can be expected below nothing.
        return np.maximum(np.cumsum(summed.reshape(charts, width)[:, :-1], axis=1), 0.0)


def accrue(
    daily: Daily, relative: np.ndarray, mix: CaseMix, reach: float, low: int, high: int
) -> Accrual:
    """Work out what is expected on each of the days after ``low`` up to ``high``.

    Parameters
    ----------
    daily
        The hand-backs.
    relative
        Relative hazard of each, shape (N,).
    mix
        The baseline.
    reach
        Past this day after hand-back the baseline has seen too little: nothing is expected.
    low, high
        Days.
    """
    edges, rates = _bands(mix, reach)
    row = np.flatnonzero((daily.start < high) & (daily.end > low) & (daily.start + reach > low))
    start, end, scale = daily.start[row], np.minimum(daily.end[row], high), relative[row]
    enter = np.maximum(start, low)
    leave = np.minimum(end, start + int(reach))
    past = np.append(rates, 0.0)

    def rate_after(day: np.ndarray) -> np.ndarray:
        return past[np.clip(np.searchsorted(edges, day - start, side="right") - 1, 0, len(rates))]

    rows, offsets, changes = [row], [enter - low], [scale * rate_after(enter)]
    for edge, step in zip(edges[1:-1], np.diff(rates), strict=True):
        when = start + int(edge)
        inside = (when > enter) & (when < leave)
        rows.append(row[inside])
        offsets.append(when[inside] - low)
        changes.append(scale[inside] * step)
    closed = leave < high
    last = past[np.clip(np.searchsorted(edges, leave - start, side="left") - 1, 0, len(rates))]
    rows.append(row[closed])
    offsets.append(leave[closed] - low)
    changes.append(-(scale * last)[closed])
    return Accrual(
        np.concatenate(rows), np.concatenate(offsets), np.concatenate(changes), high - low
    )


def _bands(mix: CaseMix, reach: float) -> tuple[np.ndarray, np.ndarray]:
    """Cut the baseline's hazard into whole days, in few bands, up to its reach."""
    inner = mix.edges[(mix.edges > 0) & (mix.edges < reach)]
    inner = inner[:: int(np.ceil(len(inner) / MOST_BANDS))] if len(inner) else inner
    edges = np.unique(np.concatenate([[0.0], np.ceil(inner), [float(int(reach))]]))
    return edges, np.diff(mix.cumulative(edges)) / np.diff(edges)
