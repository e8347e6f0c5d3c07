"""The tables of how the program was checked, in words for people."""

from __future__ import annotations

import pandas as pd

from insights.checked import Checked, Measured
from insights.wording import day_of, whole
from insights.wording.checked import LIBRARIES, ROOMS, allowed, apart, number

SHARE = "_share"


def of_sources(checked: Checked) -> pd.DataFrame:
    """List the outside works, those with the most values first, general libraries last."""
    by_work = checked.outside.groupby("work").agg(
        comparisons=("what", "size"), values=("values", "sum")
    )
    by_work = by_work.assign(library=by_work.index.isin(LIBRARIES)).sort_values(
        ["library", "values"], ascending=[True, False], kind="stable"
    )
    by_work = by_work.reset_index()
    return pd.DataFrame(
        {
            "Source": by_work["work"],
            "Comparisons": by_work["comparisons"].map(whole),
            "Values": by_work["values"].map(whole),
        }
    )


def of_outside(checked: Checked) -> dict[str, pd.DataFrame]:
    """List the comparisons by the room of the program they are about."""
    rows = checked.outside
    rooms = [room for room in ROOMS if (rows["room"] == room).any()]
    return {room: _comparisons(rows[rows["room"] == room]) for room in rooms}


def of_measured(table: Measured) -> pd.DataFrame:
    """Write a table of figures for people: shares in percent, names without their units."""
    return pd.DataFrame(
        {
            _heading(str(name)): [_cell(str(name), value) for value in table.rows[name]]
            for name in table.rows
        }
    )


def _comparisons(rows: pd.DataFrame) -> pd.DataFrame:
    return pd.DataFrame(
        [
            {
                "What": row.what,
                "Expected": number(row.expected),
                "Found": number(row.found),
                "Difference": apart(row.difference),
                "Allowed": allowed(row.allowed_abs, row.allowed_rel),
                "Values": whole(row.values),
                "Source": row.source,
                "Checked on": day_of(row.date),
            }
            for row in rows.itertuples(index=False)
        ]
    )


def _heading(name: str) -> str:
    words = name.removesuffix(SHARE).replace("_pp", ", points of 100").replace("_", " ")
    return words[:1].upper() + words[1:]


def _cell(name: str, value: object) -> str:
    if not isinstance(value, int | float):
        return "" if value is None else str(value)
    if pd.isna(value):
        return ""
    if name.endswith(SHARE):
        return f"{100 * value:.1f}%"
    return whole(value) if float(value).is_integer() else f"{value:.4g}"
