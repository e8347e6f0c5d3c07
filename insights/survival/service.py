"""Units on their own clock in service, collapsed to counts: stretches at risk of a return."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.followup import ENDINGS, ENDS, SAME_DAY, Followup
from insights.survival.incidence import Incidence, Kinds, Spans, accumulate, variance
from insights.survival.lifetable import life_table

STAYS, RETURNS, LEAVES = 0, 1, 2
"""How a stretch ends: still in service, a counted return, the unit left service."""


@dataclass(frozen=True)
class Stretches:
    """Stretches of service, each on its unit's own clock.

    Parameters
    ----------
    unit
        A whole number a unit, shape (E,).
    start, end
        Days in service: at risk just after ``start``, up to and including ``end``, shape (E,).
        Stretches of one unit don't overlap; one without length adds its outcome only.
    outcome
        :data:`STAYS`, :data:`RETURNS` or :data:`LEAVES`, shape (E,).
    jobs
        How many units are alike in this stretch, shape (E,); 1 for units with several.
    """

    unit: np.ndarray
    start: np.ndarray
    end: np.ndarray
    outcome: np.ndarray
    jobs: np.ndarray

    def only(self, chosen: np.ndarray) -> Stretches:
        """Keep the stretches marked in ``chosen``, shape (E,)."""
        return Stretches(
            self.unit[chosen],
            self.start[chosen],
            self.end[chosen],
            self.outcome[chosen],
            self.jobs[chosen],
        )


@dataclass(frozen=True)
class ServiceGroup:
    """One group's stretches, with what was counted.

    Parameters
    ----------
    label
        The group in words.
    jobs, units, returns
        How many hand-backs, units and counted returns.
    stretches
        Collapsed to counts.
    days_if_sound
        How long each unit's first hand-back would have been followed had it never come back,
        one a unit whose first hand-back is in the group.
    """

    label: str
    jobs: int
    units: int
    returns: int
    stretches: Stretches
    days_if_sound: np.ndarray


def service_groups(followup: Followup, by: Sequence[str]) -> Iterator[ServiceGroup]:
    """Put every unit on its own clock and collapse the stretches, group by group.

    Parameters
    ----------
    followup
        The episodes.
    by
        Grouping columns; a stretch belongs to the group of its job.
    """
    table = life_table(followup, by)
    group = _group(followup, by)
    rows = _stretches(followup)
    if_sound = _days_if_sound(followup)
    first = (followup.episodes["repair_number"] == 1).to_numpy()
    for code, label in enumerate(table.labels):
        mine = group == code
        chosen = rows.only(mine)
        returns = int((chosen.outcome == RETURNS).sum())
        yield ServiceGroup(
            label,
            int(mine.sum()),
            int(table.units[code]),
            returns,
            collapse(chosen),
            if_sound[mine & first],
        )


def _days_if_sound(followup: Followup) -> np.ndarray:
    """Give the days to the end of own term and grace, or to the data date, of every hand-back."""
    jobs = followup.history.jobs.take(followup.episodes["job"])
    out = (followup.data_date - jobs["handed_back"]).dt.days.to_numpy(dtype=float)
    if followup.follow != "covered":
        return out
    return np.fmin(out, jobs["term_days"].to_numpy() + followup.grace_days)


def collapse(rows: Stretches) -> Stretches:
    """Count alike the units that have one stretch only; keep the others unit by unit."""
    unit, place, often = np.unique(rows.unit, return_inverse=True, return_counts=True)
    several = often[place] > 1
    single = pd.DataFrame({"start": rows.start, "end": rows.end, "outcome": rows.outcome})[~several]
    counts = single.value_counts(sort=False).reset_index(name="jobs")
    return Stretches(
        np.append(place[several], len(unit) + np.arange(len(counts))),
        np.append(rows.start[several], counts["start"]),
        np.append(rows.end[several], counts["end"]),
        np.append(rows.outcome[several], counts["outcome"]),
        np.append(rows.jobs[several], counts["jobs"]),
    )


def mean_returns(stretches: Stretches) -> tuple[Incidence, np.ndarray]:
    """Estimate mean cumulative returns per unit, and the variance clustered by unit.

    Returns
    -------
    curve : Incidence
        Its ``share`` is the mean number of returns per unit.
    variance : numpy.ndarray
        On each of its days.
    """
    days = np.unique(np.append(stretches.start, stretches.end))
    days = days[days > 0]
    start = np.searchsorted(days, stretches.start, side="right") - 1
    end = np.searchsorted(days, stretches.end, side="right") - 1

    def count(place: np.ndarray, kept: np.ndarray) -> np.ndarray:
        return np.bincount(place[kept] + 1, weights=stretches.jobs[kept], minlength=len(days) + 1)

    everyone = np.ones(len(start), dtype=bool)
    entered, ended = count(start, everyone), count(end, everyone)
    at_risk = np.cumsum(entered)[:-1] - np.cumsum(ended)[:-1]
    returned, left = stretches.outcome == RETURNS, stretches.outcome == LEAVES
    curve = accumulate(days, at_risk, count(end, returned)[1:], count(end, left)[1:])
    code = np.arange(LEAVES + 1)
    spans = Spans(stretches.unit, start, end, stretches.outcome, stretches.jobs, len(code))
    kinds = Kinds(code == RETURNS, code == LEAVES)
    return curve, variance(curve, spans.timeline(len(days)), kinds)


def _stretches(followup: Followup) -> Stretches:
    episodes = followup.episodes
    unit = episodes["unit"].to_numpy()
    days = episodes["days"].to_numpy()
    start = episodes["served_days"].to_numpy(dtype=float)
    end = start + np.floor(days)
    # An end on the day of hand-back needs its unit at risk at that moment, and a time after
    # zero: half a day is lent, unless the unit's stretch before reaches there already.
    same_day = days == SAME_DAY
    end = np.where(same_day, np.maximum(end, SAME_DAY), end)
    start = np.where(same_day, end - SAME_DAY, start)
    how = episodes["end"].cat.codes.to_numpy()
    left = np.isin(how, [ENDS.index(ending) for ending in ENDINGS])
    outcome = np.where(how == ENDS.index("return"), RETURNS, np.where(left, LEAVES, STAYS))
    start = np.maximum(start, _reached_before(unit, end))
    return Stretches(unit, start, np.maximum(start, end), outcome, np.ones(len(unit)))


def _reached_before(unit: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Find the latest end among the unit's earlier stretches; 0 for its first."""
    beyond = float(end.max(initial=0.0)) + 1
    first = np.append(True, unit[1:] != unit[:-1])
    offset = np.cumsum(first) * beyond
    reached = np.maximum.accumulate(end + offset)
    before = np.append(0.0, reached[:-1]) - offset
    return np.where(first, 0.0, before)


def _group(followup: Followup, by: Sequence[str]) -> np.ndarray:
    if not by:
        return np.zeros(followup.job_count, dtype=np.int64)
    values = pd.DataFrame({name: followup.values(name).cat.codes for name in by})
    return values.groupby(list(by), sort=True).ngroup().to_numpy()
