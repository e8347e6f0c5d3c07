"""A path or a name with bytes -> cells as text, whatever the kind of file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from insights.errors import SourceError
from insights.history.declared import Declared
from insights.history.delimited import read_delimited
from insights.history.raw import TEXT, Raw, distinct_headings, each_once
from insights.history.refusals import REASONS

Source = str | Path | tuple[str, bytes]

# What a file is, is told by its first bytes, not by its name.
_LOOKED_AT = 1024
_OTHERS = (
    (b"\xd0\xcf\x11\xe0", "an old .xls workbook, or one locked with a password"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"GIF8", "a picture"),
    (b"%PDF", "a PDF document"),
    (b"\x1f\x8b", "a compressed file"),
    (b"SQLite format 3\0", "a database"),
)


def open_source(source: Source) -> tuple[str, bytes]:
    """Fetch a source's name and content.

    Parameters
    ----------
    source
        A path, or a name with the bytes (an uploaded file).

    Raises
    ------
    SourceError
        There is no such file, or it can't be opened.
    """
    if isinstance(source, tuple):
        name, data = source
        return Path(name).name, bytes(data)
    path = Path(source)
    try:
        return path.name, path.read_bytes()
    except FileNotFoundError as error:
        raise SourceError(f"{path} is not there. Check the path.") from error
    except IsADirectoryError as error:
        raise SourceError(f"{path} is a folder. Name a file in it.") from error
    except (OSError, ValueError) as error:
        raise SourceError(f"{path} can't be opened: {error}.") from error


def read_raw(source: Source, declared: Declared | None = None) -> Raw:
    """Read a CSV, XLSX or Parquet file into cells of text.

    Parameters
    ----------
    source
        A path, or a name with the bytes.
    declared
        How to read it.

    Raises
    ------
    SourceError
        The file can't be read as a table at all.
    FormatQuestion
        It can be read in more than one way.
    """
    declared = declared or Declared()
    name, data = open_source(source)
    if not data[:_LOOKED_AT].strip() and not data.strip():
        raise SourceError(f"{name} is empty. Give a file with a heading row and one row a job.")
    for mark, kind in _OTHERS:
        if data.startswith(mark):
            raise SourceError(f"{name} is {kind}, not a table. Give a CSV, XLSX or Parquet file.")
    if data.startswith(b"PK\x03\x04"):
        # The workbook library takes a while to import, which only a workbook should cost.
        from insights.history.workbook import read_workbook

        raw = read_workbook(name, data, declared)
    elif data.startswith(b"PAR1"):
        raw = _read_parquet(name, data, declared)
    else:
        raw = read_delimited(name, data)
    raw = _without_blank_rows(_without_reasons(raw))
    if raw.table.num_rows == 0:
        raise SourceError(f"{name} has a heading row but no jobs below it. Give at least one row.")
    return raw


def _read_parquet(name: str, data: bytes, declared: Declared) -> Raw:
    try:
        file = pq.ParquetFile(pa.BufferReader(data))
        columns = [_as_text(column, declared) for column in _columns(file)]
    except (pa.ArrowException, OSError) as error:
        raise SourceError(f"{name} is not a readable Parquet file ({error}).") from error
    headings = distinct_headings(file.schema_arrow.names)
    rows = np.arange(2, file.metadata.num_rows + 2)
    return Raw(pa.Table.from_arrays(columns, names=headings), rows)


def _columns(file: pq.ParquetFile) -> Iterator[pa.ChunkedArray]:
    """Read one column after the other: all of them typed and as text take twice the room."""
    names = file.schema_arrow.names
    paths = [file.schema.column(place).path for place in range(len(file.schema))]
    if paths != names or len(set(names)) < len(names) or "." in "".join(names):
        yield from file.read().columns
        return
    for name in names:
        yield file.read(columns=[name]).column(0)


def _as_text(column: pa.ChunkedArray, declared: Declared) -> pa.Array:
    kind = column.type
    if pa.types.is_nested(kind) or pa.types.is_binary(kind) or pa.types.is_large_binary(kind):
        shown = [None if value is None else str(value) for value in column.to_pylist()]
        return pa.array(shown, type=TEXT)
    if pa.types.is_null(kind):
        return pa.nulls(len(column), TEXT)
    # Each distinct value is written once, and kept once where there are few.
    encoded = column if pa.types.is_dictionary(kind) else column.dictionary_encode()
    cells = pa.concat_arrays(encoded.unify_dictionaries().chunks or [pa.array([], encoded.type)])
    texts = _written(cells.dictionary, declared)
    if len(texts) > len(cells) // 2:
        return texts.take(cells.indices)
    return each_once(cells.indices, texts)


def _written(values: pa.Array, declared: Declared) -> pa.Array:
    """Write values as text, null where there is nothing."""
    kind = values.type
    if pa.types.is_boolean(kind):
        return pc.if_else(values, "yes", "no").cast(TEXT)
    if pa.types.is_timestamp(kind):
        local = pc.local_timestamp(values) if kind.tz else values
        return pc.strftime(local.cast(pa.timestamp("s"), safe=False), "%Y-%m-%d").cast(TEXT)
    if pa.types.is_floating(kind):
        whole = values.cast(pa.float64())
        known = pc.if_else(pc.is_nan(whole), pa.scalar(None, pa.float64()), whole)
        return pc.replace_substring(known.cast(TEXT), ".", declared.decimal)
    if pa.types.is_decimal(kind):
        return pc.replace_substring(values.cast(TEXT), ".", declared.decimal)
    text = values.cast(TEXT)
    return pc.if_else(pc.equal(text, ""), pa.scalar(None, TEXT), text)


def _without_reasons(raw: Raw) -> Raw:
    """Take off what a file of refused rows was given in front, so that it loads once mended."""
    if raw.headings[: len(REASONS)] != REASONS or len(raw.headings) == len(REASONS):
        return raw
    return replace(raw, table=raw.table.drop_columns(list(REASONS)))


def _without_blank_rows(raw: Raw) -> Raw:
    """Drop the rows in which every cell is empty; the others keep their numbers."""
    blank = np.arange(raw.table.num_rows)
    for column in raw.table.columns:
        cells = column if len(blank) == len(column) else column.take(pa.array(blank))
        blank = blank[cells.is_null().to_numpy()]
        if not len(blank):
            return raw
    flawed = [flaw.rows for flaw in raw.flaws]
    blank = np.setdiff1d(blank, np.concatenate(flawed) if flawed else blank[:0])
    keep = np.ones(raw.table.num_rows, dtype=bool)
    keep[blank] = False
    shift = np.cumsum(~keep)
    flaws = tuple(replace(flaw, rows=flaw.rows - shift[flaw.rows]) for flaw in raw.flaws)
    return Raw(raw.table.filter(pa.array(keep)), raw.rows[keep], flaws, raw.remarks)
