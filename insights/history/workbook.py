"""Spreadsheet workbooks (XLSX)."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import date, datetime, time
from typing import Any

import numpy as np
import openpyxl
from openpyxl.utils.exceptions import InvalidFileException

from insights.errors import FormatQuestion, SourceError
from insights.history.declared import Declared
from insights.history.questions import SheetQuestion
from insights.history.raw import (
    Flaw,
    Raw,
    distinct_headings,
    text_table,
    titles_above,
    titles_remark,
)

_MOST_UNPACKED_BYTES = 2 << 30
_LARGEST_EXACT = 1e15


def read_workbook(name: str, data: bytes, declared: Declared) -> Raw:
    """Read one sheet of a workbook.

    Parameters
    ----------
    name
        The file's name, for messages.
    data
        Its content.
    declared
        Names the sheet, where several hold something, and the decimal mark that numbers are
        put into text with.

    Raises
    ------
    SourceError
        It is not a workbook, or holds no heading row.
    FormatQuestion
        Several sheets hold something and none is declared, or the declared one is not there.
    """
    with _library(name):
        _refuse_bomb(name, data)
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        filled = {sheet.title: list(_numbered(sheet)) for sheet in book.worksheets}
    title = _sheet(name, filled, declared)
    if not filled[title]:
        raise SourceError(f"{name} is empty. Give a sheet with a heading row and one row a job.")
    texts = [[_text(cell.value, declared) for cell in cells] for _, cells in filled[title][:50]]
    above = titles_above(texts)
    (_, heading), *body = filled[title][above:]
    # Cells after the last heading count too: nothing is dropped unseen.
    width = max(_used(cells) for _, cells in filled[title])
    headings = distinct_headings(_text(cell.value, declared) for cell in _wide(heading, width))
    columns: list[list[str | None]] = [[] for _ in range(width)]
    errors: dict[int, list[int]] = {}
    for place, (_, cells) in enumerate(body):
        for spot, cell in enumerate(_wide(cells, width)):
            columns[spot].append(_shown(cell, declared))
            if cell.data_type == "e":
                errors.setdefault(spot, []).append(place)
    rows = np.array([number for number, _ in body], dtype=np.int64)
    flaws = [
        Flaw(
            np.array(places),
            headings[spot],
            "the cell shows a spreadsheet error",
            "mend the formula, or empty the cell",
        )
        for spot, places in errors.items()
    ]
    flaws += _unsolved(name, data, title, rows, headings, columns)
    return Raw(text_table(headings, columns), rows, tuple(flaws), titles_remark(texts[:above]))


@contextmanager
def _library(name: str) -> Iterator[None]:
    """Turn whatever the workbook library meets in a spoiled file into one clear error."""
    try:
        # It warns about features of a workbook that don't concern its cells.
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", module="openpyxl")
            yield
    except (
        zipfile.BadZipFile,
        zlib.error,
        InvalidFileException,
        LookupError,
        ValueError,
        TypeError,
        AttributeError,
        EOFError,
        OSError,
        NotImplementedError,
        RuntimeError,
        SyntaxError,  # the XML parser's error is one
    ) as error:
        raise SourceError(
            f"{name} is not a readable XLSX workbook ({error}). Save it again as XLSX or CSV."
        ) from error


def _refuse_bomb(name: str, data: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        if sum(part.file_size for part in parts.infolist()) > _MOST_UNPACKED_BYTES:
            raise SourceError(f"{name} unpacks to more than 2 GB. Save the sheet as CSV.")


class _Empty:
    value = None
    data_type = "n"
    number_format = "General"


_EMPTY = _Empty()


def _wide(cells: Sequence[Any], width: int) -> list[Any]:
    return [*cells[:width], *[_EMPTY] * (width - len(cells))]


def _used(cells: Sequence[Any]) -> int:
    return max((spot for spot, cell in enumerate(cells, 1) if _holds(cell)), default=0)


def _holds(cell: Any) -> bool:
    return cell.value is not None and str(cell.value).strip() != ""


def _numbered(sheet: Any) -> Iterator[tuple[int, Sequence[Any]]]:
    """Walk the rows that hold something, with their numbers."""
    # The size a sheet states of itself is at times wrong, and would cut rows off.
    sheet.reset_dimensions()
    for number, cells in enumerate(sheet.iter_rows(), start=1):
        if any(_holds(cell) for cell in cells):
            yield number, cells


def _sheet(name: str, filled: Mapping[str, Sequence[Any]], declared: Declared) -> str:
    if declared.sheet is not None:
        if declared.sheet not in filled:
            raise FormatQuestion(
                f"{name} has no sheet {declared.sheet!r}; it has {', '.join(filled)}. "
                "Declare one of these."
            )
        return declared.sheet
    titles = [title for title, rows in filled.items() if rows]
    if len(titles) > 1:
        raise SheetQuestion(
            f"{name} has {len(titles)} sheets that hold something: {', '.join(titles)}. "
            "Declare which one is the job history.",
            titles,
        )
    if not titles:
        raise SourceError(f"{name} is empty. Give a sheet with a heading row and one row a job.")
    return titles[0]


def _shown(cell: Any, declared: Declared) -> str | None:
    value = cell.value
    zeros = isinstance(value, int) and re.fullmatch("0+", cell.number_format or "")
    if zeros and not isinstance(value, bool):
        return str(value).zfill(len(cell.number_format))
    return _text(value, declared)


def _text(value: Any, declared: Declared) -> str | None:
    """Put a cell's value into the text a person would have typed."""
    if value is None:
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        if value.is_integer() and abs(value) < _LARGEST_EXACT:
            return str(int(value))
        return repr(value).replace(".", declared.decimal)
    if isinstance(value, datetime):
        return value.isoformat(sep=" ").removesuffix(" 00:00:00")
    if isinstance(value, date | time):
        return value.isoformat()
    return str(value) or None


def _unsolved(
    name: str,
    data: bytes,
    title: str,
    rows: np.ndarray,
    headings: Sequence[str],
    columns: list[list[str | None]],
) -> list[Flaw]:
    """Find formulas whose result is not stored, and show the formula in the cell's place."""
    with _library(name):
        if not _may_hold_formulas(data):
            return []
        book = openpyxl.load_workbook(io.BytesIO(data), read_only=True)
        formulas = [
            (number, spot, str(cell.value))
            for number, cells in _numbered(book[title])
            for spot, cell in enumerate(cells[: len(columns)])
            if cell.data_type == "f"
        ]
    place_of = {int(number): place for place, number in enumerate(rows)}
    found: dict[int, list[int]] = {}
    for number, spot, formula in formulas:
        place = place_of.get(number)
        if place is not None and columns[spot][place] is None:
            columns[spot][place] = formula
            found.setdefault(spot, []).append(place)
    return [
        Flaw(
            np.array(places),
            headings[spot],
            "the cell is a formula whose result is not stored in the file",
            "open and save the workbook in a spreadsheet program, or paste the values",
        )
        for spot, places in found.items()
    ]


def _may_hold_formulas(data: bytes) -> bool:
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        sheets = [part for part in parts.namelist() if part.startswith("xl/worksheets/")]
        return any(re.search(rb"<f[ />]", parts.read(part)) for part in sheets)
