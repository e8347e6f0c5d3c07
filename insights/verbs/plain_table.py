"""A frame as aligned text, for a terminal."""

from __future__ import annotations

import pandas as pd

NOT_KNOWN = "–"
MOST_ROWS = 40
WIDEST = 80
CHANCES = ("p", "adjusted_p")
SMALLEST_CHANCE = 0.0001


def plain_table(frame: pd.DataFrame) -> str:
    """Lay a frame out in aligned columns.

    Parameters
    ----------
    frame
        Any frame. Columns ending in ``share``, and ``low`` and ``high``, are printed with four
        decimals; what is missing as a dash.

    Returns
    -------
    str
        At most 40 rows; a last line says how many more there are.
    """
    shown = frame.head(MOST_ROWS)
    columns = [
        [str(name), *(_cell(value, name in CHANCES) for value in shown[name])]
        for name in shown.columns
    ]
    right = [pd.api.types.is_numeric_dtype(shown[name]) for name in shown.columns]
    widths = [max(map(len, column)) for column in columns]
    lines = [
        "  ".join(
            cell.rjust(width) if numeric else cell.ljust(width)
            for cell, width, numeric in zip(row, widths, right, strict=True)
        ).rstrip()
        for row in zip(*columns, strict=True)
    ]
    if len(frame) > MOST_ROWS:
        lines.append(f"... and {len(frame) - MOST_ROWS} more (all of them with --json)")
    return "\n".join(lines)


def _cell(value: object, is_chance: bool) -> str:
    if pd.isna(value):
        return NOT_KNOWN
    if is_chance and isinstance(value, float) and value < SMALLEST_CHANCE:
        return f"<{SMALLEST_CHANCE}"
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d}"
    if isinstance(value, float):
        return f"{value:.0f}" if value.is_integer() and abs(value) >= 1 else f"{value:.4f}"
    text = " ".join(str(value).split())
    return text if len(text) <= WIDEST else text[: WIDEST - 1] + "…"
