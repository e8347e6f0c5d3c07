"""Notice trouble early: comebacks against what is usual, chart by chart, day by day."""

from __future__ import annotations

from collections.abc import MutableMapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.followup import Followup
from insights.notes import Note, counted
from insights.reviewing.actions import (
    cleared_of,
    dangerous_cases,
    resets_of,
    tidy_actions,
)
from insights.reviewing.alarm_limits import HIGHEST, Load, Progress, limit, scores
from insights.reviewing.baseline import (
    ENOUGH_COMEBACKS,
    FEWEST_COMEBACKS,
    YEARS_BACK,
    Baseline,
    Family,
    baseline,
    comebacks_known,
    learnt_since,
)
from insights.reviewing.charts import Stretch, Track
from insights.reviewing.daily import Daily, accrue, lay_out, only
from insights.reviewing.families import CAUSE, NOT_CHARTED_COLUMNS, families
from insights.reviewing.signals import Signals, in_order, signal_rows
from insights.reviewing.slipping import HABIT, Habit, Usual, habits, stretch, suspected, usual
from insights.reviewing.standings import chart_table

FALSE_ALARMS_A_YEAR = 1.0
"""Over all charts together. A look at a false alarm costs an hour; halving their number costs one
or two more comebacks of a bad lot before it is noticed."""
METHOD = (
    "Cumulative sums of log likelihood ratios (Page 1954) on the clock of returns: each comeback "
    "counted adds log(r), each to be expected takes r - 1, r = 3 for lots and 2 else; habits by "
    "the odds of leaving them, r = 3. Expected: the hazard by age and by what a job brings, at "
    "each chart's own usual level (gamma-Poisson), a lot at that of the others. The baseline is "
    f"frozen on the last day of a year (of a quarter, from {FEWEST_COMEBACKS} comebacks on and "
    f"until it has {ENOUGH_COMEBACKS}) on what was known then of the last {YEARS_BACK} years, or "
    "of as many as hold so many comebacks, without what had been signalled. Limits by seeded "
    "simulation with the baseline's uncertainty redrawn (Gandy and Kvaloy 2013); each kind of "
    "chart has an equal share of the false alarms."
)
_MOST_NAMED = 20


def watch(
    followup: Followup,
    *,
    false_alarms_a_year: float = FALSE_ALARMS_A_YEAR,
    dangerous: Sequence[str] = (),
    actions: pd.DataFrame | None = None,
    seed: int = 1,
    kept: MutableMapping[str, float] | None = None,
    progress: Progress | None = None,
) -> Signals:
    """Follow every lot, technician, model, root cause, practice level and habit from day to day.

    Parameters
    ----------
    followup
        The hand-backs, as many years as there are.
    false_alarms_a_year
        How many signals a year without any change are put up with, over all charts together.
    dangerous
        Root causes of which a single later visit of a unit is a signal, whatever is expected.
    actions
        What was done about earlier signals: ``chart``, ``date``, ``done``. A chart starts
        again from zero at the end of that day; until then, or until it is back at zero by
        itself, a signal stays open and its chart raises no other. What led to a signal acted on
        stays out of later baselines, unless the action says that it was ``chance`` (yes or no;
        may be left out).
    seed
        Of the simulation of limits.
    kept
        Limits by content, kept from earlier runs; new ones are added.
    progress
        Told how far the limits are, from 0 to 1.

    Returns
    -------
    Signals

    Raises
    ------
    RequestError
        A number of false alarms that is not above zero, or actions that can't be read.

    Notes
    -----
    A comeback enters its charts on the day its visit was finished, when its cause and relation are
    known, and nothing that came to be known later is used for any day: watched week by week, the
    same signals come. Until its first baseline a shop is not watched, and a note says so.
    """
    if not false_alarms_a_year > 0:
        raise RequestError(
            f"False alarms a year: {false_alarms_a_year}. Give a number above zero, such as 1."
        )
    daily = lay_out(followup)
    done = tidy_actions(actions)
    charts, aside = families(followup, daily.cause)
    customs = habits(followup)
    every = (*charts, *(habit.family for habit in customs))
    tracks = tuple(
        Track(family, resets_of(family, done, daily), cleared_of(family, done, daily))
        for family in every
    )
    run = _Run(
        followup,
        daily,
        charts,
        customs,
        tracks,
        false_alarms_a_year,
        seed,
        kept,
        _Told(progress, _cuts(daily)),
    )
    periods, last = run.through(_cuts(daily))
    rows = [row for track in tracks for row in signal_rows(track, daily, done)]
    rows += dangerous_cases(followup, dangerous, done)
    notes = (*followup.notes, *_notes(followup, daily, periods, done, tracks, dangerous))
    return Signals(
        table=in_order(rows),
        charts=chart_table(followup, daily, tracks, last),
        not_charted=pd.DataFrame(aside, columns=list(NOT_CHARTED_COLUMNS)),
        baselines=pd.DataFrame(periods),
        false_alarms_a_year=false_alarms_a_year,
        watched_from=periods[0]["from"] if periods else None,
        data_date=followup.data_date,
        jobs=followup.job_count,
        units=followup.unit_count,
        returns=followup.return_count,
        method=METHOD,
        notes=notes,
        tracks=tracks,
        first_day=daily.first_day,
    )


