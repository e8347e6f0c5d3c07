"""Life tables of several branches added up; nothing but counts is needed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.followup import UNKNOWN
from insights.grouping import NOT_RECORDED
from insights.history.schema import ENDINGS
from insights.survival.lifetable import LifeTable

_CELL = ["pattern", "days", "outcome"]


def pool(tables: Sequence[LifeTable]) -> LifeTable:
    """Add life tables up.

    Parameters
    ----------
    tables
        Counts under the same grouping columns, each of units of its own.

    Returns
    -------
    LifeTable
        The life table of all jobs together, as if one workshop had done them, where no unit was
        at two branches. One that was counts as two units, and its comeback to the other branch is
        not seen.

    Raises
    ------
    RequestError
        No table, or tables grouped differently.
    """
    if not tables:
        raise RequestError("There is nothing to pool. Give the counts of at least one branch.")
    by = tables[0].by
    for table in tables:
        if table.by != by:
            raise RequestError(
                f"One branch counted by {_spoken(by)}, another by {_spoken(table.by)}. Let all "
                "of them count by the same columns."
            )
    causes = _in_order((cause for table in tables for cause in table.causes), last=UNKNOWN)
    present = {how for table in tables for how in table.endings}
    endings = tuple(how for how in ENDINGS if how in present)
    patterns = _patterns(tables)
    places = [_places(table, patterns) for table in tables]
    parts = [
        _as_pooled(table, place, (*causes, *endings))
        for table, place in zip(tables, places, strict=True)
    ]
    together = pd.concat(parts, ignore_index=True)
    grouped = together.groupby(_CELL)
    units = np.zeros(len(patterns), dtype=np.int64)
    for table, place in zip(tables, places, strict=True):
        np.add.at(units, place, table.units)
    return LifeTable(
        by=by,
        patterns=patterns,
        causes=causes,
        endings=endings,
        cells=grouped["jobs"].sum().reset_index(),
        repeats=_repeats(tables, grouped.ngroup().to_numpy()),
        units=units,
    )


def _spoken(by: tuple[str, ...]) -> str:
    return " and ".join(by) or "nothing"


def _in_order(values: Iterable[str], last: str) -> tuple[str, ...]:
    """Sort as the follow-up does: by name, what was not recorded at the end."""
    return tuple(sorted(set(values), key=lambda value: (value == last, value)))


def _patterns(tables: Sequence[LifeTable]) -> pd.DataFrame:
    """List the combinations seen at any branch, in the order of a single history's."""
    by = tables[0].by
    if not by:
        return pd.DataFrame(index=range(1))
    seen = pd.concat([table.patterns.astype(str) for table in tables]).drop_duplicates()
    categories = {name: _categories(tables, name) for name in by}
    typed = pd.DataFrame({name: pd.Categorical(seen[name], categories[name]) for name in by})
    return typed.sort_values(list(by), ignore_index=True)


def _categories(tables: Sequence[LifeTable], name: str) -> list[str]:
    """Keep an order that all branches agree on (ages in bands), or else sort by name."""
    orders = [[str(value) for value in table.patterns[name].cat.categories] for table in tables]
    every = _in_order((value for order in orders for value in order), last=NOT_RECORDED)
    if all(order == [value for value in every if value in order] for order in orders):
        return list(every)
    return sorted(every, key=lambda value: (value == NOT_RECORDED, _first_number(value), value))


def _first_number(text: str) -> float:
    digits = text.partition(" ")[0]
    return float(digits) if digits.isdecimal() else float("inf")


def _places(table: LifeTable, patterns: pd.DataFrame) -> np.ndarray:
    """Find the pooled pattern of each of a table's own, shape (patterns,)."""
    if not table.by:
        return np.zeros(1, dtype=np.int64)
    every = pd.MultiIndex.from_frame(patterns.astype(str))
    return np.asarray(every.get_indexer(pd.MultiIndex.from_frame(table.patterns.astype(str))))


def _as_pooled(table: LifeTable, place: np.ndarray, outcomes: tuple[str, ...]) -> pd.DataFrame:
    """Write a table's cells under the pooled patterns and outcome codes."""
    mine = (*table.causes, *table.endings)
    codes = np.array([0, *(1 + outcomes.index(name) for name in mine)])
    cells = table.cells
    return pd.DataFrame(
        {
            "pattern": place[cells["pattern"].to_numpy()],
            "days": cells["days"].to_numpy(),
            "outcome": codes[cells["outcome"].to_numpy()],
            "jobs": cells["jobs"].to_numpy(),
        }
    )


def _repeats(tables: Sequence[LifeTable], pooled_cell: np.ndarray) -> pd.DataFrame:
    """Give units of different branches different numbers; point them to the pooled cells."""
    units, cells = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    first_unit = first_cell = 0
    for table in tables:
        code, distinct = pd.factorize(table.repeats["unit"])
        units.append(first_unit + code)
        cells.append(pooled_cell[first_cell + table.repeats["cell"].to_numpy(dtype=np.int64)])
        first_unit += len(distinct)
        first_cell += len(table.cells)
    return pd.DataFrame({"unit": np.concatenate(units), "cell": np.concatenate(cells)})
