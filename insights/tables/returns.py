"""The tables of what comes back: shares by day, by group and by root cause, and the tests."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from insights.survival.causes import CauseCurves
from insights.survival.curves import Curves, GroupTest
from insights.wording import unbroken, whole

if TYPE_CHECKING:
    from insights.survival.branches import Pooled
    from insights.survival.maturity import Maturity
    from insights.survival.recurrent import RepeatReturns

TABLE_DAYS = (90, 180, 365)
RECENT_MONTHS = 12
NOT_KNOWN = "too few followed"
ALL_CAUSES = "all causes"


def share_text(share: float, low: float, high: float) -> str:
    """Write a share and its range as percentages."""
    if not np.isfinite(share):
        return NOT_KNOWN
    return unbroken(f"{share:.1%} ({low:.1%} to {high:.1%})")


def of_curves(curves: Curves, *, every_day: bool = False) -> pd.DataFrame:
    """List, for each group, the jobs behind it and the share back by each day.

    Parameters
    ----------
    curves
        The share back.
    every_day
        Whether days other than :data:`TABLE_DAYS` are listed too, not left to the download.

    Returns
    -------
    pandas.DataFrame
        Text only, one row a group.
    """
    groups = curves.groups
    table = pd.DataFrame(
        {
            "Group": groups["group"].astype(str),
            "Jobs": _counts(groups["jobs"]),
            "Units": _counts(groups["units"]),
            "Comebacks": _counts(groups["returns"]),
        }
    )
    for day in _days(curves.at, every_day):
        table[f"Back by day {day}"] = _by_group(curves.at, groups["group"], day)
    return table


def of_causes(causes: CauseCurves, *, every_day: bool = False) -> pd.DataFrame:
    """List, for each group and root cause, the share back by each day, then the total.

    Parameters
    ----------
    causes
        The share back by root cause.
    every_day
        As for :func:`of_curves`.

    Returns
    -------
    pandas.DataFrame
        Text only.
    """
    days = _days(causes.at, every_day)
    total = causes.total.at.assign(cause=ALL_CAUSES)
    rows = pd.concat([causes.at.astype({"cause": object}), total], ignore_index=True)
    cells = {
        (row.group, row.cause, row.day): share_text(row.share, row.low, row.high)
        for row in rows.itertuples(index=False)
    }
    table = pd.DataFrame(
        [
            {"Group": group, "Root cause": cause}
            | {f"Back by day {day}": cells[group, cause, day] for day in days}
            for group in causes.groups["group"]
            for cause in (*_largest_first(causes, group), ALL_CAUSES)
        ]
    )
    return table if len(causes.groups) > 1 else table.drop(columns="Group")


def of_days_without(curves: Curves) -> pd.DataFrame:
    """List, for each group, the mean days without a comeback, over as many days for all."""
    return pd.DataFrame(
        [
            {
                "Group": str(row.group),
                f"Days without a comeback, of {row.restricted_to_days:,.0f} (likely)": NOT_KNOWN
                if pd.isna(row.restricted_mean_days)
                else f"{row.restricted_mean_days:,.0f} "
                f"({row.restricted_mean_low:,.0f} to {row.restricted_mean_high:,.0f})",
            }
            for row in curves.groups.itertuples(index=False)
        ]
    )


def of_repeats(repeats: RepeatReturns) -> pd.DataFrame:
    """List, for each group, the comebacks of 100 units by each day out of our hands."""
    groups = repeats.at["group"].unique()
    table = pd.DataFrame({"Group": [str(group) for group in groups]})
    for day in _days(repeats.at, every_day=True):
        on_day = repeats.at[repeats.at["day"] == day].set_index("group")
        table[f"By day {day}, of 100 units"] = [
            NOT_KNOWN
            if pd.isna(row.mean_returns)
            else f"{100 * row.mean_returns:.1f} ({100 * row.low:.1f} to {100 * row.high:.1f})"
            for row in (on_day.loc[group] for group in groups)
        ]
    return table


def of_branches(pooled: Pooled) -> pd.DataFrame:
    """List the branches whose counts are added up."""
    return pd.DataFrame(
        [
            {
                "Branch": row.branch,
                "Known up to": row.data_date,
                "Jobs": whole(row.jobs),
                "Comebacks": whole(row.returns),
            }
            for row in pooled.branches.itertuples(index=False)
        ]
    )


def _days(at: pd.DataFrame, every_day: bool = False) -> list[float]:
    """Choose the days of the table: the usual terms, as far as they were asked for."""
    asked = [_plain_day(day) for day in at["day"].unique()]
    if every_day:
        return asked
    return [day for day in asked if day in TABLE_DAYS] or asked[-1:]


def _plain_day(day: float) -> float:
    return int(day) if float(day).is_integer() else float(day)


def _largest_first(causes: CauseCurves, group: str) -> list[str]:
    counts = causes.counts[causes.counts["group"] == group]
    return list(counts.sort_values("returns", ascending=False, kind="stable")["cause"])


def tests_of(curves: Curves) -> pd.DataFrame:
    """List the tests of whether the groups differ; no row where there is nothing to test."""
    found = [test for test in (curves.test, curves.weighted_test) if test is not None]
    return pd.DataFrame([_test(test) for test in found])


def tests_by_cause(causes: CauseCurves) -> pd.DataFrame:
    """List the tests of whether the groups differ in each root cause."""
    return pd.DataFrame(
        [
            {"Root cause": row.cause} | _test(GroupTest(row.name, row.statistic, row.df, row.p))
            for row in causes.tests.itertuples(index=False)
        ]
    )


def _test(test: GroupTest) -> dict[str, str]:
    return {
        "Test": test.name,
        "Chi-square": f"{test.statistic:.2f}",
        "Degrees of freedom": f"{test.df}",
        "p": "below 0.001" if test.p < 0.001 else f"{test.p:.3f}",
    }


def of_months(maturity: Maturity) -> pd.DataFrame:
    """List the latest months, what has come back of them and what to expect in the end."""
    return pd.DataFrame(
        [
            {
                "Handed back in": str(row.month),
                "Jobs": whole(row.jobs),
                "Back so far": whole(row.returns),
                "Of what will come, seen": f"{row.mature_share:.0%}",
                "Expect in the end": f"{row.bornhuetter_ferguson:.1f}",
                "Remark": "too young to judge" if row.immature else "",
            }
            for row in maturity.table.tail(RECENT_MONTHS).iloc[::-1].itertuples(index=False)
        ]
    )


def _counts(values: pd.Series) -> list[str]:
    return [whole(value) for value in values]


def _by_group(at: pd.DataFrame, groups: pd.Series, day: float) -> list[str]:
    on_day = at[at["day"] == day].set_index("group")
    return [
        share_text(*(float(on_day.at[group, name]) for name in ("share", "low", "high")))
        if group in on_day.index
        else NOT_KNOWN
        for group in groups
    ]
