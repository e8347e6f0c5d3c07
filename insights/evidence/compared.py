"""The jobs of two ways of working, collapsed to counts by what was known before the repair."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from scipy import sparse

from insights.survival.lifetable import CENSORED, LifeTable

ARMS = (AGAINST, LEVEL) = (0, 1)
"""Arm 0 holds the jobs done the other way, arm 1 those done the way in question."""


@dataclass(frozen=True)
class Parts:
    """Comebacks split into groups of root causes that add up to all comebacks.

    Parameters
    ----------
    names
        One name a part.
    of_cause
        The part of each root cause of the life table, shape (causes,).
    is_target, is_control
        Whether the practice is asked about this part, and whether it can't touch it, (parts,).
    """

    names: tuple[str, ...]
    of_cause: np.ndarray
    is_target: np.ndarray
    is_control: np.ndarray


@dataclass(frozen=True)
class Compared:
    """Counts of the jobs compared, by arm, covariate pattern, day and outcome.

    Parameters
    ----------
    day
        Everything is counted up to and including this day.
    facts
        What was known before each repair: one row per pattern, one categorical column per
        covariate, P rows.
    cell_arm, cell_pattern, cell_day, cell_outcome, cell_jobs
        One entry per cell, shape (C,). Outcome 0 was followed to ``cell_day`` without an end,
        ``1 + part`` came back, the last one left service.
    parts
        How comebacks are split.
    repeat_unit, repeat_cell
        The jobs of units that have several here: a whole number a unit from 0, and the cell.
    """

    day: float
    facts: pd.DataFrame
    cell_arm: np.ndarray
    cell_pattern: np.ndarray
    cell_day: np.ndarray
    cell_outcome: np.ndarray
    cell_jobs: np.ndarray
    parts: Parts
    repeat_unit: np.ndarray
    repeat_cell: np.ndarray

    @property
    def pattern_count(self) -> int:
        """How many covariate patterns."""
        return len(self.facts)

    @property
    def part_count(self) -> int:
        """How many parts comebacks are split into."""
        return len(self.parts.names)

    @property
    def left_outcome(self) -> int:
        """The outcome code of leaving service."""
        return 1 + self.part_count

    @cached_property
    def jobs(self) -> np.ndarray:
        """Jobs by arm and pattern, shape (2, P)."""
        return self.sum_patterns(self.cell_jobs[:, None])[..., 0]

    @cached_property
    def is_target_cell(self) -> np.ndarray:
        """Whether a cell holds comebacks of the part asked about, shape (C,)."""
        back = (self.cell_outcome > CENSORED) & (self.cell_outcome < self.left_outcome)
        target = np.append(self.parts.is_target, False)
        return back & target[np.where(back, self.cell_outcome - 1, -1)]

    @cached_property
    def returns(self) -> np.ndarray:
        """Comebacks asked about by arm, shape (2,)."""
        mine = self.is_target_cell
        return np.bincount(self.cell_arm[mine], self.cell_jobs[mine], minlength=2)

    @cached_property
    def by_pattern(self) -> sparse.csr_array:
        """Matrix that adds cells up by arm and pattern, shape (2 P, C)."""
        return indicator(
            self.cell_arm * self.pattern_count + self.cell_pattern, 2 * len(self.facts)
        )

    def sum_patterns(self, values: np.ndarray) -> np.ndarray:
        """Add up cells by arm and pattern: (C, B) becomes (2, P, B)."""
        return (self.by_pattern @ values).reshape(2, self.pattern_count, -1)


def indicator(place: np.ndarray, size: int, value: np.ndarray | None = None) -> sparse.csr_array:
    """Build the matrix that adds entries up by place (those at -1 are left out)."""
    column = np.flatnonzero(place >= 0)
    data = np.ones(len(column)) if value is None else value[column]
    return sparse.coo_array((data, (place[column], column)), shape=(size, len(place))).tocsr()


def quotient(above: np.ndarray, below: np.ndarray) -> np.ndarray:
    """Divide, giving 0 where there is nothing to divide by."""
    return np.divide(above, below, out=np.zeros_like(above, dtype=float), where=below > 0)


def compare_cells(
    table: LifeTable, practice: str, levels: tuple[str, str], day: float, parts: Parts
) -> Compared:
    """Take the two arms out of a life table and stop every clock at ``day``.

    Parameters
    ----------
    table
        Counts by the practice and the covariates.
    practice
        The column of ``table.patterns`` that holds the practice.
    levels
        The level of arm 0 and that of arm 1.
    day
        The day up to which risks are compared.
    parts
        How comebacks are split.
    """
    practised = table.patterns[practice].astype(object).to_numpy()
    arm_of = np.select([practised == levels[AGAINST], practised == levels[LEVEL]], ARMS, default=-1)
    facts = table.patterns.drop(columns=practice)
    pattern_of = _distinct(facts)
    used = np.flatnonzero(arm_of >= 0)
    kept, place = np.unique(pattern_of[used], return_inverse=True)
    renumbered = np.full(len(pattern_of), -1)
    renumbered[used] = place
    first = np.full(len(kept), len(pattern_of))
    np.minimum.at(first, place, used)

    source = table.cells["pattern"].to_numpy()
    stopped = table.cells["days"].to_numpy() > day
    cell_day = np.where(stopped, day, table.cells["days"].to_numpy())
    outcome = np.where(stopped, CENSORED, _outcomes(table, parts))
    chosen = np.flatnonzero(arm_of[source] >= 0)
    keys = np.column_stack([arm_of[source], renumbered[source], cell_day, outcome])[chosen]
    order = np.lexsort(keys.T[::-1])
    new = np.append(True, (np.diff(keys[order], axis=0) != 0).any(axis=1))
    cell_of = np.full(len(source), -1)
    cell_of[chosen[order]] = np.cumsum(new) - 1
    cells = keys[order][new]
    jobs = table.cells["jobs"].to_numpy()[chosen]
    cell = cell_of[table.repeats["cell"].to_numpy()]
    here = cell >= 0
    return Compared(
        day=float(day),
        facts=facts.take(first).reset_index(drop=True),
        cell_arm=cells[:, 0].astype(np.int64),
        cell_pattern=cells[:, 1].astype(np.int64),
        cell_day=cells[:, 2],
        cell_outcome=cells[:, 3].astype(np.int64),
        cell_jobs=np.bincount(cell_of[chosen], jobs, minlength=len(cells)),
        parts=parts,
        repeat_unit=_numbered(table.repeats["unit"].to_numpy()[here], cell[here]),
        repeat_cell=cell[here],
    )


def _numbered(unit: np.ndarray, cell: np.ndarray) -> np.ndarray:
    """Give units numbers by the cells they hold, so that no draw hangs on the order of rows."""
    _, unit = np.unique(unit, return_inverse=True)
    mark = np.random.default_rng(0).integers(2**63, size=int(cell.max(initial=-1)) + 1)
    held = np.zeros(int(unit.max(initial=-1)) + 1, dtype=np.int64)
    np.add.at(held, unit, mark[cell])  # wraps around, which is as good a mark
    place = np.empty(len(held), dtype=np.int64)
    place[np.argsort(held, kind="stable")] = np.arange(len(held))
    return place[unit]


def split_causes(causes: Sequence[str], cause: str | None, control_causes: Sequence[str]) -> Parts:
    """Split root causes into the one asked about, those that can't be touched, and the others.

    Parameters
    ----------
    causes
        Root causes of the life table.
    cause
        The cause asked about; None for all of them.
    control_causes
        Causes that the practice can't touch.
    """
    names = list(causes)
    control = np.isin(names, list(control_causes))
    asked = ~control if cause is None else np.isin(names, [cause])
    first = cause or ("causes it may touch" if control.any() else "any cause")
    wanted = [
        (first, asked, True, False),
        ("causes it can't touch", control, cause is None, True),
        ("other causes", ~asked & ~control, False, False),
    ]
    there = [part for part in wanted if part[1].any() or part[0] == first]
    of_cause = np.zeros(len(names), dtype=np.int64)
    for place, (_, members, _, _) in enumerate(there):
        of_cause[members] = place
    return Parts(
        names=tuple(name for name, *_ in there),
        of_cause=of_cause,
        is_target=np.array([target for *_, target, _ in there]),
        is_control=np.array([control for *_, control in there]),
    )


def _outcomes(table: LifeTable, parts: Parts) -> np.ndarray:
    endings = np.full(len(table.endings), 1 + len(parts.names))
    recoded = np.concatenate([[CENSORED], 1 + parts.of_cause, endings])
    return recoded[table.cells["outcome"].to_numpy()]


def _distinct(facts: pd.DataFrame) -> np.ndarray:
    """Give equal rows equal numbers."""
    if facts.shape[1] == 0:
        return np.zeros(len(facts), dtype=np.int64)
    key = np.zeros(len(facts), dtype=np.int64)
    for name in facts:
        codes = facts[name].cat.codes.to_numpy().astype(np.int64)
        key = key * (int(codes.max()) + 1) + codes
    return np.unique(key, return_inverse=True)[1]
