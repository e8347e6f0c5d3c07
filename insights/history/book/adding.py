"""A file's jobs go into the book once; what can't be used waits there to be mended."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import Connection, insert

from insights.errors import FormatQuestion
from insights.history.book import steps
from insights.history.book.book import Book
from insights.history.book.engines import now_us, writing
from insights.history.book.entries import Record, Settings, new_token
from insights.history.book.erasing import ERASED
from insights.history.book.kinds import REFUSED
from insights.history.book.packing import rows_of
from insights.history.book.people import WRITERS, Person
from insights.history.book.refused import body_of, cells_of, finer_than, key_of, too_fine
from insights.history.book.tables import PERSONAL, records
from insights.history.declared import Declared, recall
from insights.history.files import Source
from insights.history.intake import read_history
from insights.history.merging import merge
from insights.history.schema import REFUSAL_COLUMNS, History
from insights.notes import Note


@dataclass(frozen=True)
class Added:
    """What became of a file's rows.

    ``given`` is the sum of ``added``, ``known``, ``differing``, ``refused`` and ``repeated``.

    Parameters
    ----------
    source
        The file.
    given
        Rows that hold anything.
    added
        Jobs new to the book.
    known
        Jobs that the book holds with the same content: nothing changed.
    differing
        Jobs that the book holds with other content: the book's stand.
    refused
        Rows that can't be used.
    kept
        Of those, how many are newly kept to be mended; the others are kept, mended or dropped
        already.
    repeated
        Rows that repeat another row of the file exactly.
    mended
        Rows that were kept earlier and whose job came with this file.
    table
        One line a problem of the refused and the differing, under
        :data:`insights.history.schema.REFUSAL_COLUMNS`.
    notes
        What a reader should know.
    """

    source: str
    given: int
    added: int
    known: int
    differing: int
    refused: int
    kept: int
    repeated: int
    mended: int
    table: pd.DataFrame
    notes: tuple[Note, ...]


def add_file(
    book: Book,
    source: Source,
    declared: Declared | None = None,
    *,
    by: Person,
    today: date | None = None,
) -> Added:
    """Add a file's jobs to a book.

    Parameters
    ----------
    book
        An open book.
    source, declared, today
        As for :func:`insights.history.intake.read_history`.
    by
        Who adds it.

    Returns
    -------
    Added

    Raises
    ------
    SourceError, HeadingsError, FormatQuestion
        The file can't be read, or states another currency than the book.
    NotAllowed, BookError
        The role may not write; the database refused.
    """
    history = read_history(source, declared, today=today)
    return add_history(book, history, declared, by=by)


def add_history(
    book: Book, history: History, declared: Declared | None = None, *, by: Person
) -> Added:
    """Add the jobs of a history that was read.

    A job number that the book holds with the same content changes nothing, so adding a file twice
    does nothing the second time, and adding a longer one adds what is new. With other content the
    book's own stands and the difference is listed. Refused rows, and jobs with an amount finer
    than the currency's minor unit, are kept in the book until they are mended. All of it is
    stored in one transaction, or nothing.

    Parameters
    ----------
    book
        An open book.
    history
        What was read.
    declared
        How it was read.
    by
        Who adds it.

    Returns
    -------
    Added

    Raises
    ------
    FormatQuestion
        The history states another currency than the book.
    NotAllowed, BookError
        The role may not write; the database refused.
    """
    by.must_be(WRITERS)
    plan = plan_adding(book, history, declared)
    with writing(book.engine, book.name) as connection:
        rows = rows_of(plan.new, book.settings().minor_digits)
        steps.add_all(connection, rows, steps.signs_of(plan.new), by=by.name, what="import")
        _keep(connection, plan.fresh, by.name)
        for key, number in plan.settled.items():
            steps.put_record(connection, REFUSED, key, None, by=by.name, expected=number)
    return plan.added


@dataclass(frozen=True)
class Plan:
    """What adding a history would do.

    Parameters
    ----------
    added
        What would become of its rows.
    new
        The jobs to store.
    fresh
        The refused rows to keep, by their keys.
    settled
        The waiting rows that would wait no more: key -> the version that stands.
    """

    added: Added
    new: pd.DataFrame
    fresh: Mapping[str, Mapping[str, Any]]
    settled: Mapping[str, int]


def plan_adding(book: Book, history: History, declared: Declared | None = None) -> Plan:
    """Say what :func:`add_history` would do, and store nothing.

    Raises
    ------
    FormatQuestion
        The history states another currency than the book.
    """
    settings = book.settings()
    check_currency(history, settings, book.name)
    there = book.history()
    both = merge(there, _as_erased(history, there))
    new = both.jobs.iloc[len(there.jobs) :].reset_index(drop=True)
    differing = len(both.refused_rows) - history.refused_count
    new, finer, lines = _without_finer(new, settings.minor_digits, history.source)
    how = declared or _remembered(history) or Declared()
    bodies = _bodies(history, how) | _bodies(finer, Declared())
    stored = book.all_of(REFUSED)
    fresh = {key: body for key, body in bodies.items() if key not in stored}
    mended = _waiting_under(stored, new["job_id"])
    # A row that comes again, still not right but otherwise, takes the place of what waits.
    renewed = _waiting_under(stored, [body["job_id"] for body in fresh.values()])
    repeated = sum(note.jobs or 0 for note in history.notes if note.code == "identical_rows")
    added = Added(
        source=history.source,
        given=len(history.jobs) + history.refused_count + repeated,
        added=len(new),
        known=len(history.jobs) - len(new) - differing - len(finer.refused_rows),
        differing=differing,
        refused=history.refused_count + len(finer.refused_rows),
        kept=len(fresh),
        repeated=repeated,
        mended=len(mended),
        table=_together(both.refused, lines),
        notes=(*history.notes, *_remarks(history, settings)),
    )
    return Plan(added, new, fresh, mended | renewed)


def check_currency(history: History, settings: Settings, name: str) -> None:
    """Refuse a history in another currency than the book's.

    Raises
    ------
    FormatQuestion
        The history states another currency than the book.
    """
    if history.currency and settings.currency and history.currency != settings.currency:
        raise FormatQuestion(
            f"The file is in {history.currency}, {name} is kept in {settings.currency}. Convert "
            "the file's amounts first, or correct the currency declared."
        )


def _remarks(history: History, settings: Settings) -> Iterable[Note]:
    if settings.currency and not history.currency:
        yield Note(
            "currency_taken",
            f"The file states no currency: its amounts were taken to be {settings.currency}.",
        )
    if history.currency and not settings.currency:
        yield Note(
            "currency_unstated",
            f"The file is in {history.currency}, and the book states no currency of its own.",
        )


def _as_erased(history: History, there: History) -> History:
    """Leave personal data out of jobs whose customer was erased: the file may not bring it back."""
    wiped = there.jobs["customer"].str.startswith(f"{ERASED}-").fillna(False).astype(bool)
    erased = there.jobs[wiped]
    if erased.empty:
        return history
    jobs = history.jobs.copy()
    place = pd.Index(erased["job_id"]).get_indexer(pd.Index(jobs["job_id"]))
    rows = np.flatnonzero(place >= 0)
    for name in PERSONAL:
        jobs.loc[rows, name] = erased[name].to_numpy()[place[rows]]
    return replace(history, jobs=jobs)


def _without_finer(
    jobs: pd.DataFrame, digits: int, source: str
) -> tuple[pd.DataFrame, History, pd.DataFrame]:
    """Part the jobs with amounts finer than the minor unit from the others, and say why."""
    found = finer_than(jobs, digits)
    which = np.zeros(len(jobs), dtype=bool)
    for finer in found.values():
        which |= finer.to_numpy()
    problem, remedy = too_fine(digits)
    lines = [
        (pd.NA, job_id, name, f"{amount!r}", problem, remedy)
        for name, finer in found.items()
        for job_id, amount in zip(jobs["job_id"][finer], jobs[name][finer].tolist(), strict=True)
    ]
    table = pd.DataFrame(lines, columns=list(REFUSAL_COLUMNS), dtype=object)
    told = table.groupby("job_id")["column"].agg(lambda names: ", ".join(names))
    rows = jobs[which].reset_index(drop=True)
    given = pd.DataFrame({name: _as_written(rows[name]) for name in rows.columns})
    given.insert(0, "row", pd.NA)
    given.insert(1, "problem", [f"{told[job_id]}: {problem}" for job_id in rows["job_id"]])
    given.insert(2, "remedy", remedy)
    kept = jobs[~which].reset_index(drop=True)
    return kept, History(rows, table, given, source), table


def _as_written(values: pd.Series) -> pd.Series:
    """Write values as our own files do: days year-month-day, numbers with a point."""
    if values.dtype.kind == "M":
        return values.dt.strftime("%Y-%m-%d").astype(object)
    if values.dtype.kind == "f":
        return values.map(lambda number: None if pd.isna(number) else f"{number:.15g}")
    return values.astype(object)


def _remembered(history: History) -> Declared | None:
    """Find how the file was read, where that was remembered from an earlier one."""
    if not any(note.code == "remembered" for note in history.notes):
        return None
    return recall(cells_of(dict.fromkeys(history.refused_rows.columns, "")))


def _bodies(history: History, declared: Declared) -> dict[str, dict[str, Any]]:
    """Write what the book keeps of each refused row, by its key."""
    lines = history.refused_rows.to_dict("records")
    ids = dict(zip(history.refused["row"], history.refused["job_id"], strict=True))
    bodies = {}
    for line in lines:
        cells = cells_of(line)
        job_id = cells["job_id"] if pd.isna(line["row"]) else ids[line["row"]]
        bodies[key_of(cells)] = body_of(line, cells, job_id, history.source, declared)
    return bodies


def _waiting_under(stored: Mapping[str, Record], job_ids: Iterable[str]) -> dict[str, int]:
    """Find the waiting rows that bear these job numbers: key -> the version that stands.

    Where several rows bear one number, only a person can tell which of them is meant.
    """
    waiting = {
        key: record.body["job_id"] for key, record in stored.items() if record.body is not None
    }
    waited, come = Counter(waiting.values()), Counter(job_ids)
    return {
        key: stored[key].number
        for key, job_id in waiting.items()
        if job_id and waited[job_id] == come[job_id] == 1
    }


def _keep(connection: Connection, bodies: Mapping[str, Mapping[str, Any]], by: str) -> None:
    saved = {"kind": REFUSED, "number": 1, "saved_at_us": now_us(), "saved_by": by}
    rows = [
        {**saved, "key": key, "token": new_token(), "body": steps.as_text(body)}
        for key, body in bodies.items()
    ]
    for start in range(0, len(rows), steps.CHUNK):
        connection.execute(insert(records), rows[start : start + steps.CHUNK])


def _together(*tables: pd.DataFrame) -> pd.DataFrame:
    filled = [table.astype(object) for table in tables if len(table)]
    return pd.concat(filled, ignore_index=True) if filled else tables[0]
