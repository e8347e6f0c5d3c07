"""Life tables and stretches straight from small arrays, for data that have no dates."""

from __future__ import annotations

import numpy as np
import pandas as pd

from insights.survival.lifetable import LifeTable
from insights.survival.service import Stretches
from insights.survival.strata import Stratum, strata


def life_table_of(days, outcome, *, group=None, unit=None, causes=("return",), endings=()):
    """Count rows of (days, outcome code); each row its own unit unless ``unit`` says more."""
    size = len(days)
    group = np.zeros(size) if group is None else np.asarray(group)
    unit = np.arange(size) if unit is None else np.asarray(unit)
    labels, pattern = np.unique(group, return_inverse=True)
    rows = pd.DataFrame(
        {"pattern": pattern, "days": np.asarray(days, dtype=float), "outcome": np.asarray(outcome)}
    )
    by_cell = rows.groupby(["pattern", "days", "outcome"])
    cells = by_cell.size().reset_index(name="jobs")
    several = pd.Series(unit).duplicated(keep=False).to_numpy()
    repeats = pd.DataFrame({"unit": unit, "cell": by_cell.ngroup().to_numpy()})[several]
    return LifeTable(
        by=("group",) if len(labels) > 1 else (),
        patterns=pd.DataFrame({"group": labels.astype(str)}),
        causes=tuple(causes),
        endings=tuple(endings),
        cells=cells,
        repeats=repeats.sort_values("unit", kind="stable").reset_index(drop=True),
        units=np.array([len(set(unit[pattern == code])) for code in range(len(labels))]),
    )


def only_stratum(days, outcome, **more) -> Stratum:
    (found,) = strata(life_table_of(days, outcome, **more))
    return found


def stretches_of(units: list[tuple[list[float], float]]) -> Stretches:
    """Turn (return times, end of observation) of each unit into stretches from 0 on."""
    rows = []
    for unit, (returns, end) in enumerate(units):
        before = 0.0
        for day in returns:
            rows.append((unit, before, day, 1))
            before = day
        if end > before:
            rows.append((unit, before, end, 0))
    unit, start, end, outcome = map(np.array, zip(*rows, strict=True))
    return Stretches(unit, start.astype(float), end.astype(float), outcome, np.ones(len(rows)))
