"""Cells that a spreadsheet would run as a formula, made plain text: the one home of the rule.

Whatever the program writes for a spreadsheet goes through here, because what stands in a job card
was typed by anyone: a customer's complaint may begin like a formula.
"""

from __future__ import annotations

import re

import pandas as pd

MARK = "'"
RUN_AS_FORMULA = r"'*[=+\-@\t\r\n]"
"""What the text of such a cell begins with, apostrophes of its own before the sign included."""

_RUN_AS_FORMULA = re.compile(RUN_AS_FORMULA)


def harmless(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet would take for a formula.

    One that begins with apostrophes and then such a sign gets one more, so that taking one off
    again, as reading a file does, gives back every text as it was.

    Parameters
    ----------
    text
        A cell's text.

    Returns
    -------
    str
        The text, or the text behind an apostrophe.
    """
    return f"{MARK}{text}" if _RUN_AS_FORMULA.match(text) else text


def harmless_frame(frame: pd.DataFrame) -> pd.DataFrame:
    """Make every text of a frame harmless, its headings too; numbers and dates stay as they are.

    Parameters
    ----------
    frame
        About to be written for a spreadsheet.

    Returns
    -------
    pandas.DataFrame
        A frame of its own where anything had to change; missing cells stay missing.
    """
    columns = [_harmless_cells(frame.iloc[:, place]) for place in range(frame.shape[1])]
    safe = pd.concat(columns, axis=1) if columns else frame.copy()
    safe.columns = pd.Index([_harmless_cell(name) for name in frame.columns])
    return safe


def _harmless_cells(cells: pd.Series) -> pd.Series:
    if isinstance(cells.dtype, pd.CategoricalDtype):
        cells = cells.astype(cells.cat.categories.dtype)
    if pd.api.types.is_string_dtype(cells.dtype) or pd.api.types.is_object_dtype(cells.dtype):
        return cells.map(_harmless_cell, na_action="ignore")
    return cells


def _harmless_cell(cell: object) -> object:
    return harmless(cell) if isinstance(cell, str) else cell
