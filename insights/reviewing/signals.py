"""What the watch found: signals, every chart's state, and the path of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.notes import Note
from insights.reviewing.charts import QUIET, Alarm, Track
from insights.reviewing.daily import Daily

SIGNAL_COLUMNS = (
    "chart",
    "kind",
    "column",
    "value",
    "signalled_on",
    "began_on",
    "seen",
    "expected",
    "ratio",
    "limit",
    "state",
    "acted_on",
    "action",
    "seen_by_now",
    "expected_by_now",
)
CHART_COLUMNS = (
    "chart",
    "kind",
    "column",
    "value",
    "jobs",
    "seen",
    "expected",
    "level",
    "limit",
    "chance_to_see",
    "state",
    "why",
)
ACTION_COLUMNS = ("chart", "date", "done")
CHANCE = "chance"
"""Of an action: the signal was looked into and found to be chance."""
OPEN, ACTED, PASSED, OVER = "open", "acted", "passed", "over"
SIGNAL, CALM, SMALL, NOT_CHARTED = "signal", "quiet", "too small", "not charted"
FINISHED = "finished"
DANGEROUS = "dangerous"


@dataclass(frozen=True, eq=False)
class Signals:
    """Charts that sounded, and those that did not.

    Parameters
    ----------
    table
        One row a signal, the latest first: ``chart`` (its name, as actions use it), ``kind``,
        ``column`` and ``value``; ``signalled_on``; ``began_on`` (estimated start of the change;
        of a lot, its first hand-back, where more came back since than expected); ``seen`` and
        ``expected`` from then to the signal (comebacks; for a habit, jobs on which it was left),
        their ``ratio``; ``limit``;
        ``state`` (open; acted; passed: back at zero by itself; over: a lot of which no job is
        followed any more), ``acted_on``, ``action``; ``seen_by_now`` and
        ``expected_by_now`` (to the data date, or to the action).
    charts
        One row a chart: ``jobs``; ``seen`` and ``expected`` since the watch began or since an
        action; ``level`` against ``limit``; ``chance_to_see`` (that it would sound within two
        years, or a lot's life, if the rate trebled); ``state`` and ``why``.
    not_charted
        Columns without charts: ``chart``, ``kind``, ``why``.
    baselines
        One row a baseline: ``known_on``, ``until``, ``comebacks`` it rests on, ``reach_days``,
        and for each kind of chart its limit and its false alarms a year.
    false_alarms_a_year
        Over all charts together, as asked; cases of dangerous causes are not counted among them.
    watched_from
        First day watched; missing where there is no baseline yet.
    data_date
        The day up to which the record is complete.
    jobs, units, returns
        How many are behind it.
    method, notes
        How, and what a reader should know.
    tracks, first_day
        What the paths are read from.
    """

    table: pd.DataFrame
    charts: pd.DataFrame
    not_charted: pd.DataFrame
    baselines: pd.DataFrame
    false_alarms_a_year: float
    watched_from: pd.Timestamp | None
    data_date: pd.Timestamp
    jobs: int
    units: int
    returns: int
    method: str
    notes: tuple[Note, ...]
    tracks: tuple[Track, ...]
    first_day: pd.Timestamp

    @property
    def open(self) -> pd.DataFrame:
        """The signals on which nothing has been done yet."""
        return self.table[self.table["state"] == OPEN]

    def with_charts(self, charts: pd.DataFrame) -> Signals:
        """Give the same with some of the charts listed only."""
        return replace(self, charts=charts)

    def path(self, chart: str) -> pd.DataFrame:
        """Give the path of one chart.

        Parameters
        ----------
        chart
            Its name.

        Returns
        -------
        pandas.DataFrame
            One row a day watched: ``day``, ``seen`` and ``expected`` so far, ``level``, ``limit``.

        Raises
        ------
        RequestError
            There is no such chart.
        """
        for track in self.tracks:
            names = [track.family.chart(number) for number in range(len(track.family.names))]
            if chart in names and track.level.shape[1]:
                return _path(track, names.index(chart), self.first_day)
        raise RequestError(f"There is no chart '{chart}'. The list of charts has their names.")


def _path(track: Track, number: int, first_day: pd.Timestamp) -> pd.DataFrame:
    days = track.level.shape[1]
    limit = np.empty(days)
    for low, value in track.limits:
        limit[low - track.low :] = value
    return pd.DataFrame(
        {
            "day": first_day + pd.to_timedelta(track.low + 1 + np.arange(days), unit="D"),
            "seen": np.cumsum(track.observed[number], dtype=float),
            "expected": np.cumsum(track.expected[number], dtype=float),
            "level": track.level[number].astype(float),
            "limit": limit,
        }
    )


def signal_rows(track: Track, daily: Daily, actions: pd.DataFrame) -> list[dict]:
    """Put the alarms of a family into words and numbers."""
    rows = []
    for alarm in track.alarms:
        began = _began(track, daily, alarm)
        seen, expected = track.since(alarm.number, began, alarm.day)
        by_now = track.since(alarm.number, began, min(track.over_on(alarm), daily.last))
        chart = track.family.chart(alarm.number)
        rows.append(
            {
                "chart": chart,
                "kind": track.family.kind,
                "column": track.family.column,
                "value": track.family.names[alarm.number],
                "signalled_on": daily.date(alarm.day),
                "began_on": daily.date(began + 1),
                "seen": seen,
                "expected": expected,
                "ratio": seen / expected if expected > 0 else np.nan,
                "limit": alarm.limit,
                **_state(track, daily, alarm, actions),
                "seen_by_now": by_now[0],
                "expected_by_now": by_now[1],
            }
        )
    return rows


def _state(track: Track, daily: Daily, alarm: Alarm, actions: pd.DataFrame) -> dict:
    acted = track.acted_on(alarm)
    if alarm.passed < acted:
        return {"state": PASSED, "acted_on": pd.NaT, "action": ""}
    if acted == QUIET and track.family.kind == "lot" and not still_followed(track, daily, alarm):
        return {"state": OVER, "acted_on": pd.NaT, "action": ""}
    return state_of(
        track.family.chart(alarm.number), None if acted == QUIET else daily.date(acted), actions
    )


def still_followed(track: Track, daily: Daily, alarm: Alarm) -> bool:
    """Say whether any job of a chart is still followed on the data date."""
    return bool((daily.end[track.family.code == alarm.number] >= daily.last).any())


def state_of(chart: str, acted: pd.Timestamp | None, actions: pd.DataFrame) -> dict:
    """Say whether a signal is open, or what was done when."""
    if acted is None:
        return {"state": OPEN, "acted_on": pd.NaT, "action": ""}
    done = actions[(actions["chart"] == chart) & (actions["date"] == acted)]["done"]
    return {"state": ACTED, "acted_on": acted, "action": "; ".join(done)}


def _began(track: Track, daily: Daily, alarm: Alarm) -> int:
    """Give the day before the change: of a lot, before its first hand-back or the watch.

    Where a lot has had fewer comebacks than expected since then, as with a name used again for
    years, it is the day before the change as of any chart.
    """
    if track.family.kind != "lot":
        return alarm.began
    acted = [day for day in track.resets.get(alarm.number, ()) if day < alarm.day]
    first = int(daily.start[track.family.code == alarm.number].min())
    whole = max(first - 1, track.low, *acted)
    seen, expected = track.since(alarm.number, whole, alarm.day)
    return whole if seen > expected else alarm.began


def in_order(rows: Sequence[dict]) -> pd.DataFrame:
    """Lay signals out, the latest first."""
    table = pd.DataFrame(list(rows), columns=list(SIGNAL_COLUMNS))
    for name in ("signalled_on", "began_on", "acted_on"):
        table[name] = pd.to_datetime(table[name])
    whole, real = ("seen", "seen_by_now"), ("expected", "ratio", "limit", "expected_by_now")
    table = table.astype({**dict.fromkeys(whole, int), **dict.fromkeys(real, float)})
    return table.sort_values(
        ["signalled_on", "chart"], ascending=[False, True], kind="stable"
    ).reset_index(drop=True)
