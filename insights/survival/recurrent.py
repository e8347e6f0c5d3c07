"""How many times a unit comes back on average, repeats included, over its time in service."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from insights.followup import Followup
from insights.notes import Note, counted
from insights.survival.intervals import mean_bounds
from insights.survival.service import ServiceGroup, mean_returns, service_groups
from insights.survival.stating import (
    AT_DAYS,
    MIN_AT_RISK,
    Measured,
    Request,
    at_table,
    names,
    past_follow_up,
    request,
    step_table,
    supported_days,
)

OWN_NOTES = (KNOWN_BEFORE, CAME_BACK) = ("known_before", "there_for_coming_back")
"""Remarks that a share back does not have."""
METHOD = (
    "Mean cumulative returns per unit on the unit's own clock in service (Nelson's mean "
    "cumulative function; Ghosh and Lin's where units left service), with the robust variance "
    "of Lawless and Nadeau, clustered by unit; exact-type Poisson bounds on the effective number "
    "of returns."
)


@dataclass(frozen=True)
class RepeatReturns:
    """Mean returns per unit by day in service, for each group.

    Parameters
    ----------
    table
        Steps, one row per group and day: ``group``, ``day`` (in service since the unit's first
        hand-back), ``at_risk`` (units), ``returns`` (on the day), ``mean_returns`` (per unit, up
        to and including the day), ``low``, ``high``.
    at
        The days asked for: ``group``, ``day``, ``at_risk``, ``mean_returns``, ``low``, ``high``;
        the last three are missing where the day is not supported.
    groups
        One row per group: ``group``, ``jobs``, ``units``, ``returns`` (all that were seen),
        ``followed_days`` (the last supported day).
    by, level, min_at_risk, method, notes
        As in :class:`insights.survival.curves.Curves`.
    """

    table: pd.DataFrame
    at: pd.DataFrame
    groups: pd.DataFrame
    by: tuple[str, ...]
    level: float
    min_at_risk: int
    method: str
    notes: tuple[Note, ...]


def repeat_returns(
    followup: Followup,
    by: str | Sequence[str] | None = None,
    at: Sequence[float] = AT_DAYS,
    *,
    min_at_risk: int = MIN_AT_RISK,
    level: float = 0.95,
) -> RepeatReturns:
    """Estimate the mean number of returns per unit by days in service.

    Parameters
    ----------
    followup, by, at, min_at_risk, level
        As in :func:`insights.survival.curves.return_curves`. A group is a fact about a job, so
        a unit whose jobs fall into several groups is at risk in each for its own stretch.

    Returns
    -------
    RepeatReturns

    Raises
    ------
    RequestError
        An unknown column, or a day, number or level that can't be used.

    Notes
    -----
    A unit's clock counts whole days out of our hands since its first hand-back; bench days, and
    days after a job's followed term, are not at risk. A return on the day of hand-back happens
    at the moment the clock stands at, or at half a day where it has not started. Nelson (1995,
    Technometrics 37:147-157); leaving service as in Ghosh and Lin (2000, Biometrics 56:554-562);
    variance as in Lawless and Nadeau (1995, Technometrics 37:158-168).
    """
    wanted = request(at, min_at_risk, level)
    parts, rows, remarks = [], [], [*followup.notes, *_known_before(followup)]
    for group in service_groups(followup, names(by)):
        curve, spread = mean_returns(group.stretches)
        supported = supported_days(curve.days, curve.at_risk, wanted.min_at_risk)
        parts.append(Measured({"group": group.label}, curve, spread, supported))
        rows.append(
            {
                "group": group.label,
                "jobs": group.jobs,
                "units": group.units,
                "returns": group.returns,
                "followed_days": supported,
            }
        )
        remarks += past_follow_up(group.label, supported, wanted)
        if followup.follow == "covered":
            remarks += _there_for_coming_back(group, supported, wanted)
    means = {"share": "mean_returns"}
    return RepeatReturns(
        table=step_table(parts, ("group",), wanted, mean_bounds).rename(columns=means),
        at=at_table(parts, ("group",), wanted, mean_bounds).rename(columns=means),
        groups=pd.DataFrame(rows),
        by=names(by),
        level=wanted.level,
        min_at_risk=wanted.min_at_risk,
        method=METHOD,
        notes=tuple(remarks),
    )


def _known_before(followup: Followup) -> tuple[Note, ...]:
    """Say how many units were here before the record began, whose earlier days aren't seen."""
    first = followup.episodes[followup.episodes["repair_number"] == 1]
    known = followup.history.jobs["earlier_repair"].take(first["job"]) == "here"
    units = int(known.sum())
    if not units:
        return ()
    return (
        Note(
            KNOWN_BEFORE,
            f"{counted(units, 'unit was', 'units were')} repaired here before "
            f"{'its' if units == 1 else 'their'} first job on record: what came earlier is not "
            "seen, and their clocks start here all the same.",
            units,
        ),
    )


def _there_for_coming_back(
    group: ServiceGroup, supported: float, wanted: Request
) -> tuple[Note, ...]:
    """Say from which day on hardly any unit is followed that had not come back before.

    A unit whose term has ended is followed again only once it comes back, and then under the
    term of its later job: past the first terms only such units are left.
    """
    left = {day: int((group.days_if_sound >= day).sum()) for day in wanted.at if day <= supported}
    late = [day for day, units in left.items() if units < wanted.min_at_risk]
    if not late:
        return ()
    return (
        Note(
            CAME_BACK,
            f"{group.label}: from day {late[0]:g} on the units followed are those that came back "
            "before, as the others' terms have ended; what they go on to do is not what all would.",
        ),
    )
