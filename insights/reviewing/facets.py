"""The groups that hand-backs are reviewed by."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.followup import NOT_RECORDED, Followup

ALWAYS = ("month", "technician", "model", "root_cause", "earlier_repair")
SUPPLIER = "supplier_of_"
_MAKER = re.compile(r"([^\W\d_]+)\s*[-/:. ]\s*\w")
"""Letters before a dash, slash, colon, point or space: the supplier, where lots are so named."""


def usual(followup: Followup) -> tuple[str, ...]:
    """Name what to review by: what is recorded and has at least two groups."""
    lots = followup.history.lots
    names = (*ALWAYS, *(f"lot_{part}" for part in lots), *(SUPPLIER + part for part in lots))
    return tuple(name for name in names if len(_present(followup, name)) > 1)


def groups(followup: Followup, name: str) -> pd.Series:
    """Give the group of every hand-back.

    Parameters
    ----------
    followup
        The hand-backs.
    name
        One of :attr:`insights.followup.Followup.groupable`, or ``supplier_of_<part>``, which is
        the letters before the first dash or the like in ``lot_<part>``.

    Returns
    -------
    pandas.Series
        Categorical; missing where it was not recorded.

    Raises
    ------
    RequestError
        There is no such column, or its lots name no supplier.
    """
    if not name.startswith(SUPPLIER):
        return _without(followup.values(name), NOT_RECORDED)
    part = name.removeprefix(SUPPLIER)
    if part not in followup.history.lots:
        raise RequestError(
            f"No lot of '{part}' is recorded. Parts with lots: "
            f"{', '.join(followup.history.lots) or 'none'}."
        )
    lots = followup.values(f"lot_{part}")
    maker = {
        lot: found.group(1).upper()
        for lot in map(str, lots.cat.categories)
        if (found := _MAKER.match(lot))
    }
    if not maker:
        raise RequestError(
            f"The lots of {part} name no supplier. Write them as supplier-number, like NW-204."
        )
    names = sorted(set(maker.values()))
    place = {name: code for code, name in enumerate(names)}
    by_lot = np.array([place.get(maker.get(str(lot), ""), -1) for lot in lots.cat.categories])
    codes = by_lot[lots.cat.codes.to_numpy()]
    return pd.Series(pd.Categorical.from_codes(codes, names))


def _present(followup: Followup, name: str) -> pd.Index:
    try:
        found = groups(followup, name)
    except RequestError:
        return pd.Index([])
    return found.cat.remove_unused_categories().cat.categories


def _without(values: pd.Series, level: str) -> pd.Series:
    return values.cat.remove_categories(level) if level in values.cat.categories else values
