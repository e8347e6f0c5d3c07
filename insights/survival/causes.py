"""What share of repaired units comes back for which root cause, while the others compete."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from insights.followup import Followup
from insights.notes import Note
from insights.survival.curves import Curves, curves_from_counts
from insights.survival.intervals import share_bounds
from insights.survival.lifetable import LifeTable, life_table
from insights.survival.logrank import group_test
from insights.survival.stating import (
    AT_DAYS,
    MIN_AT_RISK,
    Measured,
    Request,
    at_table,
    mixed_terms,
    names,
    request,
    step_table,
    supported_days,
)
from insights.survival.strata import estimate, left_service, strata

TEST_COLUMNS = ("cause", "name", "statistic", "df", "p")
METHOD = (
    "Aalen-Johansen share by root cause, all other causes and leaving service competing; exact "
    "with any number of ends on one day; causes add up to the total. Infinitesimal-jackknife "
    "variance clustered by unit; log-log bounds, exact-type where returns are few. Groups are "
    "compared by the log-rank test of each cause's own hazard."
)


@dataclass(frozen=True)
class CauseCurves:
    """Share back by day and root cause, for each group.

    Parameters
    ----------
    table
        Steps, one row per group, cause and day: ``group``, ``cause``, ``day``, ``at_risk``,
        ``returns`` (on the day, for this cause), ``share``, ``low``, ``high``. A comeback whose
        cause was not recorded stands under ``unknown``.
    at
        The days asked for: ``group``, ``cause``, ``day``, ``at_risk``, ``share``, ``low``,
        ``high``; the last three are missing where the day is not supported.
    groups
        As in :class:`insights.survival.curves.Curves`.
    counts
        One row per group and cause: ``group``, ``cause``, ``returns`` (all that were seen).
    left_service
        The share that left service without coming back: ``group``, ``day``, ``at_risk``,
        ``share``, ``low``, ``high``. On every day the causes, this and the share neither back
        nor gone add up to 1.
    tests
        One row per cause that could be tested: ``cause``, ``name``, ``statistic``, ``df``,
        ``p``; no row for a single group.
    total
        The curves of all causes together.
    causes
        The root causes, in the order of the tables.
    by, method, notes
        As in :class:`insights.survival.curves.Curves`.
    """

    table: pd.DataFrame
    at: pd.DataFrame
    groups: pd.DataFrame
    counts: pd.DataFrame
    left_service: pd.DataFrame
    tests: pd.DataFrame
    total: Curves
    causes: tuple[str, ...]
    by: tuple[str, ...]
    method: str
    notes: tuple[Note, ...]


def cause_curves(
    followup: Followup,
    by: str | Sequence[str] | None = None,
    at: Sequence[float] = AT_DAYS,
    *,
    min_at_risk: int = MIN_AT_RISK,
    level: float = 0.95,
) -> CauseCurves:
    """Split the share that came back by root cause.

    Parameters
    ----------
    followup, by, at, min_at_risk, level
        As in :func:`insights.survival.curves.return_curves`.

    Returns
    -------
    CauseCurves

    Raises
    ------
    RequestError
        An unknown column, or a day, number or level that can't be used.

    Notes
    -----
    Aalen and Johansen (1978, Scand. J. Statist. 5:141-150), from daily counts, so ends on one
    day need no order and no chance: the same jobs always give the same answer.
    """
    wanted = request(at, min_at_risk, level)
    notes = (*followup.notes, *mixed_terms(followup, names(by), wanted))
    return causes_from_counts(life_table(followup, names(by)), wanted, notes)


def causes_from_counts(
    table: LifeTable, wanted: Request, notes: tuple[Note, ...] = ()
) -> CauseCurves:
    """Do the work of :func:`cause_curves` from a life table."""
    parts, gone, counts = [], [], []
    for stratum in strata(table):
        supported = supported_days(stratum.risk.days, stratum.risk.at_risk, wanted.min_at_risk)
        for code, cause in enumerate(table.causes, start=1):
            found = estimate(stratum, code, code)
            labels = {"group": stratum.label, "cause": cause}
            parts.append(Measured(labels, found.curve, found.variance, supported))
            counts.append({**labels, "returns": int(found.curve.events.sum())})
        found = left_service(stratum)
        gone.append(Measured({"group": stratum.label}, found.curve, found.variance, supported))
    total = curves_from_counts(table, wanted, notes)
    keys = ("group", "cause")
    return CauseCurves(
        table=step_table(parts, keys, wanted, share_bounds),
        at=at_table(parts, keys, wanted, share_bounds),
        groups=total.groups,
        counts=pd.DataFrame(counts, columns=[*keys, "returns"]),
        left_service=step_table(gone, ("group",), wanted, share_bounds).drop(columns="returns"),
        tests=_tests(table),
        total=total,
        causes=table.causes,
        by=table.by,
        method=METHOD,
        notes=total.notes,
    )


def _tests(table: LifeTable) -> pd.DataFrame:
    rows = []
    for code, cause in enumerate(table.causes, start=1):
        test = group_test(table, (code,), "cause-specific log-rank")
        if test is not None:
            rows.append((cause, test.name, test.statistic, test.df, test.p))
    return pd.DataFrame(rows, columns=list(TEST_COLUMNS))
