"""Where every chart stands, and which are too small to tell anything."""

from __future__ import annotations

import numpy as np
import pandas as pd

from insights.followup import Followup
from insights.reviewing.alarm_limits import HIGHEST, HORIZON_YEARS, chance_to_sound
from insights.reviewing.baseline import FEWEST_OF_A_CAUSE, YEAR_DAYS, Baseline, whole_life
from insights.reviewing.charts import QUIET, Track
from insights.reviewing.daily import Daily
from insights.reviewing.families import CAUSE
from insights.reviewing.signals import (
    CALM,
    CHART_COLUMNS,
    FINISHED,
    NOT_CHARTED,
    SIGNAL,
    SMALL,
)
from insights.reviewing.slipping import HABIT, HABIT_SHARE

TREBLED = 3.0
WORTH = 0.2
"""A chart that would notice a trebled rate less often than this is called too small."""


def chart_table(
    followup: Followup, daily: Daily, tracks: tuple[Track, ...], last: Baseline | None
) -> pd.DataFrame:
    """List every chart as it stands on the data date.

    Parameters
    ----------
    followup, daily
        The hand-backs.
    tracks
        The charts.
    last
        The last baseline; None: nothing is watched yet.

    Returns
    -------
    pandas.DataFrame
        Columns :data:`insights.reviewing.signals.CHART_COLUMNS`.
    """
    if last is None:
        return pd.DataFrame(columns=list(CHART_COLUMNS))
    whole = whole_life(followup, last.mix, last.reach)
    recent = daily.start > daily.last - YEAR_DAYS
    parts = []
    for number, track in enumerate(tracks):
        level = last.levels[number].level if number < len(last.levels) else None
        parts.append(_family(track, daily, whole, recent, level))
    return pd.concat(parts, ignore_index=True)


def _family(
    track: Track,
    daily: Daily,
    whole: np.ndarray,
    recent: np.ndarray,
    level: np.ndarray | None,
) -> pd.DataFrame:
    family, size = track.family, len(track.family.names)
    limit = track.limits[-1][1]
    first = np.full(size, track.low)
    for number, days in track.resets.items():
        first[number] = max(track.low, days[-1])
    counts = [track.since(number, first[number], daily.last) for number in range(size)]
    seen = np.array([count for count, _ in counts])
    expected = np.array([hoped for _, hoped in counts])
    if family.kind == HABIT:
        jobs, chance = _habit_jobs(track, size), np.full(size, np.nan)
        charted = track.expected.any(axis=1)
    else:
        mine = family.code >= 0
        jobs = np.bincount(family.code[mine], minlength=size)
        ahead = _ahead(track, whole, recent, size, level)
        chance = chance_to_sound(ahead, family.ratio, limit, TREBLED)
        charted = level > 0 if level is not None else np.ones(size, dtype=bool)
    followed = np.ones(size, dtype=bool)
    if family.kind == "lot":
        out = (daily.end >= daily.last) & (family.code >= 0)
        followed = np.bincount(family.code[out], minlength=size) > 0
    waiting = [n for n, at in track.sounding.items() if track.acted_on(track.alarms[at]) == QUIET]
    sounding = np.isin(np.arange(size), waiting)
    state = np.select(
        [~followed, sounding, ~charted | (limit >= HIGHEST), chance < WORTH],
        [FINISHED, SIGNAL, NOT_CHARTED, SMALL],
        CALM,
    )
    return pd.DataFrame(
        {
            "chart": [family.chart(number) for number in range(size)],
            "kind": family.kind,
            "column": family.column,
            "value": family.names,
            "jobs": jobs,
            "seen": seen,
            "expected": expected,
            "level": track.standing,
            "limit": limit,
            "chance_to_see": np.where(charted, chance, np.nan),
            "state": state,
            "why": [_why(family.kind, one, odds) for one, odds in zip(state, chance, strict=True)],
        }
    )


def _ahead(
    track: Track, whole: np.ndarray, recent: np.ndarray, size: int, level: np.ndarray | None
) -> np.ndarray:
    """Give the comebacks to expect of each chart: of a lot in all, else in the years ahead."""
    family = track.family
    usual = np.ones(size) if level is None else level
    if family.kind == CAUSE:
        return usual * float(whole[recent].sum()) * HORIZON_YEARS
    counted = whole if family.kind == "lot" else whole * recent * HORIZON_YEARS
    mine = family.code >= 0
    return usual * np.bincount(family.code[mine], weights=counted[mine], minlength=size)


def _habit_jobs(track: Track, size: int) -> np.ndarray:
    mine = track.family.code >= 0
    by_bench = np.bincount(track.family.code[mine], minlength=size)
    by_bench[0] = len(track.family.code)
    return by_bench


def _why(kind: str, state: str, chance: float) -> str:
    if state == SMALL:
        return f"if its comebacks trebled, it would sound in {chance:.0%} of such cases only"
    if state == FINISHED:
        return "none of its jobs is followed any more"
    if state != NOT_CHARTED:
        return ""
    if kind == CAUSE:
        return f"fewer than {FEWEST_OF_A_CAUSE} comebacks of it were known at the last baseline"
    if kind == HABIT:
        return f"too few jobs, or not done on {HABIT_SHARE:.0%} of them"
    return "nothing is expected of it yet"
