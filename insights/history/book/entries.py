"""What the book gives back: a job as it stood after one save, a record, the book's settings."""

from __future__ import annotations

import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import Row

from insights.errors import RequestError
from insights.history.book.packing import unpack


def new_token() -> str:
    """Draw a token: a save that carries one twice is stored once."""
    return secrets.token_hex(16)


@dataclass(frozen=True)
class BookJob:
    """A job as it stood after one save.

    Parameters
    ----------
    job_id
        The job's number.
    number
        How many times it has been saved; give it back as ``expected`` with the next save.
    values
        The history's columns that are known.
    bench
        What the book keeps beyond the history's columns (evidence, instruments, ...).
    saved_at
        When, UTC.
    saved_by, what
        By whom, and at which step.
    """

    job_id: str
    number: int
    values: Mapping[str, Any]
    bench: Mapping[str, Any]
    saved_at: datetime
    saved_by: str
    what: str


@dataclass(frozen=True)
class Record:
    """One thing the workshop keeps beside its jobs, as it stood after one save.

    Parameters
    ----------
    kind, key
        What it is, and which one.
    number
        How many times it has been saved.
    body
        What it says; any JSON.
    saved_at, saved_by
        When (UTC) and by whom.
    """

    kind: str
    key: str
    number: int
    body: Any
    saved_at: datetime
    saved_by: str


@dataclass(frozen=True)
class Settings:
    """What holds for a whole book.

    Parameters
    ----------
    currency
        The one currency of every amount.
    minor_digits
        Decimals of its minor unit.
    decimal
        The decimal mark of what is typed.
    workshop
        The name on what is printed.
    prefix
        What the book's own job numbers begin with.
    """

    currency: str = ""
    minor_digits: int = 2
    decimal: str = "."
    workshop: str = ""
    prefix: str = "J"


def end_us(as_of: date | datetime) -> int:
    """Turn a day into the moment it ends, or a moment into itself, in microseconds UTC.

    Raises
    ------
    RequestError
        A moment without a time zone.
    """
    if isinstance(as_of, datetime):
        if as_of.tzinfo is None:
            raise RequestError("Give the moment with its time zone, or a day.")
        return int((as_of - datetime(1970, 1, 1, tzinfo=UTC)) / timedelta(microseconds=1))
    return ((as_of - date(1970, 1, 1)).days + 1) * 86_400_000_000


def moment(us: int) -> datetime:
    """Turn microseconds since 1970 (UTC) into a moment."""
    """Turn microseconds since 1970 into the moment, UTC."""
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=us)


def as_job(row: Row[Any], digits: int) -> BookJob:
    """Turn a row of ``versions`` into a job; ``digits``: decimals of the minor unit."""
    return BookJob(
        job_id=row.job_id,
        number=row.number,
        values=unpack(row, digits),
        bench=json.loads(row.bench),
        saved_at=moment(row.saved_at_us),
        saved_by=row.saved_by,
        what=row.what,
    )


def as_record(row: Row[Any]) -> Record:
    """Turn a row of ``records`` into a record."""
    return Record(
        kind=row.kind,
        key=row.key,
        number=row.number,
        body=json.loads(row.body),
        saved_at=moment(row.saved_at_us),
        saved_by=row.saved_by,
    )
