"""What is usual, as it was known on one day: the yardstick of the charts that follow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from insights.followup import Followup
from insights.reviewing.alarm_limits import HORIZON_YEARS, NOTHING, Load
from insights.reviewing.daily import Daily, as_of, only
from insights.reviewing.expected import CaseMix, case_mix, returned
from insights.survival.shrinkage import shrunk_ratios

YEARS_BACK = 3
"""A baseline learns from the hand-backs of so many years: older ways of working are forgotten."""
ENOUGH_COMEBACKS = 200
"""It goes further back until it has so many comebacks, and then stands for a year."""
YEAR_DAYS = 365
FEWEST_COMEBACKS = 20
FEWEST_OF_A_CAUSE = 5
FEWEST_FOLLOWED = 20
RATIOS = {"lot": 3.0, "habit": 3.0}
USUAL_RATIO = 2.0
HALF = 0.5
LEAST_SPREAD = 0.05


@dataclass(frozen=True, eq=False)
class Family:
    """Charts of one kind over the values of one column.

    Parameters
    ----------
    kind
        ``all``, ``lot``, ``technician``, ``model``, ``cause`` or ``practice``.
    column
        Empty for all jobs.
    names
        One for each chart.
    code
        Which chart each hand-back belongs to, -1 for none, shape (N,).
    """

    kind: str
    column: str
    names: tuple[str, ...]
    code: np.ndarray

    @property
    def ratio(self) -> float:
        """The change looked for: a bad lot is very bad, a habit or a bench a little worse."""
        return RATIOS.get(self.kind, USUAL_RATIO)

    def chart(self, number: int) -> str:
        """Name a chart, as actions refer to it."""
        return f"{self.column}={self.names[number]}" if self.column else self.names[number]


@dataclass(frozen=True, eq=False)
class Levels:
    """What each chart of a family is held against.

    Parameters
    ----------
    level
        Factor on what the mix of work lets one expect; 0: not charted, shape (C,).
    certainty
        How many comebacks it rests on, shape (C,).
    load
        What the charts will bear while nothing is wrong.
    """

    level: np.ndarray
    certainty: np.ndarray
    load: Load


@dataclass(frozen=True, eq=False)
class Baseline:
    """What was usual on one day.

    Parameters
    ----------
    day
        The last day whose record it uses.
    mix
        The comebacks to expect by what a job brings.
    reach
        Days after hand-back up to which it has seen enough.
    levels
        For each family.
    """

    day: int
    mix: CaseMix
    reach: float
    levels: tuple[Levels, ...]


def learnt_since(daily: Daily, day: int) -> tuple[int, int]:
    """Say from which hand-back on a baseline learns, and how many comebacks it then knows."""
    start = np.sort(daily.start[(daily.known >= 0) & (daily.known <= day)])
    usual = day - YEARS_BACK * YEAR_DAYS
    reach = int(start[-ENOUGH_COMEBACKS]) if len(start) >= ENOUGH_COMEBACKS else 0
    since = max(min(usual, reach), 0)
    return since, int((start >= since).sum())


def comebacks_known(daily: Daily, cut: np.ndarray, since: int) -> int:
    """Count the comebacks that a baseline can rest on, each hand-back used up to a day."""
    known = (daily.known >= 0) & (daily.known <= cut) & (daily.start < cut)
    return int((known & (daily.start >= since)).sum())


def baseline(
    followup: Followup,
    daily: Daily,
    families: Sequence[Family],
    day: int,
    cut: np.ndarray,
    before: Baseline | None,
    suspects: Sequence[np.ndarray],
) -> Baseline:
    """Learn what is usual from what was known on a day.

    Parameters
    ----------
    followup, daily, families
        The hand-backs and the charts over them.
    day
        Nothing later is used.
    cut
        Last day used of each hand-back, shape (N,): earlier than ``day`` where it is under
        suspicion, so that trouble does not become what is usual.
    before
        The baseline in force until then.
    suspects
        For each family, its charts under suspicion, shape (C,): they keep their old level.
    """
    since, _ = learnt_since(daily, day)
    past = as_of(followup, daily, cut, since)
    mix = case_mix(past)
    # The mean of what the rate may be is a little above what was seen (Jeffreys' prior).
    mix = replace(mix, rates=mix.rates * (1 + HALF / max(mix.returns, 1)))
    used = np.flatnonzero((daily.start < cut) & (daily.start >= since))
    seen = returned(past).astype(float)
    hoped = mix.expected(past)
    longest = np.sort(past.episodes["days"].to_numpy())
    reach = float(np.floor(longest[-min(FEWEST_FOLLOWED, len(longest))]))
    year = _last_year(followup, daily, mix, reach, day)
    levels = []
    for number, family in enumerate(families):
        if family.kind == "cause":
            found = _cause_levels(family, past.episodes["cause"], year)
        else:
            found = _levels(family, family.code[used], seen, hoped, year)
        if before is not None and suspects[number].any():
            found = _keep(found, before.levels[number], suspects[number])
        levels.append(found)
    return Baseline(day, mix, reach, tuple(levels))


@dataclass(frozen=True, eq=False)
class _Year:
    """The work of the last year, to tell the next.

    Parameters
    ----------
    rows
        The jobs of the years that count, as places, shape (M,).
    ahead
        Comebacks to expect of each in the end, shape (M,).
    recent
        Which of them are of the last year, shape (M,).
    scale
        From that year, or from the part of it there is, to a whole one.
    certainty
        How many comebacks the expectation for that work is worth.
    """

    rows: np.ndarray
    ahead: np.ndarray
    recent: np.ndarray
    scale: float
    certainty: float

    def count(self, code: np.ndarray, charts: int, weights: np.ndarray) -> np.ndarray:
        code = code[self.rows]
        mine = code >= 0
        return np.bincount(code[mine], weights=weights[mine], minlength=charts)


def _last_year(followup: Followup, daily: Daily, mix: CaseMix, reach: float, day: int) -> _Year:
    # What is to come hangs on the work done, which no suspicion makes less.
    start = daily.start
    rows = np.flatnonzero((start <= day) & (start > day - YEARS_BACK * YEAR_DAYS))
    recent = start[rows] > day - YEAR_DAYS
    # A young shop's first months stand for a year.
    scale = YEAR_DAYS / min(YEAR_DAYS, max(day - int(start.min()), 1))
    ahead = whole_life(only(followup, rows), mix, reach)
    return _Year(rows, ahead, recent, scale, certainty(only(followup, rows[recent]), mix, reach))


def certainty(followup: Followup, mix: CaseMix, reach: float) -> float:
    """Say how many comebacks the expectation for some jobs is worth.

    Parameters
    ----------
    followup
        Those jobs.
    mix
        The baseline.
    reach
        Days after hand-back that count.

    Returns
    -------
    float
        One over the squared relative standard error of their comebacks expected, by the
        delta method from the covariance of the baseline's logarithms. It is less than the
        comebacks seen where the jobs to come will be followed to ages few have reached yet.
    """
    days, relative = _followed(followup, reach), mix.relative(followup)
    reached = mix.cumulative(np.minimum(days[:, None], mix.edges[1:]))
    by_band = relative @ np.diff(reached, axis=1, prepend=0.0)
    ahead = relative * mix.cumulative(days)
    by_level = []
    for fact, levels in mix.levels.groupby("fact", sort=False):
        values = followup.values(str(fact)).cat
        total = np.bincount(values.codes, weights=ahead, minlength=len(values.categories))
        known = dict(zip(map(str, values.categories), total, strict=True))
        by_level += [known.get(str(level), 0.0) for level in levels["level"]]
    slope = np.append(by_band, by_level) / max(float(ahead.sum()), NOTHING)
    return float(1 / max(slope @ mix.covariance @ slope, NOTHING))


def _followed(followup: Followup, reach: float) -> np.ndarray:
    """Give the days that each hand-back will be followed in the end."""
    if followup.follow != "covered":
        return np.full(followup.job_count, reach)
    term = followup.history.jobs["term_days"].to_numpy()[followup.episodes["job"]]
    return np.minimum(np.fmin(np.full(len(term), reach), term + followup.grace_days), reach)


def whole_life(past: Followup, mix: CaseMix, reach: float) -> np.ndarray:
    """Give the comebacks to expect of each hand-back by the time its follow-up ends."""
    return mix.relative(past) * mix.cumulative(_followed(past, reach))


def _levels(
    family: Family, code: np.ndarray, seen: np.ndarray, hoped: np.ndarray, year: _Year
) -> Levels:
    charts = len(family.names)
    mine = code >= 0
    back = np.bincount(code[mine], weights=seen[mine], minlength=charts)
    expected = np.bincount(code[mine], weights=hoped[mine], minlength=charts)
    learnt = np.bincount(code[mine], minlength=charts) > 0
    certain = np.full(charts, year.certainty)
    level = np.ones(charts)
    if family.kind == "lot":
        # What is usual is what the other lots did.
        level = _by_the_others(back, expected, seen.sum(), hoped.sum())
        jobs = year.count(family.code, charts, np.ones(len(year.rows)))
        a_year = year.count(family.code, charts, year.recent * year.scale) / np.maximum(jobs, 1)
        length = level * year.count(family.code, charts, year.ahead)
        return Levels(level, certain, Load.of(length, a_year, certain, family.ratio))
    if family.kind != "all" and learnt.sum() > 1:
        ratios = shrunk_ratios(back[learnt], expected[learnt])
        level[learnt] = ratios.mean * ratios.expected / expected[learnt]
        # A chart's own level is as sure as its own comebacks, on top of the mix's own doubt.
        more = max(1 / year.certainty - 1 / max(seen.sum(), HALF), 0.0)
        certain[learnt] = 1 / (ratios.variance / ratios.mean**2 + more)
        certain[~learnt] = 1 / (max(ratios.spread, LEAST_SPREAD) ** 2 + 1 / year.certainty)
    of_year = year.count(family.code, charts, year.ahead * year.recent) * year.scale
    load = Load.of(of_year * level * HORIZON_YEARS, 1 / HORIZON_YEARS, certain, family.ratio)
    return Levels(level, certain, load)


def _by_the_others(
    back: np.ndarray, expected: np.ndarray, all_back: float, all_expected: float
) -> np.ndarray:
    rest = np.maximum(all_expected - expected, 1e-9)
    return (all_back - back + HALF) / (rest + HALF)


def _cause_levels(family: Family, causes: pd.Series, year: _Year) -> Levels:
    found = causes.dropna().astype(str)
    counts = found.value_counts()
    seen = np.array([counts.get(name, 0) for name in family.names], dtype=float)
    enough = seen >= FEWEST_OF_A_CAUSE
    level = np.where(enough, seen / max(len(found), 1), 0.0)
    a_year = float((year.ahead * year.recent).sum()) * year.scale
    more = max(1 / year.certainty - 1 / max(len(found), HALF), 0.0)
    certain = 1 / (1 / np.maximum(seen, HALF) + more)
    load = Load.of(level * a_year * HORIZON_YEARS, 1 / HORIZON_YEARS, certain, family.ratio)
    return Levels(level, certain, load.only(enough))


def _keep(found: Levels, old: Levels, suspect: np.ndarray) -> Levels:
    return Levels(
        np.where(suspect, old.level, found.level),
        np.where(suspect, old.certainty, found.certainty),
        found.load,
    )
