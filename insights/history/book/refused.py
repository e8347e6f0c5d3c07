"""Rows of added files that could not be used: kept in the book until they are mended or dropped."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, datetime
from typing import Any

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

from insights.errors import EntryError, RequestError
from insights.history.book import steps
from insights.history.book.book import Book
from insights.history.book.engines import writing
from insights.history.book.entries import BookJob, Record, as_job
from insights.history.book.kinds import REFUSED
from insights.history.book.packing import has_more_digits
from insights.history.book.people import WRITERS, Person
from insights.history.book.tables import MONEY
from insights.history.dates import ISO
from insights.history.declared import Declared
from insights.history.intake import read_history
from insights.history.raw import TEXT
from insights.history.refusals import REASONS
from insights.history.values import trimmed

_GIVEN = " (given)"
_PROBLEM, _REMEDY = "an amount with more than {} decimals", "write it with at most {}"


@dataclass(frozen=True)
class RefusedRow:
    """A row that waits to be mended.

    Parameters
    ----------
    key, number
        Its fingerprint, and which version of the record it is.
    source, row
        The file it came from and its row there, as a spreadsheet counts; None where only its job
        number is known.
    job_id
        The job's number as given; may be empty.
    problem, remedy
        What is wrong, and what to do.
    cells
        The source's heading -> the text given, in the source's order.
    declared
        How the file was read.
    kept_at, kept_by
        When (UTC) and by whom it was added.
    """

    key: str
    number: int
    source: str
    row: int | None
    job_id: str
    problem: str
    remedy: str
    cells: Mapping[str, str]
    declared: Declared
    kept_at: datetime
    kept_by: str


def refused_rows(book: Book) -> tuple[RefusedRow, ...]:
    """List the rows that wait to be mended, in the order in which they came."""
    return tuple(
        _as_row(record) for record in book.all_of(REFUSED).values() if record.body is not None
    )


def refused_row(book: Book, key: str) -> RefusedRow:
    """Find one row that waits to be mended.

    Raises
    ------
    RequestError
        There is none under this key, or it was mended or dropped.
    """
    record = book.get(REFUSED, key)
    if record is None or record.body is None:
        raise RequestError(f"No refused row {key} waits in {book.name}. List them to see which do.")
    return _as_row(record)


def as_given(rows: Sequence[RefusedRow]) -> pd.DataFrame:
    """Put waiting rows into one table, to be mended in a spreadsheet and added again.

    Returns
    -------
    pandas.DataFrame
        ``row``, ``problem``, ``remedy``, then the cells under the headings of their files.
    """
    lines = [
        {**dict(zip(REASONS, (row.row, row.problem, row.remedy), strict=True)), **row.cells}
        for row in rows
    ]
    return pd.DataFrame(lines, columns=None if lines else list(REASONS), dtype=object)


def mend(
    book: Book,
    row: RefusedRow,
    cells: Mapping[str, str],
    *,
    by: Person,
    token: str | None = None,
    today: date | None = None,
) -> BookJob:
    """Store a refused row as a job, once its cells are right.

    Parameters
    ----------
    book
        An open book.
    row
        The row, as it was read.
    cells
        Heading -> corrected text; the others stay as given.
    by
        Who mends it.
    token
        The same one twice stores once.
    today
        No date may lie after it; None: by this machine's clock.

    Returns
    -------
    BookJob
        The job stored; the row waits no more.

    Raises
    ------
    EntryError
        Cells that are still not right, or the job's number is taken.
    ChangedMeanwhile
        Someone mended or dropped it since.
    RequestError
        A heading that the row has not.
    """
    by.must_be(WRITERS)
    unknown = [heading for heading in cells if heading not in row.cells]
    if unknown:
        raise RequestError(f"The row has no {', '.join(unknown)}. It has {', '.join(row.cells)}.")
    digits = book.settings().minor_digits
    values = _read({**row.cells, **cells}, row.declared, digits, today)
    with writing(book.engine, book.name) as connection:
        stored = steps.by_token(connection, token)
        if stored is None:
            steps.refuse_taken(connection, values["job_id"])
            stored = steps.add(
                connection, steps.Entry(values, {}, 1, by.name, token, "mended"), digits
            )
            steps.put_record(connection, REFUSED, row.key, None, by=by.name, expected=row.number)
    return as_job(stored, digits)


def drop(book: Book, row: RefusedRow, *, by: Person) -> None:
    """Take a row off the list without storing it: it is no job, or stands elsewhere.

    Raises
    ------
    ChangedMeanwhile
        Someone mended or dropped it since.
    """
    book.put(REFUSED, row.key, None, by=by, expected=row.number)


def finer_than(jobs: pd.DataFrame, digits: int) -> dict[str, pd.Series]:
    """Find amounts with more decimals than the currency's minor unit has.

    Returns
    -------
    dict of pandas.Series
        By column: True for each such job.
    """
    found = {}
    for name in MONEY:
        distinct = jobs[name].dropna().unique()
        finer = [amount for amount in distinct if has_more_digits(amount, digits)]
        if finer:
            found[name] = jobs[name].isin(finer)
    return found


def too_fine(digits: int) -> tuple[str, str]:
    """Say what is wrong with such an amount, and what to do."""
    return _PROBLEM.format(digits), _REMEDY.format(digits)


def key_of(cells: Mapping[str, str]) -> str:
    """Give a row's fingerprint: the same cells, the same key, whatever row and file they are in."""
    filled = sorted((heading, text) for heading, text in cells.items() if text)
    return hashlib.sha256(json.dumps(filled).encode()).hexdigest()[:24]


