"""Habits of the bench: is what is nearly always done being left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from insights.followup import Followup
from insights.reviewing.alarm_limits import HORIZON_YEARS, Load, scores
from insights.reviewing.baseline import YEAR_DAYS, YEARS_BACK, Family
from insights.reviewing.charts import Stretch
from insights.reviewing.daily import Daily
from insights.reviewing.facets import groups

HABIT = "habit"
EVERYONE = "everyone"
HABIT_SHARE = 0.5
"""What someone does on so many of the jobs on which it was recorded is a habit of theirs."""
FEWEST_JOBS = 30
USUAL_JOBS = 20.0
"""How many jobs the wider share weighs where a model or a bench has few of its own."""
LEAST_LEFT, MOST_LEFT = 0.002, 0.5
NO_HABIT = -1


@dataclass(frozen=True, eq=False)
class Habit:
    """One practice, by whom.

    Parameters
    ----------
    family
        Its charts: everyone, then each technician.
    column
        The practice.
    levels
        Code of the way of working on each job, -1 not recorded, shape (N,).
    names
        Of the ways of working, by code.
    kinds
        For everyone's chart and for the technicians', the group of each job within which it is
        usually done as often: its model; its technician and model. Shape (N,), -1 none.
    charts
        For both, the chart of each job, shape (N,), -1 none.
    """

    family: Family
    column: str
    levels: np.ndarray
    names: tuple[str, ...]
    kinds: tuple[np.ndarray, np.ndarray]
    charts: tuple[np.ndarray, np.ndarray]

    def by_chart(self, weights: Sequence[np.ndarray], rows: np.ndarray) -> np.ndarray:
        """Add up over jobs by chart; weights for everyone's chart and for the technicians'."""
        total = np.zeros(len(self.family.names))
        for chart, weight in zip(self.charts, weights, strict=True):
            mine = rows & (chart >= 0)
            total += np.bincount(chart[mine], weights=weight[mine], minlength=len(total))
        return total


@dataclass(frozen=True, eq=False)
class Usual:
    """How often a habit was left, as known on one day.

    Parameters
    ----------
    level
        Code of the way of working that is the habit; -1: none is.
    left
        Usual chance of leaving it, for everyone's chart and for the technicians', each (N,).
    charted
        Which charts have enough jobs and are a habit, shape (C,).
    load
        What its charts will bear; None where it is no habit.
    """

    level: int
    left: tuple[np.ndarray, np.ndarray]
    charted: np.ndarray
    load: Load | None


def habits(followup: Followup) -> tuple[Habit, ...]:
    """List the practices recorded, each with its charts: everyone's and each technician's."""
    who = groups(followup, "technician").cat.remove_unused_categories().cat
    bench = who.codes.to_numpy().astype(np.int64)
    models = groups(followup, "model").cat
    model = models.codes.to_numpy().astype(np.int64)
    pair = np.where(bench >= 0, bench * len(models.categories) + model, -1)
    charts = (np.zeros(len(bench), dtype=np.int64), np.where(bench >= 0, bench + 1, -1))
    names = (EVERYONE, *(f"by {person}" for person in who.categories))
    found = []
    for name in followup.history.practices:
        values = groups(followup, f"practice_{name}").cat
        found.append(
            Habit(
                family=Family(HABIT, f"habit {name}", names, charts[1]),
                column=f"practice_{name}",
                levels=values.codes.to_numpy().astype(np.int64),
                names=tuple(map(str, values.categories)),
                kinds=(model, pair),
                charts=charts,
            )
        )
    return tuple(found)


def usual(habit: Habit, daily: Daily, day: int, out: np.ndarray) -> Usual:
    """Learn how often a habit was left from the jobs handed back up to a day.

    Parameters
    ----------
    habit, daily
        The habit and the days.
    day
        Nothing later is used.
    out
        Jobs under suspicion, left aside, shape (N,).
    """
    known = (daily.start <= day) & (daily.start > day - YEARS_BACK * YEAR_DAYS)
    known &= ~out & (habit.levels >= 0)
    counts = np.bincount(habit.levels[known], minlength=max(len(habit.names), 1))
    total, level = counts.sum(), int(counts.argmax())
    if total < FEWEST_JOBS:
        nothing = np.zeros(len(out))
        charted = np.zeros(len(habit.family.names), dtype=bool)
        return Usual(NO_HABIT, (nothing, nothing), charted, None)
    left = (habit.levels != level).astype(float)
    shop = np.full(len(left), (left[known].sum() + 0.5) / (total + 1))
    by_model = _shares(habit.kinds[0], left, known, shop)
    by_bench = _shares(habit.kinds[1], left, known, by_model)
    chances = (np.clip(by_model, LEAST_LEFT, MOST_LEFT), np.clip(by_bench, LEAST_LEFT, MOST_LEFT))
    each = (np.ones(len(left)), np.ones(len(left)))
    recent = known & (daily.start > day - YEAR_DAYS)
    scale = YEAR_DAYS / min(YEAR_DAYS, max(day - int(daily.start.min()), 1))
    a_year = habit.by_chart(each, recent) * scale
    jobs, lost = habit.by_chart(each, known), habit.by_chart((left, left), known)
    charted = (jobs >= FEWEST_JOBS) & (lost <= (1 - HABIT_SHARE) * jobs)
    busy = charted & (a_year > 0)
    hoped = habit.by_chart(chances, recent)[busy] * scale
    load = Load.of(
        hoped * HORIZON_YEARS,
        1 / HORIZON_YEARS,
        habit.by_chart(chances, known)[busy],
        habit.family.ratio,
        hoped / a_year[busy],
    )
    return Usual(level, chances, charted, load)


def stretch(habit: Habit, daily: Daily, now: Usual, low: int, high: int) -> Stretch:
    """Lay out the jobs handed back after one day up to another, by chart and day."""
    size, days = len(habit.family.names), high - low
    expected, observed, step = (np.zeros(size * days) for _ in range(3))
    rows = np.flatnonzero((daily.start > low) & (daily.start <= high) & (habit.levels >= 0))
    left = habit.levels[rows] != now.level
    offset = daily.start[rows] - low - 1
    for chance, chart in zip(now.left, habit.charts, strict=True):
        if now.level == NO_HABIT:
            break
        mine = (chart[rows] >= 0) & now.charted[chart[rows]]
        place = chart[rows][mine] * days + offset[mine]
        p, undone = chance[rows][mine], left[mine]
        jump, fall = scores(habit.family.ratio, p)
        expected += np.bincount(place, p, minlength=size * days)
        observed += np.bincount(place, undone, minlength=size * days)
        step += np.bincount(place, undone * jump - p * fall, minlength=size * days)
    shape = (size, days)
    return Stretch(low, expected.reshape(shape), observed.reshape(shape), step.reshape(shape))


def suspected(habit: Habit, daily: Daily, charts: Sequence[tuple[int, int]]) -> np.ndarray:
    """Mark the jobs of charts under suspicion, each after a day: pairs of chart and day."""
    out = np.zeros(len(daily.start), dtype=bool)
    for number, since in charts:
        for chart in habit.charts:
            out |= (chart == number) & (daily.start > since)
    return out


def _shares(code: np.ndarray, left: np.ndarray, known: np.ndarray, wider: np.ndarray) -> np.ndarray:
    """Give the share left in each job's group, leaning on a wider share where jobs are few."""
    mine = known & (code >= 0)
    size = int(code.max(initial=0)) + 1
    jobs = np.bincount(code[mine], minlength=size)[code]
    lost = np.bincount(code[mine], weights=left[mine], minlength=size)[code]
    return np.where(code >= 0, (lost + USUAL_JOBS * wider) / (jobs + USUAL_JOBS), wider)
