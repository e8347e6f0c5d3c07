"""What share of repaired units comes back, and when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.followup import Followup
from insights.notes import Note
from insights.survival.intervals import exact_bounds, mean_bounds, share_bounds
from insights.survival.lifetable import LifeTable, life_table
from insights.survival.logrank import GroupTest, group_test
from insights.survival.stating import (
    AT_DAYS,
    MIN_AT_RISK,
    Measured,
    Request,
    at_table,
    mixed_terms,
    names,
    past_follow_up,
    request,
    step_table,
    supported_days,
)
from insights.survival.strata import Estimate, all_returns, strata

METHOD = (
    "Aalen-Johansen share of counted comebacks with leaving service as a competing end "
    "(one minus Kaplan-Meier where no unit left service); infinitesimal-jackknife variance "
    "clustered by unit (Greenwood's where no unit came twice); log-log bounds from the second "
    "return on, before it exact-type ones (Clopper-Pearson on the effective number of jobs)."
)


@dataclass(frozen=True)
class Curves:
    """Share back by day, for each group.

    Parameters
    ----------
    table
        The curves as steps, one row per group and day on which something happened, from day 0
        to the last day with enough at risk: ``group``, ``day``, ``at_risk`` (jobs not yet
        stopped before the day), ``returns`` (on the day), ``share`` (back up to and including
        the day), ``low``, ``high``.
    at
        The days asked for: ``group``, ``day``, ``at_risk``, ``share``, ``low``, ``high``; the
        last three are missing where the day is not supported.
    groups
        One row per group: ``group``, ``jobs``, ``units``, ``returns`` (all that were seen),
        ``followed_days`` (the last supported day), ``restricted_to_days`` (the shortest of
        these), ``restricted_mean_days`` (mean days without a comeback up to then) and its
        bounds ``restricted_mean_low``, ``restricted_mean_high``.
    test
        Log-rank test over all groups; None for a single group or without returns.
    weighted_test
        The same with early days weighing more (Peto-Peto), for curves that cross.
    by
        The grouping columns.
    level, min_at_risk
        Confidence of the bounds, and how many must be at risk for a day to be stated.
    method
        The statistics, named.
    notes
        What a reader should know.
    """

    table: pd.DataFrame
    at: pd.DataFrame
    groups: pd.DataFrame
    test: GroupTest | None
    weighted_test: GroupTest | None
    by: tuple[str, ...]
    level: float
    min_at_risk: int
    method: str
    notes: tuple[Note, ...]


def return_curves(
    followup: Followup,
    by: str | Sequence[str] | None = None,
    at: Sequence[float] = AT_DAYS,
    *,
    min_at_risk: int = MIN_AT_RISK,
    level: float = 0.95,
) -> Curves:
    """Estimate the share of hand-backs that came back by each day.

    Parameters
    ----------
    followup
        The hand-backs, followed.
    by
        One grouping column or several (:attr:`insights.followup.Followup.groupable`); None
        takes all jobs together.
    at
        Days at which to state the share.
    min_at_risk
        Nothing is stated where fewer are at risk.
    level
        Confidence of the bounds.

    Returns
    -------
    Curves

    Raises
    ------
    RequestError
        An unknown column, or a day, number or level that can't be used.

    Notes
    -----
    A unit that left service can't come back: its end competes with a comeback and is not
    censoring. The share is Aalen and Johansen's (1978, Scand. J. Statist. 5:141-150); see
    :func:`insights.survival.incidence.variance` for the variance and
    :func:`insights.survival.intervals.share_bounds` for the bounds.
    """
    wanted = request(at, min_at_risk, level)
    notes = (*followup.notes, *mixed_terms(followup, names(by), wanted))
    return curves_from_counts(life_table(followup, names(by)), wanted, notes)


def curves_from_counts(table: LifeTable, wanted: Request, notes: tuple[Note, ...] = ()) -> Curves:
    """Do the work of :func:`return_curves` from a life table."""
    parts, estimates, remarks = [], [], list(notes)
    for stratum in strata(table):
        supported = supported_days(stratum.risk.days, stratum.risk.at_risk, wanted.min_at_risk)
        estimate = all_returns(stratum)
        labels = {"group": stratum.label}
        parts.append(Measured(labels, estimate.curve, estimate.variance, supported))
        estimates.append(estimate)
        remarks += past_follow_up(stratum.label, supported, wanted)
    reached = [part.supported for part in parts if not np.isnan(part.supported)]
    common = min(reached, default=float("nan"))
    events = tuple(range(1, 1 + len(table.causes)))
    return Curves(
        table=step_table(parts, ("group",), wanted, share_bounds),
        at=at_table(parts, ("group",), wanted, share_bounds),
        groups=pd.DataFrame(
            [
                _summary(estimate, part.supported, common, wanted.level)
                for estimate, part in zip(estimates, parts, strict=True)
            ]
        ),
        test=group_test(table, events, "log-rank"),
        weighted_test=group_test(table, events, "Peto-Peto", rho=1.0),
        by=table.by,
        level=wanted.level,
        min_at_risk=wanted.min_at_risk,
        method=METHOD,
        notes=tuple(remarks),
    )


def _summary(
    estimate: Estimate, supported: float, common: float, level: float
) -> dict[str, object]:
    until = float("nan") if np.isnan(supported) else common
    mean, low, high = restricted_mean(estimate, until, level)
    stratum = estimate.stratum
    return {
        "group": stratum.label,
        "jobs": stratum.jobs,
        "units": stratum.units,
        "returns": int(stratum.risk.returns.sum()),
        "followed_days": supported,
        "restricted_to_days": until,
        "restricted_mean_days": mean,
        "restricted_mean_low": low,
        "restricted_mean_high": high,
    }


def restricted_mean(estimate: Estimate, until: float, level: float) -> tuple[float, float, float]:
    """Estimate the mean days without a comeback up to day ``until``, with bounds.

    Returns
    -------
    mean, low, high : float
        Days; NaN where ``until`` is.

    Notes
    -----
    ``until`` less the days lost to comebacks, which is the area under the share. What is few
    and skewed are the days lost, so the bounds are theirs
    (:func:`insights.survival.intervals.mean_bounds`); without a single return, the upper bound
    of the share is taken to hold from day 0 on.
    """
    if np.isnan(until):
        return until, until, until
    lost = estimate.curve.area(until)
    if lost == 0:
        at_risk = estimate.curve.at_risk[estimate.curve.days >= until][:1]
        _, most = exact_bounds(np.zeros(1), at_risk, level)
        return until, float(until * (1 - most[0])), until
    spread = estimate.area_variance(until)
    few, many = mean_bounds(np.array([lost]), np.array([spread]), np.ones(1), np.ones(1), level)
    return until - lost, max(0.0, until - float(many[0])), until - float(few[0])
