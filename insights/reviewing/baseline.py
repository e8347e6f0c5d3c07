"""What is usual, as it was known on one day: the yardstick of the charts that follow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.followup import Followup
from insights.reviewing.daily import Daily, as_of
from insights.reviewing.expected import CaseMix, case_mix, returned
from insights.reviewing.alarm_limits import HORIZON_YEARS, Load
from insights.survival.shrinkage import shrunk_ratios

YEARS_BACK = 3
"""A baseline learns from the hand-backs of so many years: older ways of working are forgotten."""
YEAR_DAYS = 365
FEWEST_COMEBACKS = 20
FEWEST_OF_A_CAUSE = 5
FEWEST_FOLLOWED = 20
RATIOS = {"lot": 3.0, "habit": 3.0}
USUAL_RATIO = 2.0
HALF = 0.5


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
        What the charts will bear while nothing is wrong; None where there is no chart.
    """

    level: np.ndarray
    certainty: np.ndarray
    load: Load | None


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


def comebacks_known(daily: Daily, cut: np.ndarray, day: int) -> int:
    """Count the comebacks that a baseline of this day would rest on."""
    known = (daily.known >= 0) & (daily.known <= cut) & (daily.start < cut)
    return int((known & (daily.start >= day - YEARS_BACK * YEAR_DAYS)).sum())


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
    since = day - YEARS_BACK * YEAR_DAYS
    past = as_of(followup, daily, cut, since)
    mix = case_mix(past)
    used = np.flatnonzero((daily.start < cut) & (daily.start >= since))
    seen = returned(past).astype(float)
    hoped = mix.expected(past)
    longest = np.sort(past.episodes["days"].to_numpy())
    reach = float(np.floor(longest[-min(FEWEST_FOLLOWED, len(longest))]))
    whole = _whole_life(past, mix, reach)
    recent = daily.start[used] > day - YEAR_DAYS
    # A young shop's first months stand for a year.
    scale = YEAR_DAYS / min(YEAR_DAYS, max(day - int(daily.start.min()), 1))
    levels = []
    for number, family in enumerate(families):
        if family.kind == "cause":
            causes = past.episodes["cause"]
            found = _cause_levels(family, causes, whole[recent].sum() * scale)
        else:
            code = family.code[used]
            found = _levels(family, code, seen, hoped, whole, recent, scale)
        if before is not None and suspects[number].any():
            found = _keep(found, before.levels[number], suspects[number])
        levels.append(found)
    return Baseline(day, mix, reach, tuple(levels))


def _whole_life(past: Followup, mix: CaseMix, reach: float) -> np.ndarray:
    """Give the comebacks to expect of each hand-back by the time its follow-up ends."""
    term = past.history.jobs["term_days"].to_numpy()[past.episodes["job"]]
    days = np.full(len(term), reach)
    if past.follow == "covered":
        days = np.fmin(days, term + past.grace_days)
    return mix.relative(past) * mix.cumulative(np.minimum(days, reach))


def _levels(
    family: Family,
    code: np.ndarray,
    seen: np.ndarray,
    hoped: np.ndarray,
    whole: np.ndarray,
    recent: np.ndarray,
    scale: float,
) -> Levels:
    charts = len(family.names)
    mine = code >= 0

    def count(weights: np.ndarray) -> np.ndarray:
        return np.bincount(code[mine], weights=weights[mine], minlength=charts)

    back, expected, jobs = count(seen), count(hoped), count(np.ones(len(code)))
    ahead, of_year = count(whole), count(whole * recent)
    certain = np.full(charts, max(seen.sum(), HALF))
    level = np.ones(charts)
    there = jobs > 0
    if family.kind == "lot":
        # What is usual is what the other lots did.
        level = _by_the_others(back, expected, seen.sum(), hoped.sum())
        share = np.divide(count(recent.astype(float)), jobs, out=np.zeros(charts), where=there)
        load = Load.of(ahead[there], share[there] * scale, certain[there], family.ratio)
        return Levels(level, certain, load)
    if family.kind != "all" and there.sum() > 1:
        ratios = shrunk_ratios(back[there], expected[there])
        level[there] = ratios.mean * ratios.expected / expected[there]
        certain[there] = ratios.shape
        certain[~there] = max(ratios.spread, 0.05) ** -2.0
    length = (of_year * scale * level * HORIZON_YEARS)[there]
    return Levels(level, certain, Load.of(length, 1 / HORIZON_YEARS, certain[there], family.ratio))


def _by_the_others(
    back: np.ndarray, expected: np.ndarray, all_back: float, all_expected: float
) -> np.ndarray:
    rest = np.maximum(all_expected - expected, 1e-9)
    return (all_back - back + HALF) / (rest + HALF)


def _cause_levels(family: Family, causes: pd.Series, a_year: float) -> Levels:
    found = causes.dropna().astype(str)
    counts = found.value_counts()
    seen = np.array([counts.get(name, 0) for name in family.names], dtype=float)
    enough = seen >= FEWEST_OF_A_CAUSE
    level = np.where(enough, seen / max(len(found), 1), 0.0)
    length = (level * a_year * HORIZON_YEARS)[enough]
    load = Load.of(length, 1 / HORIZON_YEARS, seen[enough], family.ratio)
    return Levels(level, np.maximum(seen, HALF), load)


def _keep(found: Levels, old: Levels, suspect: np.ndarray) -> Levels:
    return Levels(
        np.where(suspect, old.level, found.level),
        np.where(suspect, old.certainty, found.certainty),
        found.load,
    )