@dataclass(eq=False)
class _Told:
    """Progress over several periods as one number."""

    progress: Progress | None
    cuts: list[int]
    period: int = 0

    def part(self, number: int, of: int) -> Progress | None:
        if self.progress is None:
            return None
        tell, done = self.progress, (self.period + number / of) / len(self.cuts)
        return lambda share: tell(done + share / of / len(self.cuts))


@dataclass(eq=False)
class _Run:
    """The watch from period to period."""

    followup: Followup
    daily: Daily
    charts: tuple[Family, ...]
    customs: tuple[Habit, ...]
    tracks: tuple[Track, ...]
    false_alarms_a_year: float
    seed: int
    kept: MutableMapping[str, float] | None
    told: _Told

    def through(self, cuts: list[int]) -> tuple[list[dict], Baseline | None]:
        """Go through the periods; what was in force in each, and the last baseline."""
        periods: list[dict] = []
        before: Baseline | None = None
        for number, day in enumerate(cuts):
            cut, suspects = self._suspicion(day)
            enough = comebacks_known(self.daily, cut, learnt_since(self.daily, day)[0])
            if before is None or enough >= FEWEST_COMEBACKS:
                before = baseline(
                    self.followup, self.daily, self.charts, day, cut, before, suspects
                )
            ways = [
                usual(habit, self.daily, day, self._left_aside(habit, day))
                for habit in self.customs
            ]
            self.told.period = number
            limits = self._limits(before, ways)
            stop = cuts[number + 1] if number + 1 < len(cuts) else self.daily.last
            self._carry_on(before, ways, limits, day, stop)
            periods.append(_period(self.daily, before, day, stop, limits, self.false_alarms_a_year))
        return periods, before

    def _limits(self, now: Baseline, ways: list[Usual]) -> dict[str, float]:
        """Find the limit of each kind of chart, with an equal share of the false alarms."""
        loads: dict[str, list[Load]] = {}
        for family, levels in zip(self.charts, now.levels, strict=True):
            if levels.load.length.any():
                loads.setdefault(family.kind, []).append(levels.load)
        for way in ways:
            if way.load is not None and len(way.load.length):
                loads.setdefault(HABIT, []).append(way.load)
        return {
            kind: limit(
                Load.together(of_kind),
                self.false_alarms_a_year / len(loads),
                seed=self.seed,
                kept=self.kept,
                progress=self.told.part(number, len(loads)),
            )
            for number, (kind, of_kind) in enumerate(loads.items())
        }

    def _carry_on(
        self, now: Baseline, ways: list[Usual], limits: dict[str, float], low: int, high: int
    ) -> None:
        out = np.flatnonzero((self.daily.start < high) & (self.daily.end >= low))
        relative = np.zeros(len(self.daily.start))
        relative[out] = now.mix.relative(only(self.followup, out))
        accrual = accrue(self.daily, relative, now.mix, now.reach, low, high)
        came = (self.daily.known > low) & (self.daily.known <= high)
        came &= self.daily.end - self.daily.start <= now.reach
        rows = np.flatnonzero(came)
        nobody = np.zeros(len(self.daily.start), dtype=np.int64)
        together = accrual.by_chart(nobody, 1)
        offset = self.daily.known[rows] - low - 1
        for track, levels in zip(self.tracks, now.levels, strict=False):
            family, size = track.family, len(track.family.names)
            code = family.code[rows]
            seen = np.bincount(
                (code * (high - low) + offset)[code >= 0], minlength=size * (high - low)
            ).reshape(size, high - low)
            by_chart = together if family.kind == CAUSE else accrual.by_chart(family.code, size)
            hoped = by_chart * levels.level[:, None]
            jump, drift = scores(family.ratio)
            step = np.where(levels.level[:, None] > 0, jump * seen - drift * hoped, 0.0)
            track.add(Stretch(low, hoped, seen, step), limits.get(family.kind, HIGHEST))
        for track, habit, way in zip(
            self.tracks[len(self.charts) :], self.customs, ways, strict=True
        ):
            track.add(stretch(habit, self.daily, way, low, high), limits.get(HABIT, HIGHEST))

    def _suspicion(self, day: int) -> tuple[np.ndarray, list[np.ndarray]]:
        """Say up to which day each hand-back can be learnt from, and which charts are suspect."""
        cut = np.full(len(self.daily.start), day)
        suspects = []
        for track in self.tracks[: len(self.charts)]:
            suspect = np.zeros(len(track.family.names), dtype=bool)
            for alarm in track.suspected(day):
                over = track.over_on(alarm)
                suspect[alarm.number] |= over > day
                mine = track.family.code == alarm.number
                if track.family.kind == "lot":
                    cut[mine] = 0
                elif track.family.kind != CAUSE:
                    mine &= self.daily.start < over
                    cut[mine] = np.minimum(cut[mine], alarm.began)
            suspects.append(suspect)
        return cut, suspects

    def _left_aside(self, habit: Habit, day: int) -> np.ndarray:
        track = self.tracks[len(self.charts) + self.customs.index(habit)]
        out = np.zeros(len(self.daily.start), dtype=bool)
        for alarm in track.suspected(day):
            one = suspected(habit, self.daily, [(alarm.number, alarm.began)])
            out |= one & (self.daily.start < track.over_on(alarm))
        return out


