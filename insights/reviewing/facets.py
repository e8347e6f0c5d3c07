"""The groups that hand-backs are reviewed by."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.followup import Followup
from insights.grouping import NOT_RECORDED

ALWAYS = ("month", "technician", "model", "root_cause", "earlier_repair", "earlier_work")
SUPPLIER = "supplier_of_"
_MAKER = re.compile(r"([^\W\d_]+)\s*[-/:. ]\s*\w")
"""Letters before a dash, slash, colon, point or space: the supplier, where lots are so named."""


def usual(followup: Followup) -> dict[str, pd.Series]:
    """Give the groups of all that is recorded and has at least two (:func:`groups`)."""
    lots = followup.history.lots
    names = (*ALWAYS, *(f"lot_{part}" for part in lots), *(SUPPLIER + part for part in lots))
    found = {name: _groups(followup, name) for name in names}
    return {name: values for name, values in found.items() if len(values.cat.categories) > 1}


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
    part = name.removeprefix(SUPPLIER)
    if name != part and part not in followup.history.lots:
        raise RequestError(
            f"No lot of '{part}' is recorded. Parts with lots: "
            f"{', '.join(followup.history.lots) or 'none'}."
        )
    found = _groups(followup, name)
    if name != part and not len(found.cat.categories):
        raise RequestError(
            f"The lots of {part} name no supplier. Write them as supplier-number, like NW-204."
        )
    return found


def _groups(followup: Followup, name: str) -> pd.Series:
    if name.startswith(SUPPLIER):
        return _suppliers(followup.values(f"lot_{name.removeprefix(SUPPLIER)}"))
    values = followup.values(name).cat
    kept = [level for level in values.categories if level != NOT_RECORDED]
    # In the order of names, never of how a file happened to list them.
    names = kept if values.ordered else sorted(kept, key=str)
    place = {level: code for code, level in enumerate(names)}
    new = np.array([place.get(level, -1) for level in values.categories], dtype=np.int64)
    return pd.Series(pd.Categorical.from_codes(new[values.codes.to_numpy()], names))


def _suppliers(lots: pd.Series) -> pd.Series:
    found = [_MAKER.match(str(lot)) for lot in lots.cat.categories]
    makers = [maker.group(1).upper() if maker else "" for maker in found]
    names = sorted(set(makers) - {""})
    place = {name: code for code, name in enumerate(names)}
    by_lot = np.array([place.get(maker, -1) for maker in makers])
    return pd.Series(pd.Categorical.from_codes(by_lot[lots.cat.codes.to_numpy()], names))
