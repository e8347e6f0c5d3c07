"""A branch's counts in a file of their own: what pooling needs, and nothing of any customer."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pandas as pd

from insights.errors import RequestError, SourceError
from insights.followup import Count, Follow, Followup
from insights.history.schema import ENDINGS
from insights.notes import Note
from insights.survival.causes import CauseCurves, causes_from_counts
from insights.survival.lifetable import LifeTable, life_table
from insights.survival.pooling import pool
from insights.survival.stating import AT_DAYS, MIN_AT_RISK, request

FORM = "staysfixed counts 1"
LARGEST_BYTES = 200 << 20
TWO_BRANCHES = (
    "A unit that was at two branches counts as two units here, and its comeback to the other "
    "branch is not seen."
)


@dataclass(frozen=True)
class BranchCounts:
    """What one branch hands on.

    Parameters
    ----------
    branch
        The name it goes by.
    table
        Its counts.
    data_date
        The day up to which its history is complete, as an ISO date.
    follow, count, grace_days
        The rules they were counted under.
    """

    branch: str
    table: LifeTable
    data_date: str
    follow: Follow
    count: Count
    grace_days: int

    @property
    def rules(self) -> tuple[str, str, int]:
        """What must be alike before counts are added."""
        return self.follow, self.count, self.grace_days

    @property
    def alone(self) -> tuple[str, ...]:
        """Patterns that hold a single job: whoever knows that job can read its fate."""
        jobs = self.table.cells.groupby("pattern")["jobs"].sum()
        labels = self.table.labels
        return tuple(labels[pattern] for pattern, count in jobs.items() if count == 1)

    @property
    def notes(self) -> tuple[Note, ...]:
        """What to look at before the counts leave the house."""
        notes = []
        if self.alone:
            text = (
                "Groups of a single job, which someone who knows the job can recognise: "
                f"{', '.join(self.alone)}. Count by fewer columns if that matters."
            )
            notes.append(Note("single_jobs", text, len(self.alone)))
        if "technician" in self.table.by:
            notes.append(Note("technicians", "The counts name your technicians. Ask them first."))
        return tuple(notes)


@dataclass(frozen=True)
class Pooled:
    """Several branches' counts as one.

    Parameters
    ----------
    table
        The counts of all.
    branches
        One row a branch: ``branch``, ``data_date``, ``jobs``, ``returns``.
    follow, count, grace_days
        The rules they were counted under.
    notes
        What a reader should know.
    """

    table: LifeTable
    branches: pd.DataFrame
    follow: Follow
    count: Count
    grace_days: int
    notes: tuple[Note, ...]


def branch_counts(followup: Followup, by: Sequence[str] = (), *, branch: str) -> BranchCounts:
    """Count a branch's hand-backs, to be handed on.

    Parameters
    ----------
    followup
        The hand-backs, followed.
    by
        Grouping columns; the more, the fewer jobs stand behind each count.
    branch
        The name it goes by.

    Raises
    ------
    RequestError
        A name in ``by`` is not a column to group by.
    """
    return BranchCounts(
        branch=branch,
        table=life_table(followup, by),
        data_date=f"{followup.data_date:%Y-%m-%d}",
        follow=followup.follow,
        count=followup.count,
        grace_days=followup.grace_days,
    )


def pool_branches(branches: Sequence[BranchCounts]) -> Pooled:
    """Add up the counts of several branches.

    Raises
    ------
    RequestError
        They were counted by different columns or under different rules, or one name comes twice.
    """
    table = pool([branch.table for branch in branches])
    first = branches[0]
    names = [branch.branch for branch in branches]
    for branch in branches:
        if branch.rules != first.rules:
            raise RequestError(
                f"{first.branch} and {branch.branch} counted under different rules "
                f"({first.rules} and {branch.rules}). Let both count under the same."
            )
        if names.count(branch.branch) > 1:
            raise RequestError(
                f"The branch {branch.branch} is given twice, and its jobs would count twice. "
                "Leave one out, or name them apart."
            )
    rows = [(b.branch, b.data_date, b.table.job_count, _returns(b.table)) for b in branches]
    return Pooled(
        table=table,
        branches=pd.DataFrame(rows, columns=["branch", "data_date", "jobs", "returns"]),
        follow=first.follow,
        count=first.count,
        grace_days=first.grace_days,
        notes=(Note("two_branches", TWO_BRANCHES),) if len(branches) > 1 else (),
    )


def pooled_causes(
    pooled: Pooled,
    at: Sequence[float] = AT_DAYS,
    *,
    min_at_risk: int = MIN_AT_RISK,
    level: float = 0.95,
) -> CauseCurves:
    """Give the share that came back, by root cause and (``total``) in all, of pooled branches.

    Parameters
    ----------
    pooled
        The branches' counts, in the groups that they were counted by.
    at, min_at_risk, level
        As in :func:`insights.survival.curves.return_curves`.

    Raises
    ------
    RequestError
        A day, number or level that can't be used.
    """
    return causes_from_counts(pooled.table, request(at, min_at_risk, level), pooled.notes)


def _returns(table: LifeTable) -> int:
    outcome = table.cells["outcome"]
    return int(table.cells["jobs"][(outcome >= 1) & (outcome <= len(table.causes))].sum())


def write_counts(counts: BranchCounts, path: str | Path) -> None:
    """Write counts as JSON: groups, days, outcomes and how many; no job, unit or customer by name.

    Units with several hand-backs are numbered anew from 0 in a file, so that variances can be
    clustered; nothing leads from a number to the unit.

    Raises
    ------
    SourceError
        The file can't be written.
    """
    table = counts.table
    data = {
        "form": FORM,
        "branch": counts.branch,
        "data_date": counts.data_date,
        "follow": counts.follow,
        "count": counts.count,
        "grace_days": counts.grace_days,
        "by": list(table.by),
        "values": {
            name: [str(value) for value in table.patterns[name].cat.categories] for name in table.by
        },
        "patterns": table.patterns.astype(str).to_numpy().tolist() if table.by else [[]],
        "causes": list(table.causes),
        "endings": list(table.endings),
        "units": table.units.tolist(),
        "cells": {name: table.cells[name].tolist() for name in table.cells.columns},
        "repeats": {
            "unit": pd.factorize(table.repeats["unit"])[0].tolist(),
            "cell": table.repeats["cell"].tolist(),
        },
    }
    try:
        Path(path).write_text(json.dumps(data, ensure_ascii=False) + "\n", encoding="utf-8")
    except OSError as error:
        raise SourceError(f"{path} can't be written: {error.strerror}.") from error


def read_counts(path: str | Path) -> BranchCounts:
    """Read counts that :func:`write_counts` wrote.

    Raises
    ------
    SourceError
        There is no such file, it is no file of counts, or its counts contradict each other.
    """
    try:
        if Path(path).stat().st_size > LARGEST_BYTES:
            raise SourceError(f"{path} is too large for a file of counts. Check which file it is.")
        data = json.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise SourceError(f"{path} can't be read: {error.strerror}.") from error
    except (ValueError, RecursionError) as error:
        raise _no_counts(path, "it is not JSON") from error
    if not isinstance(data, dict) or data.get("form") != FORM:
        raise _no_counts(path, f"it does not say it is '{FORM}'")
    try:
        counts = _counts_of(data)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise _no_counts(path, f"a part of it is missing or misshapen ({error})") from error
    if flaw := _flaw(counts):
        raise _no_counts(path, flaw)
    return counts


def _no_counts(path: str | Path, why: str) -> SourceError:
    return SourceError(
        f"{path} is not a branch's counts: {why}. Have the branch write it again with "
        "`staysfixed counts`."
    )


def _counts_of(data: dict[str, Any]) -> BranchCounts:
    by = tuple(str(name) for name in data["by"])
    rows = [[str(value) for value in row] for row in data["patterns"]]
    columns = list(zip(*rows, strict=True)) if by else []
    patterns = pd.DataFrame(
        {
            name: pd.Categorical(cells, [str(value) for value in data["values"][name]])
            for name, cells in zip(by, columns, strict=True)
        },
        index=range(len(rows)),
    )
    whole = {name: _whole(data["cells"][name]) for name in ("pattern", "outcome", "jobs")}
    days = np.array(data["cells"]["days"], dtype=float)
    cells = pd.DataFrame({**whole, "days": days})[["pattern", "days", "outcome", "jobs"]]
    repeats = pd.DataFrame({name: _whole(data["repeats"][name]) for name in ("unit", "cell")})
    return BranchCounts(
        branch=str(data["branch"]),
        table=LifeTable(
            by=by,
            patterns=patterns,
            causes=tuple(str(cause) for cause in data["causes"]),
            endings=tuple(str(how) for how in data["endings"]),
            cells=cells,
            repeats=repeats,
            units=_whole(data["units"]),
        ),
        data_date=str(data["data_date"]),
        follow=data["follow"],
        count=data["count"],
        grace_days=int(data["grace_days"]),
    )


def _whole(values: list[int]) -> np.ndarray:
    if not all(type(value) is int for value in values):
        raise TypeError("a count is not a whole number")
    return np.array(values, dtype=np.int64)


def _flaw(counts: BranchCounts) -> str:
    """Say what in the counts contradicts itself; nothing where all is well."""
    table = counts.table
    cells, repeats = table.cells, table.repeats
    width = 1 + len(table.causes) + len(table.endings)
    in_cell = np.bincount(repeats["cell"].clip(0, len(cells)), minlength=len(cells))
    days = cells["days"].to_numpy()
    checks = (
        (counts.follow in get_args(Follow) and counts.count in get_args(Count), "unknown rules"),
        (set(table.endings) <= set(ENDINGS), "an unknown way of leaving service"),
        (len(set(table.causes)) == len(table.causes), "a cause comes twice"),
        (bool(cells["pattern"].between(0, len(table.patterns) - 1).all()), "unknown groups"),
        (not table.patterns.isna().any(axis=None), "a group's value is not among its values"),
        (bool(cells["outcome"].between(0, width - 1).all()), "unknown outcomes"),
        (bool((cells["jobs"] > 0).all()) and len(cells) > 0, "counts that are not above zero"),
        (bool(np.all((days >= 0) & (2 * days % 1 == 0))), "days that are no half or whole days"),
        (not cells.duplicated(["pattern", "days", "outcome"]).any(), "a count comes twice"),
        (bool(repeats["cell"].between(0, len(cells) - 1).all()), "repeats of unknown counts"),
        (bool(repeats["unit"].is_monotonic_increasing), "repeats out of order"),
        (bool((in_cell[: len(cells)] <= cells["jobs"]).all()), "more repeats than jobs"),
        (len(table.units) == len(table.patterns), "units of unknown groups"),
    )
    return next((text for fine, text in checks if not fine), "")
