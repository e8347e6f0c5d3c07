"""Charts carried on from period to period: level, alarm, and the restart after an action."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, field, replace

import numpy as np

from insights.reviewing.baseline import Family
from insights.reviewing.cusum import NEVER, climb, first_day

QUIET = np.iinfo(np.int64).max


@dataclass(frozen=True)
class Alarm:
    """One chart that reached its limit.

    Parameters
    ----------
    number
        Of the chart in its family.
    day
        On which it did.
    began
        The day on which the climb began: where the change is thought to have come.
    limit
        In force then.
    passed
        The day on which the chart was back at zero without anything done about it: what spoke
        for a change has been outweighed since. A day that never comes where it was not.
    """

    number: int
    day: int
    began: int
    limit: float
    passed: int = QUIET


@dataclass(frozen=True, eq=False)
class Stretch:
    """What came and what was to be expected on the days after ``low``, by chart, (C, days).

    Parameters
    ----------
    low
        The day before the first.
    expected, observed
        Comebacks (or jobs left undone).
    step
        What they do to a chart.
    """

    low: int
    expected: np.ndarray
    observed: np.ndarray
    step: np.ndarray


@dataclass(eq=False)
class Track:
    """The charts of one family, day after day; it grows as periods are added.

    Parameters
    ----------
    family
        The charts.
    resets
        For charts by number, the days on which an action was taken, rising.
    cleared
        Those, as pairs of chart and day, that found the signal to be chance.
    alarms, limits
        What sounded; the limits in force, each with the day after which.
    low
        The day before the first.
    expected, observed, level
        By chart and day, shape (C, days).
    standing, began
        Where each chart stands after the last day: its level, and where its climb began.
    sounding
        Charts that have sounded and neither passed nor been acted on, with the place of the alarm.
    """

    family: Family
    resets: Mapping[int, Sequence[int]]
    cleared: Set[tuple[int, int]] = frozenset()
    alarms: list[Alarm] = field(default_factory=list)
    limits: list[tuple[int, float]] = field(default_factory=list)
    low: int = NEVER
    expected: np.ndarray = field(init=False)
    observed: np.ndarray = field(init=False)
    level: np.ndarray = field(init=False)
    standing: np.ndarray = field(init=False)
    began: np.ndarray = field(init=False)
    sounding: dict[int, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        charts = len(self.family.names)
        empty = np.zeros((charts, 0), dtype=np.float32)
        self.expected, self.observed, self.level = empty, empty, empty
        self.standing = np.zeros(charts)
        self.began = np.full(charts, NEVER)

    def add(self, stretch: Stretch, limit: float) -> None:
        """Carry every chart on through a stretch of days."""
        if self.low == NEVER:
            self.low = stretch.low
            self.began[:] = stretch.low
        self.limits.append((stretch.low, limit))
        level = np.empty(stretch.step.shape)
        days = stretch.step.shape[1]
        acted = {
            number: [day - stretch.low for day in resets if 0 < day - stretch.low <= days]
            for number, resets in self.resets.items()
        }
        acted = {number: days for number, days in acted.items() if days}
        plain = np.setdiff1d(np.arange(len(level)), list(acted))
        self._run(plain, stretch, 0, days, limit, level)
        for number, stops in acted.items():
            one, begin = np.array([number]), 0
            for stop in (*stops, days):
                self._run(one, stretch, begin, stop, limit, level)
                if stop in stops:
                    self._restart(number, stretch.low + stop)
                begin = stop
        self.expected = _append(self.expected, stretch.expected)
        self.observed = _append(self.observed, stretch.observed)
        self.level = _append(self.level, level)

    def _run(
        self,
        rows: np.ndarray,
        stretch: Stretch,
        begin: int,
        stop: int,
        limit: float,
        level: np.ndarray,
    ) -> None:
        if begin == stop or not len(rows):
            return
        path = climb(stretch.step[rows, begin:stop], self.standing[rows])
        level[rows, begin:stop] = path.level
        self.standing[rows] = path.level[:, -1]
        # The days of a stretch count from the one after `low`.
        base = stretch.low + begin + 1
        began = np.where(path.began == NEVER, self.began[rows, None], path.began + base)
        self.began[rows] = began[:, -1]
        # A limit may be lower than the last one: a chart sounds on an event, not on a new year.
        event = stretch.observed[rows, begin:stop] > 0
        high = (path.level >= limit) & event
        lively = high.any(axis=1) | np.isin(rows, list(self.sounding))
        for place in np.flatnonzero(lively):
            self._sound(int(rows[place]), high[place], path.level[place] <= 0, began[place], base)

    def _sound(
        self, number: int, high: np.ndarray, zero: np.ndarray, began: np.ndarray, base: int
    ) -> None:
        """Note each alarm of one chart, and where it passed."""
        day = 0
        while True:
            sounding = number in self.sounding
            found = first_day((zero if sounding else high)[None, day:])[0]
            if found == NEVER:
                return
            day += int(found)
            if sounding:
                place = self.sounding.pop(number)
                self.alarms[place] = replace(self.alarms[place], passed=base + day)
            else:
                self.sounding[number] = len(self.alarms)
                limit = self.limits[-1][1]
                self.alarms.append(Alarm(number, base + day, int(began[day]), limit))

    def _restart(self, number: int, day: int) -> None:
        self.standing[number] = 0.0
        self.began[number] = day
        self.sounding.pop(number, None)

    def over_on(self, alarm: Alarm) -> int:
        """Give the day on which an alarm was acted on or passed; one that never comes if open."""
        return min(self.acted_on(alarm), alarm.passed)

    def acted_on(self, alarm: Alarm) -> int:
        """Give the day of the first action after an alarm; a day that never comes where none."""
        after = [day for day in self.resets.get(alarm.number, ()) if day >= alarm.day]
        return after[0] if after else QUIET

    def suspected(self, day: int) -> list[Alarm]:
        """List the alarms whose days are not to be taken as usual on a day.

        Those that are open, and those acted on unless they were found to be chance. What passed by
        itself has been outweighed, and to leave out only the bad days would make usual too good.
        """
        return [alarm for alarm in self.alarms if self._is_suspect(alarm, day)]

    def _is_suspect(self, alarm: Alarm, day: int) -> bool:
        if alarm.passed <= min(day, self.acted_on(alarm)):
            return False
        acted = self.acted_on(alarm)
        return acted > day or (alarm.number, acted) not in self.cleared

    def since(self, number: int, began: int, day: int) -> tuple[int, float]:
        """Count what came, and what was expected, after one day up to another."""
        first, stop = began - self.low, day - self.low
        return (
            int(self.observed[number, first:stop].sum()),
            float(self.expected[number, first:stop].sum(dtype=float)),
        )


def _append(before: np.ndarray, more: np.ndarray) -> np.ndarray:
    return np.concatenate([before, more.astype(np.float32)], axis=1)