def _cuts(daily: Daily) -> list[int]:
    """List the days on which a baseline is frozen: ends of quarters, later of years only."""
    chosen: list[int] = []
    for date in pd.date_range(daily.first_day, daily.date(daily.last), freq="QE-DEC"):
        day = daily.day(date)
        _, known = learnt_since(daily, day)
        settled = known >= ENOUGH_COMEBACKS and date.month != 12 and bool(chosen)
        if day < daily.last and known >= FEWEST_COMEBACKS and not settled:
            chosen.append(day)
    return chosen


def _period(
    daily: Daily,
    now: Baseline,
    low: int,
    high: int,
    limits: dict[str, float],
    false_alarms_a_year: float,
) -> dict:
    return {
        "known_on": daily.date(now.day),
        "from": daily.date(low + 1),
        "until": daily.date(high),
        "comebacks": now.mix.returns,
        "reach_days": now.reach,
        "false_alarms_a_year_each_kind": false_alarms_a_year / max(len(limits), 1),
        **{f"limit_{kind}": value for kind, value in limits.items()},
    }


def _notes(
    followup: Followup,
    daily: Daily,
    periods: list[dict],
    done: pd.DataFrame,
    tracks: tuple[Track, ...],
    dangerous: Sequence[str],
) -> list[Note]:
    notes = []
    if not periods:
        notes.append(
            Note(
                "no_baseline",
                f"Nothing is watched yet: what is usual can be told from {FEWEST_COMEBACKS} "
                f"comebacks on, at the end of a quarter; {int((daily.known >= 0).sum())} are known "
                "now. Dangerous causes are watched from the first day.",
                int((daily.known >= 0).sum()),
            )
        )
    waiting = int((followup.episodes["end"] == "return").sum() - (daily.known >= 0).sum())
    if waiting:
        notes.append(
            Note(
                "not_yet_known",
                f"{counted(waiting, 'comeback is', 'comebacks are')} still on the bench, to enter "
                "the charts when the cause is known.",
                waiting,
            )
        )
    known = {
        track.family.chart(number) for track in tracks for number in range(len(track.family.names))
    } | {f"dangerous={cause}" for cause in dangerous}
    recorded = set(followup.history.jobs["root_cause"].dropna().unique())
    if unseen := [cause for cause in dangerous if cause not in recorded]:
        notes.append(
            Note(
                "dangerous_not_seen",
                f"Named as dangerous, and found on no job so far: {', '.join(unseen)}. A case "
                "only sounds if the record spells it so; it has "
                f"{', '.join(sorted(map(str, recorded))[:_MOST_NAMED]) or 'no root causes'}.",
            )
        )
    stray = sorted(set(done["chart"]) - known)
    if stray:
        notes.append(
            Note(
                "unknown_chart",
                f"Actions name charts that this record does not have: {', '.join(stray[:5])}. "
                "They change nothing.",
                len(stray),
            )
        )
    return notes
