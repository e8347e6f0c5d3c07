"""The job book: record, correct, never overwrite; read it as it was known on any day."""

from __future__ import annotations

import json
import weakref
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

import pandas as pd
from sqlalchemy import Engine, func, select

from insights.errors import BookError, RequestError
from insights.history.book import steps
from insights.history.book.checking import check_whole, checked
from insights.history.book.engines import reading, writing
from insights.history.book.entries import (
    BookJob,
    Record,
    Settings,
    as_job,
    as_record,
    end_us,
)
from insights.history.book.kinds import SETTINGS, WHOLE_BOOK
from insights.history.book.packing import history_of, rows_of, unpack
from insights.history.book.people import WRITERS, Person, Role
from insights.history.book.tables import heads, records, versions
from insights.history.declared import Declared
from insights.history.schema import History


@dataclass(frozen=True)
class Book:
    """An open book. Every method is one transaction.

    Parameters
    ----------
    engine
        Where it is kept.
    name
        What it is called in messages.
    """

    engine: Engine = field(repr=False)
    name: str

    def __post_init__(self) -> None:
        """Let go of the connections kept for the next question when the book is let go of."""
        weakref.finalize(self, self.engine.dispose)

    # What it says of itself

    def settings(self) -> Settings:
        """Read what holds for the whole book."""
        found = self.get(SETTINGS, WHOLE_BOOK)
        if found is None:
            raise BookError(f"{self.name} has no settings: it was never finished. Make it anew.")
        return Settings(**found.body)

    def revision(self) -> tuple[int, int]:
        """Give the number of the book's state: it changes with every save, and only then."""
        with reading(self.engine, self.name) as connection:
            jobs = connection.execute(select(func.max(versions.c.version_id))).scalar()
            others = connection.execute(select(func.max(records.c.record_id))).scalar()
        return (jobs or 0, others or 0)

    # Jobs

    def job(self, job_id: str) -> BookJob:
        """Read a job as it stands.

        Raises
        ------
        RequestError
            There is no such job.
        """
        with reading(self.engine, self.name) as connection:
            row = steps.latest(connection, job_id)
        if row is None:
            raise RequestError(f"There is no job {job_id} in {self.name}. Check its number.")
        return as_job(row, self.settings().minor_digits)

    def versions_of(self, job_id: str) -> tuple[BookJob, ...]:
        """Read every version of a job, the first first; empty where there is no such job."""
        asked = select(versions).where(versions.c.job_id == job_id).order_by(versions.c.number)
        with reading(self.engine, self.name) as connection:
            rows = connection.execute(asked).all()
        digits = self.settings().minor_digits if rows else 0
        return tuple(as_job(row, digits) for row in rows)

    def changes(self, job_id: str) -> pd.DataFrame:
        """List what was changed on a job.

        Returns
        -------
        pandas.DataFrame
            ``saved_at`` (UTC), ``saved_by``, ``what``, ``column``, ``before``, ``after``: one row
            per field that a save changed.
        """
        lines = []
        before: dict[str, Any] = {}
        for job in self.versions_of(job_id):
            after = {**job.values, **{f"bench: {name}": v for name, v in job.bench.items()}}
            for name in dict.fromkeys([*before, *after]):
                if before.get(name) != after.get(name):
                    change = (name, before.get(name), after.get(name))
                    lines.append((job.saved_at, job.saved_by, job.what, *change))
            before = after
        names = ["saved_at", "saved_by", "what", "column", "before", "after"]
        return pd.DataFrame(lines, columns=names, dtype=object)

    def jobs_on_bench(self) -> tuple[BookJob, ...]:
        """Read the jobs that were not handed back yet, the longest waiting first."""
        asked = (
            select(versions)
            .join(heads, heads.c.version_id == versions.c.version_id)
            .where(heads.c.on_bench.is_(True))
            .order_by(versions.c.received_day, versions.c.job_id)
        )
        with reading(self.engine, self.name) as connection:
            rows = connection.execute(asked).all()
        digits = self.settings().minor_digits
        return tuple(as_job(row, digits) for row in rows)

    def receive(
        self,
        entered: Mapping[str, Any],
        *,
        by: Person,
        token: str | None = None,
        bench: Mapping[str, Any] | None = None,
        today: date | None = None,
    ) -> BookJob:
        """Record a unit that arrives.

        Parameters
        ----------
        entered
            The fields known (see :func:`insights.history.book.checking.checked`). Without a
            ``job_id`` the book gives the next number of its own.
        by
            Who records it.
        token
            Of :func:`new_token`: the same one twice stores once and returns what is there.
        bench
            Facts beyond the history's columns.
        today
            No date may lie after it; None: by this machine's clock.

        Raises
        ------
        EntryError
            A field can't be stored, or the job number is taken.
        NotAllowed, BookError
            The role may not write; the database refused.
        """
        by.must_be(WRITERS)
        settings = self.settings()
        values = self._checked(entered, settings, today)
        with writing(self.engine, self.name) as connection:
            stored = steps.by_token(connection, token)
            if stored is None:
                if values.get("job_id") is None:
                    values["job_id"] = steps.next_number(connection, settings.prefix)
                check_whole(values)
                steps.refuse_taken(connection, values["job_id"])
                entry = steps.Entry(values, bench or {}, 1, by.name, token, "received")
                stored = steps.add(connection, entry, settings.minor_digits)
        return as_job(stored, settings.minor_digits)

    def save(
        self,
        job_id: str,
        changes: Mapping[str, Any],
        *,
        expected: int,
        by: Person,
        what: str,
        token: str | None = None,
        bench: Mapping[str, Any] | None = None,
        today: date | None = None,
    ) -> BookJob:
        """Store a job's next version.

        Parameters
        ----------
        job_id
            The job's number.
        changes
            The fields that change; None or an empty text: no longer known. The others stay.
        expected
            The ``number`` of the version that was read before the change.
        by, token, today
            As for :meth:`receive`.
        what
            The step, in a word or two: "findings", "final readings", "correction", ...
        bench
            Facts beyond the history's columns that change; a None takes one out.

        Raises
        ------
        ChangedMeanwhile
            Someone saved the job since: nothing is stored; the text says who and what.
        EntryError, RequestError, NotAllowed, BookError
            A field can't be stored; no such job; the role may not write; the database refused.
        """
        by.must_be(WRITERS)
        settings = self.settings()
        if "job_id" in changes and changes["job_id"] != job_id:
            raise RequestError("A job's number can't be changed. Hand the job in under its own.")
        new = self._checked(changes, settings, today)
        with writing(self.engine, self.name) as connection:
            stored = steps.by_token(connection, token)
            if stored is None:
                current = steps.latest(connection, job_id)
                if current is None:
                    raise RequestError(f"There is no job {job_id} in {self.name}.")
                steps.refuse_changed(current, expected, new, settings.minor_digits)
                values = {**unpack(current, settings.minor_digits), **new}
                check_whole(values)
                facts = {**json.loads(current.bench), **(bench or {})}
                facts = {name: fact for name, fact in facts.items() if fact is not None}
                entry = steps.Entry(values, facts, expected + 1, by.name, token, what)
                stored = steps.add(connection, entry, settings.minor_digits)
        return as_job(stored, settings.minor_digits)

    def add_history(self, history: History, *, by: Person, what: str = "import") -> int:
        """Add jobs that are not in the book yet, all of them or none.

        Parameters
        ----------
        history
            Jobs whose numbers the book does not hold.
        by
            Who adds them.
        what
            The step.

        Returns
        -------
        int
            How many were added.

        Raises
        ------
        BookError
            A job's number is in the book already, or the database refused.
        """
        by.must_be(WRITERS)
        settings = self.settings()
        rows = rows_of(history.jobs, settings.minor_digits)
        signs = steps.signs_of(history.jobs)
        with writing(self.engine, self.name) as connection:
            steps.add_all(connection, rows, signs, by=by.name, what=what)
        return len(rows)

    # Other things the workshop keeps

    def get(self, kind: str, key: str) -> Record | None:
        """Read a record as it stands; None where there is none."""
        asked = (
            select(records)
            .where(records.c.kind == kind, records.c.key == key)
            .order_by(records.c.number.desc())
            .limit(1)
        )
        with reading(self.engine, self.name) as connection:
            row = connection.execute(asked).first()
        return None if row is None else as_record(row)

    def all_of(self, kind: str, as_of: date | datetime | None = None) -> dict[str, Record]:
        """Read every record of a kind, by key, as it stands or as it was known then."""
        asked = select(records).where(records.c.kind == kind).order_by(records.c.record_id)
        if as_of is not None:
            asked = asked.where(records.c.saved_at_us < end_us(as_of))
        with reading(self.engine, self.name) as connection:
            rows = connection.execute(asked).all()
        return {row.key: as_record(row) for row in rows}  # the last of a key stands

    def put(
        self,
        kind: str,
        key: str,
        body: Any,
        *,
        by: Person,
        expected: int | None = None,
        token: str | None = None,
        roles: tuple[Role, ...] = WRITERS,
    ) -> Record:
        """Store a record's next version.

        Parameters
        ----------
        kind, key
            What it is, and which one.
        body
            What it says; anything JSON can hold. None withdraws it (its history stays).
        by
            Who stores it.
        expected
            The ``number`` that was read before the change (0: there was none); None: whatever
            stands is replaced.
        token
            As for :meth:`receive`.
        roles
            Who may store this kind.

        Raises
        ------
        ChangedMeanwhile
            Someone saved it since.
        NotAllowed, BookError
            The role may not; the database refused.
        """
        by.must_be(roles)
        with writing(self.engine, self.name) as connection:
            stored = steps.put_record(
                connection, kind, key, body, by=by.name, expected=expected, token=token
            )
        return as_record(stored)

    # Reading it all

    def history(self, as_of: date | datetime | None = None) -> History:
        """Read the book as a job history.

        Parameters
        ----------
        as_of
            As it was known at the end of that day (UTC), or at that moment; None: as it stands.

        Returns
        -------
        History
            Jobs in the order in which they were first recorded.
        """
        settings = self.settings()
        asked = steps.current() if as_of is None else steps.known(end_us(as_of))
        with reading(self.engine, self.name) as connection:
            rows = steps.in_parts(connection, asked)
            return history_of(rows, settings.minor_digits, self.name, settings.currency)

    # Inside

    def _checked(
        self, entered: Mapping[str, Any], settings: Settings, today: date | None
    ) -> dict[str, Any]:
        declared = Declared(decimal=settings.decimal, currency=settings.currency)
        return checked(
            entered,
            digits=settings.minor_digits,
            declared=declared,
            today=today or date.today(),
        )
