"""Everything in a book as plain tables in a folder, and a book made again from them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
from pyarrow import csv
from sqlalchemy import Boolean, Connection, Float, Integer, Table
from sqlalchemy.engine import URL

from insights.errors import BookError, RequestError
from insights.harmless import MARK, RUN_AS_FORMULA
from insights.history.book import copying, steps
from insights.history.book.book import Book
from insights.history.book.engines import at_path, engine_for, reading, shown, url_of, writing
from insights.history.book.migrating import newest, refuse_filled, upgrade_within, version_of
from insights.history.book.packing import history_of
from insights.history.book.whole_files import whole_file, whole_folder
from insights.history.written import FORMS, write_history

LEFT_OUT = ("users", "sessions", "attempts", "drafts")
"""Passwords, and what is of the moment: a backup holds them, an export to be handed on does not."""

MANIFEST = "book.json"
_ROWS = 20_000
_FORMULA = rf"^({RUN_AS_FORMULA})"
_BEHIND_MARK = rf"^{MARK}({RUN_AS_FORMULA})"


@dataclass(frozen=True)
class Exported:
    """What a folder of tables holds.

    Parameters
    ----------
    form
        ``csv`` or ``parquet``.
    tables
        The version of the book's tables.
    exported_at
        When, UTC, as ISO 8601.
    counts
        Rows by table.
    digest
        Fingerprint of every cell.
    """

    form: str
    tables: str
    exported_at: str
    counts: dict[str, int]
    digest: str


def export_book(book: Book, folder: str | Path, form: str = "csv") -> Exported:
    """Write everything a book holds, as it stands at one moment, into a folder.

    Parameters
    ----------
    book
        Any book.
    folder
        To be made; there must be nothing there yet.
    form
        ``csv`` or ``parquet``.

    Returns
    -------
    Exported

    Raises
    ------
    BookError
        There is something at the folder, or it can't be written; nothing is left behind then.

    Notes
    -----
    One file a table with every version, record and counter, from which :func:`rebuild_book`
    makes the same book again; ``history``, the jobs as they stand under the history's headings;
    and ``book.json``, which says what there is. Times are microseconds since 1970, UTC. People
    and their passwords are left out (:data:`LEFT_OUT`).
    """
    if form not in FORMS:
        raise RequestError(f"'{form}' is no way to write tables. Use {' or '.join(FORMS)}.")
    settings = book.settings()
    with whole_folder(Path(folder)) as making, reading(book.engine, book.name) as connection:
        tables = copying.tables_of(connection, LEFT_OUT)
        for table in tables:
            rows = copying.rows_in_order(connection, table)
            _write(_batches(table, rows), _schema(table), making / f"{table.name}.{form}", form)
        jobs = steps.in_parts(connection, steps.current())
        history = history_of(jobs, settings.minor_digits, book.name, settings.currency)
        write_history(history, making / f"history.{form}", form)
        exported = Exported(
            form=form,
            tables=version_of(connection) or "",
            exported_at=datetime.now(UTC).isoformat(timespec="seconds"),
            counts=copying.counts(connection, tables),
            digest=copying.digest(connection, tables),
        )
        text = json.dumps(asdict(exported), indent=1, ensure_ascii=False)
        (making / MANIFEST).write_text(text + "\n", encoding="utf-8")
    return exported


def rebuild_book(folder: str | Path, target: str | Path) -> Exported:
    """Make a book again from an export.

    Parameters
    ----------
    folder
        As :func:`export_book` wrote it, by this version of the program or an earlier one.
    target
        A file at which there is nothing yet, or the address of an empty database.

    Returns
    -------
    Exported
        What the folder says it holds, and the book now does.

    Raises
    ------
    BookError
        The folder is no export, was changed since, or is of a later version; there is something
        at the target. Nothing is left behind then.
    """
    place = Path(folder)
    told = _manifest(place)
    url = url_of(target)
    if url.get_backend_name() == "sqlite":
        with whole_file(Path(shown(url))) as making:
            _rebuild(place, told, at_path(making), shown(url))
    else:
        _rebuild(place, told, url, shown(url))
    return told


def _rebuild(place: Path, told: Exported, url: URL, name: str) -> None:
    with engine_for(url) as engine:
        refuse_filled(engine, name)
        with writing(engine, name) as connection:
            upgrade_within(connection, told.tables)
            tables = copying.tables_of(connection, LEFT_OUT)
            for table in tables:
                copying.put_rows(connection, table, _read(place, table, told.form))
            copying.count_on(connection, tables)
            _compare(connection, tables, told, place)
            upgrade_within(connection)


def _compare(connection: Connection, tables: list[Table], told: Exported, place: Path) -> None:
    if copying.digest(connection, tables) != told.digest:
        raise BookError(
            f"The tables in {place} are not as they were written: something was changed since. "
            "Export again, or use a backup."
        )


def _manifest(place: Path) -> Exported:
    try:
        said = json.loads((place / MANIFEST).read_text(encoding="utf-8"))
        told = Exported(**said)
    except OSError as error:
        raise BookError(
            f"{place} is no export of a book: {MANIFEST} can't be read ({error.strerror})."
        ) from error
    except (ValueError, TypeError) as error:
        raise BookError(f"{place / MANIFEST} is not as it was written: {error}.") from error
    if told.form not in FORMS:
        raise BookError(f"{place / MANIFEST} is not as it was written: form '{told.form}'.")
    if told.tables > newest():
        raise BookError(
            f"{place} was written by a later version of this program (tables {told.tables}, this "
            f"one knows {newest()}). Update the program."
        )
    return told


def _schema(table: Table) -> pa.Schema:
    return pa.schema([(column.name, _arrow(column.type)) for column in table.columns])


def _arrow(kind: Any) -> pa.DataType:
    if isinstance(kind, Boolean):
        return pa.bool_()
    if isinstance(kind, Integer):
        return pa.int64()
    return pa.float64() if isinstance(kind, Float) else pa.string()


def _batches(table: Table, rows: Iterator[tuple[Any, ...]]) -> Iterator[pa.RecordBatch]:
    schema = _schema(table)
    while part := list(islice(rows, _ROWS)):
        cells = zip(*part, strict=True)
        arrays = [pa.array(cell, kind.type) for cell, kind in zip(cells, schema, strict=True)]
        yield pa.RecordBatch.from_arrays(arrays, schema=schema)


def _write(batches: Iterable[pa.RecordBatch], schema: pa.Schema, file: Path, form: str) -> None:
    if form == "parquet":
        with pq.ParquetWriter(file, schema) as writer:
            for batch in batches:
                writer.write_batch(batch)
        return
    # Every text is quoted and nothing else is, so that an empty text is told from none.
    with csv.CSVWriter(file, schema, write_options=csv.WriteOptions(quoting_style="needed")) as w:
        for batch in batches:
            w.write_batch(_each_text(batch, _FORMULA, rf"{MARK}\1"))


def _each_text(batch: pa.RecordBatch, pattern: str, by: str) -> pa.RecordBatch:
    arrays = [
        pc.replace_substring_regex(cells, pattern, by, max_replacements=1)
        if pa.types.is_string(cells.type)
        else cells
        for cells in batch.columns
    ]
    return pa.RecordBatch.from_arrays(arrays, schema=batch.schema)


def _read(place: Path, table: Table, form: str) -> Iterator[tuple[Any, ...]]:
    file = place / f"{table.name}.{form}"
    try:
        for batch in _batches_of(file, _schema(table), form):
            yield from zip(*(cells.to_pylist() for cells in batch.columns), strict=True)
    except (OSError, pa.ArrowException, KeyError) as error:
        raise BookError(f"{file} can't be read as it was written: {error}.") from error


def _batches_of(file: Path, schema: pa.Schema, form: str) -> Iterator[pa.RecordBatch]:
    if form == "parquet":
        yield from pq.ParquetFile(file).iter_batches(_ROWS, columns=schema.names)
        return
    reader = csv.open_csv(
        file,
        read_options=csv.ReadOptions(block_size=1 << 26),  # a row must fit into one block
        parse_options=csv.ParseOptions(newlines_in_values=True),
        convert_options=csv.ConvertOptions(
            column_types=schema,
            include_columns=schema.names,
            null_values=[""],
            strings_can_be_null=True,
            quoted_strings_can_be_null=False,
        ),
    )
    for batch in reader:
        yield _each_text(batch, _BEHIND_MARK, r"\1")
