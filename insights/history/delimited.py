"""Text files: comma, semicolon, tab or bar between the cells."""

from __future__ import annotations

import csv
import io
import itertools
import re
from collections import Counter
from dataclasses import replace
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from pyarrow import csv as arrow_csv

from insights.errors import SourceError
from insights.history.raw import (
    TEXT,
    Flaw,
    Raw,
    distinct_headings,
    titles_above,
    titles_remark,
)

DELIMITERS = (",", ";", "\t", "|")
# One block is parsed at a time; a row must fit into one.
_BLOCK_BYTES = 1 << 24
_SNIFFED_BYTES = 1 << 16
_MOST_BYTES = (1 << 31) - 1
_UTF8_MARK = b"\xef\xbb\xbf"
_UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")


def read_delimited(name: str, data: bytes) -> Raw:
    """Read delimited text: UTF-8, UTF-16 with its mark, or else cp1252.

    Parameters
    ----------
    name
        The file's name, for messages.
    data
        Its content.

    Raises
    ------
    SourceError
        It is not text, it is empty, or it can't be cut into rows.
    """
    data, remarks = _as_utf8(name, data)
    data, delimiter, skipped = _without_preamble(data)
    if not data:
        raise SourceError(f"{name} is empty. Give a file with a heading row and one row a job.")
    if not data.endswith((b"\n", b"\r")):
        data += b"\n"
    delimiter = delimiter or _sniff(data)
    data, lines, titles = _without_titles(data, delimiter)
    skipped += lines
    remarks += titles_remark(titles)
    try:
        width = len(next(_rows(data, delimiter)))
    except csv.Error as error:
        raise SourceError(f"{name} has no readable heading row: {error}.") from error
    table, numbers, ragged = _parse(name, data, delimiter, width)
    table, numbers, flaws = _with_ragged(table, numbers, ragged, delimiter)
    headings = distinct_headings(cell.as_py() for cell in (col[0] for col in table.columns))
    table = table.slice(1).rename_columns(headings)
    swallowed = _swallowed(table, delimiter)
    told = np.concatenate([np.empty(0, dtype=int), *(flaw.rows for flaw in swallowed)])
    misfits = (replace(flaw, rows=np.setdiff1d(flaw.rows - 1, told)) for flaw in flaws)
    flaws = (*swallowed, *misfits)
    return Raw(table, numbers[1:] + skipped, flaws, remarks)


def _as_utf8(name: str, data: bytes) -> tuple[bytes, tuple[tuple[str, str], ...]]:
    if data.startswith(_UTF16_MARKS):
        try:
            return data.decode("utf-16").encode(), ()
        except UnicodeDecodeError as error:
            raise SourceError(f"{name} begins as UTF-16 text but is not. Save it again.") from error
    data = data.removeprefix(_UTF8_MARK)
    _refuse_binary(name, data[:_SNIFFED_BYTES])
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        pass
    else:
        return data, ()
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError as error:
        raise SourceError(
            f"{name} is text in neither UTF-8 nor Windows-1252 (byte {error.start + 1} fits "
            "neither). Save it as CSV in UTF-8."
        ) from error
    remark = (
        "encoding",
        "The file is not UTF-8 and was read as Windows-1252; check accented letters.",
    )
    return text.encode(), (remark,)


def _refuse_binary(name: str, opening: bytes) -> None:
    odd = sum(opening.count(code) for code in range(32) if code not in b"\t\n\r\x0b\x0c")
    if b"\0" in opening or odd > len(opening) / 50:
        raise SourceError(
            f"{name} is not text, whatever its name says (a picture or a document, perhaps). "
            "Give a CSV, XLSX or Parquet file."
        )


def _without_preamble(data: bytes) -> tuple[bytes, str | None, int]:
    """Cut blank lines and a ``sep=`` line off the top; count them."""
    delimiter = None
    declared = re.match(rb"(?:[ \t]*\r?\n)*sep=([,;|\t])\r?\n", data)
    skipped = 0
    if declared:
        delimiter = declared.group(1).decode()
        skipped = declared.group().count(b"\n")
        data = data[declared.end() :]
    blank = re.match(rb"(?:[ \t,;|]*(?:\r\n|\n|\r))*", data)
    if blank and blank.group():
        skipped += len(re.findall(rb"\r\n|\n|\r", blank.group()))
        data = data[blank.end() :]
    return data, delimiter, skipped


def _without_titles(data: bytes, delimiter: str) -> tuple[bytes, int, list[list[str]]]:
    """Cut the rows above the heading row; count their lines, and keep what they say."""
    titles = []
    try:
        above = titles_above(_rows(data, delimiter))
        reader = _rows(data, delimiter)
        titles = [next(reader) for _ in range(above)]
    except csv.Error:
        return data, 0, []  # cutting into rows says what is wrong
    lines = reader.line_num
    head = data[:_SNIFFED_BYTES].splitlines(keepends=True)[:lines]
    return data[sum(map(len, head)) :], lines, titles


def _rows(data: bytes, delimiter: str) -> Any:
    """Read the first rows of a text, of which the last may be cut short."""
    return csv.reader(io.StringIO(_opening(data), newline=""), delimiter=delimiter)


def _opening(data: bytes) -> str:
    return data[:_SNIFFED_BYTES].decode("utf-8", errors="ignore")