def cells_of(given: Mapping[str, Any]) -> dict[str, str]:
    """Take a row's own cells out of a line of ``History.refused_rows``."""
    cells = {
        str(heading).removesuffix(_GIVEN): "" if pd.isna(cell) else str(cell)
        for heading, cell in given.items()
        if heading not in REASONS
    }
    # As reading a file does, so that a row that went through a spreadsheet keeps its key.
    texts = trimmed(pa.chunked_array([pa.array(list(cells.values()), type=TEXT)])).to_pylist()
    return {heading: text or "" for heading, text in zip(cells, texts, strict=True)}


def body_of(
    line: Mapping[str, Any], cells: Mapping[str, str], job_id: str, source: str, declared: Declared
) -> dict[str, Any]:
    """Write what the book keeps of a refused row."""
    return {
        "source": source,
        "row": None if pd.isna(line["row"]) else int(line["row"]),
        "job_id": job_id,
        "problem": line["problem"],
        "remedy": line["remedy"],
        "headings": list(cells),
        "cells": dict(cells),
        "declared": asdict(declared),
    }


def _as_row(record: Record) -> RefusedRow:
    body = record.body
    return RefusedRow(
        key=record.key,
        number=record.number,
        source=body["source"],
        row=body["row"],
        job_id=body["job_id"],
        problem=body["problem"],
        remedy=body["remedy"],
        cells={heading: body["cells"][heading] for heading in body["headings"]},
        declared=Declared(**body["declared"]),
        kept_at=record.saved_at,
        kept_by=record.saved_by,
    )


def _read(
    cells: Mapping[str, str], declared: Declared, digits: int, today: date | None
) -> dict[str, Any]:
    """Read one row by the rules of a file's.

    Raises
    ------
    EntryError
        What is still wrong.
    """
    # A lone date in another format would be asked about; here it is only to be refused again.
    declared = replace(declared, date_format=declared.date_format or ISO)
    table = pa.table({name: pa.array([text or None], type=TEXT) for name, text in cells.items()})
    written = io.BytesIO()
    pq.write_table(table, written)
    history = read_history(("row.parquet", written.getvalue()), declared, today=today)
    problems = [
        (line.column, line.value, line.problem, line.remedy)
        for line in history.refused.itertuples(index=False)
    ]
    problem, remedy = too_fine(digits)
    for name, finer in finer_than(history.jobs, digits).items():
        problems += [(name, str(amount), problem, remedy) for amount in history.jobs[name][finer]]
    if problems:
        raise EntryError(tuple(problems))
    job = history.jobs.iloc[0]
    return {str(name): value for name, value in job.items() if not pd.isna(value)}