def _sniff(data: bytes) -> str:
    """Choose the delimiter that cuts the first rows most evenly, then the widest."""

    def merit(delimiter: str) -> tuple[float, int]:
        try:
            rows = [row for row in itertools.islice(_rows(data, delimiter), 50) if row]
        except csv.Error:
            return (0.0, 0)
        widths = [len(row) for row in rows[titles_above(rows) :]]
        if not widths or widths[0] == 1:
            return (0.0, 0)
        return (round(Counter(widths)[widths[0]] / len(widths), 1), widths[0])

    return max(DELIMITERS, key=merit)


_Ragged = list[tuple[int, str]]


def _parse(
    name: str, data: bytes, delimiter: str, width: int
) -> tuple[pa.Table, np.ndarray, _Ragged]:
    """Cut into cells; rows of another width are handed back with their number and text."""
    if len(data) > _MOST_BYTES:
        raise SourceError(f"{name} is larger than 2 GB. Give it in parts, or as Parquet.")
    ragged: _Ragged = []

    def keep(row: arrow_csv.InvalidRow) -> str:
        ragged.append((row.number, row.text))
        return "skip"

    def read(block_bytes: int) -> pa.Table:
        ragged.clear()
        return arrow_csv.read_csv(
            pa.BufferReader(data),
            # Row numbers of odd rows are known to a single thread only.
            read_options=arrow_csv.ReadOptions(
                use_threads=False, autogenerate_column_names=True, block_size=block_bytes
            ),
            parse_options=arrow_csv.ParseOptions(
                delimiter=delimiter,
                newlines_in_values=True,
                ignore_empty_lines=False,
                invalid_row_handler=keep,
            ),
            convert_options=arrow_csv.ConvertOptions(
                column_types={f"f{place}": TEXT for place in range(width)},
                strings_can_be_null=True,
                null_values=[""],
                check_utf8=False,
            ),
        )

    try:
        try:
            table = read(_BLOCK_BYTES)
        except pa.ArrowInvalid:
            # A row longer than a block: take the file as one block.
            table = read(max(len(data) + 1, _BLOCK_BYTES))
    except pa.ArrowInvalid as error:
        raise SourceError(
            f"{name} can't be cut into rows ({error}). A quotation mark is probably not closed."
        ) from error
    if table.num_columns != width:
        raise SourceError(
            f"{name} has a heading row that can't be cut into cells. Check its quotation marks."
        )
    numbers = np.arange(1, table.num_rows + len(ragged) + 1)
    if ragged:
        odd = np.array([number for number, _ in ragged])
        numbers = np.concatenate([np.setdiff1d(numbers, odd, assume_unique=True), odd])
    return table, numbers, ragged


def _with_ragged(
    table: pa.Table, numbers: np.ndarray, ragged: _Ragged, delimiter: str
) -> tuple[pa.Table, np.ndarray, tuple[Flaw, ...]]:
    """Put rows of another width back in their place: whole if only empty cells are over."""
    if not ragged:
        return table, numbers, ()
    width = table.num_columns
    cells = [_cells(text, delimiter) for _, text in ragged]
    problems: dict[tuple[str, str], list[int]] = {}
    fitted = []
    for place, row in enumerate(cells, start=table.num_rows):
        if len(row) > width and not any(row[width:]):
            fitted.append(row[:width])
            continue
        problems.setdefault(_misfit(len(row), width), []).append(place)
        padded = row + [""] * (width - len(row))
        fitted.append([*padded[: width - 1], delimiter.join(padded[width - 1 :])])
    columns = list(zip(*fitted, strict=True))
    extra = [pa.array([cell or None for cell in column], type=TEXT) for column in columns]
    both = pa.concat_tables([table, pa.Table.from_arrays(extra, names=table.column_names)])
    order = np.argsort(numbers, kind="stable")
    place_of = np.empty(len(order), dtype=np.int64)
    place_of[order] = np.arange(len(order))
    flaws = tuple(
        Flaw(place_of[np.array(places)], "", problem, remedy)
        for (problem, remedy), places in problems.items()
    )
    return both.take(pa.array(order)), numbers[order], flaws


def _cells(text: str, delimiter: str) -> list[str]:
    # The csv module's limit on the length of a cell is one for the whole process.
    limit = csv.field_size_limit(_MOST_BYTES)
    try:
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        return [cell for row in rows for cell in row]
    finally:
        csv.field_size_limit(limit)


def _misfit(found: int, width: int) -> tuple[str, str]:
    kind = "more" if found > width else "fewer"
    return (
        f"the row has {kind} cells than the {width} headings",
        "put quotation marks around cells that hold the separator, or add the separators missing",
    )


def _swallowed(table: pa.Table, delimiter: str) -> tuple[Flaw, ...]:
    """Find cells that hold whole rows: a quotation mark was opened and not closed."""
    if table.num_columns == 1:
        return ()
    other = f"[^{re.escape(delimiter)}\n]*"
    whole_row = f"\n(?:{other}{re.escape(delimiter)}){{{min(table.num_columns - 1, 900)}}}"
    flaws = []
    for heading, column in zip(table.column_names, table.columns, strict=True):
        broken = pc.match_substring(column, "\n")
        if not pc.any(broken).as_py():
            continue
        lines = np.flatnonzero(broken.fill_null(False).to_numpy())
        full = pc.match_substring_regex(column.take(pa.array(lines)), whole_row)
        rows = lines[full.to_numpy(zero_copy_only=False)]
        if len(rows):
            flaws.append(
                Flaw(
                    rows,
                    heading,
                    "the cell holds whole rows: its quotation mark is not closed",
                    "close the quotation mark in this row and load the file again",
                )
            )
    return tuple(flaws)
