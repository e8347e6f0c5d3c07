"""Single steps inside a transaction: finding versions, numbering jobs, pointing heads."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd
from sqlalchemy import Column, Connection, Row, func, insert, select, update

from insights.errors import ChangedMeanwhile, EntryError
from insights.history.book.engines import now_us
from insights.history.book.entries import new_token
from insights.history.book.packing import KEPT, pack, unpack
from insights.history.book.tables import counters, heads, records, versions
from insights.history.serials import identifiers

CHUNK = 2000
PART = 50_000
_SIGNS = {"serial_sign": "unit_serial", "customer_sign": "customer", "phone_sign": "phone"}


def current() -> Any:
    """Ask for every job as it stands, in the order in which they were first recorded.

    The columns are those of :data:`insights.history.book.packing.KEPT`.
    """
    first = versions.alias("first")
    return (
        select(*_kept())
        .join(heads, heads.c.version_id == versions.c.version_id)
        .join(first, (first.c.job_id == versions.c.job_id) & (first.c.number == 1))
        .order_by(first.c.version_id)
    )


def saved_since(version_id: int) -> Any:
    """Ask for the jobs of which a version was saved after one, as :func:`current` does."""
    return current().where(versions.c.version_id > version_id)


def known(before_us: int) -> Any:
    """Ask for every job as it stood just before a moment, as :func:`current` does."""
    known = (
        select(
            versions.c.job_id.label("job"),
            func.max(versions.c.number).label("number"),
            func.min(versions.c.version_id).label("first"),
        )
        .where(versions.c.saved_at_us < before_us)
        .group_by(versions.c.job_id)
        .subquery()
    )
    return (
        select(*_kept())
        .join(known, (known.c.job == versions.c.job_id) & (known.c.number == versions.c.number))
        .order_by(known.c.first)
    )


def _kept() -> list[Column[Any]]:
    return [versions.c[name] for name in KEPT]


def in_parts(connection: Connection, asked: Any) -> Iterator[Sequence[Any]]:
    """Read what is asked for by the thousands of rows."""
    # The driver's own rows: dressing a million of them would take as long as reading them.
    cursor = connection.execute(asked).cursor
    while part := cursor.fetchmany(PART):
        yield part


def latest(connection: Connection, job_id: str) -> Row[Any] | None:
    """Find a job's latest version."""
    asked = (
        select(versions)
        .join(heads, heads.c.version_id == versions.c.version_id)
        .where(heads.c.job_id == job_id)
    )
    return connection.execute(asked).first()


def by_token(connection: Connection, token: str | None) -> Row[Any] | None:
    """Find the version that a save with this token stored already."""
    if token is None:
        return None
    return connection.execute(select(versions).where(versions.c.token == token)).first()


def refuse_taken(connection: Connection, job_id: str) -> None:
    """Raise EntryError where a job's number is taken."""
    if latest(connection, job_id) is not None:
        remedy = "leave it empty for the next free number, or open that job"
        raise EntryError((("job_id", job_id, "the number is taken", remedy),))


def refuse_changed(current: Row[Any], expected: int, new: Mapping[str, Any], digits: int) -> None:
    """Raise ChangedMeanwhile where a job is not the version that was read."""
    if current.number == expected:
        return
    stands = unpack(current, digits)
    differing = [name for name, value in new.items() if stands.get(name) != value]
    fields = f" It differs from yours in: {', '.join(differing)}." if differing else ""
    raise ChangedMeanwhile(
        f"Job {current.job_id} was saved meanwhile by {current.saved_by} ({current.what})."
        f"{fields} Yours was not stored. Look at theirs, then save again."
    )


def next_number(connection: Connection, prefix: str) -> str:
    """Draw the next free number; inside the transaction that uses it."""
    last = connection.execute(select(counters.c.last).where(counters.c.name == prefix)).scalar()
    number = last or 0
    while True:
        number += 1
        job_id = f"{prefix}{number:06d}"
        if latest(connection, job_id) is None:
            break
    if last is None:
        connection.execute(insert(counters).values(name=prefix, last=number))
    else:
        connection.execute(update(counters).where(counters.c.name == prefix).values(last=number))
    return job_id


@dataclass(frozen=True)
class Entry:
    """A version about to be stored.

    Parameters
    ----------
    values, bench
        The whole job as it will stand.
    number
        Which save of the job it is.
    by, token, what
        Who, the save's token, the step.
    """

    values: Mapping[str, Any]
    bench: Mapping[str, Any]
    number: int
    by: str
    token: str | None
    what: str


def add(connection: Connection, entry: Entry, digits: int) -> Row[Any]:
    """Add a version and point the job's head at it."""
    row = {
        **pack(entry.values, digits),
        "number": entry.number,
        "saved_at_us": now_us(),
        "saved_by": entry.by,
        "what": entry.what,
        "token": entry.token or new_token(),
        "bench": as_text(entry.bench),
    }
    added = connection.execute(insert(versions).values(row)).inserted_primary_key
    assert added is not None
    signs = {
        sign: _signs(pd.Series([entry.values.get(name)], dtype=object))[0]
        for sign, name in _SIGNS.items()
    }
    head = {"version_id": added[0], "number": entry.number, "on_bench": _on_bench(row), **signs}
    if entry.number == 1:
        connection.execute(insert(heads).values(job_id=row["job_id"], **head))
    else:
        connection.execute(update(heads).where(heads.c.job_id == row["job_id"]).values(head))
    return connection.execute(select(versions).where(versions.c.version_id == added[0])).one()


def _on_bench(row: Mapping[str, Any]) -> bool:
    return row["handed_back_day"] is None and row["ended_on_day"] is None


def signs_of(jobs: pd.DataFrame) -> dict[str, list[str | None]]:
    """Work out what jobs are looked up by, for all of a history at once."""
    return {sign: _signs(jobs[name]) for sign, name in _SIGNS.items()}


def _signs(values: pd.Series) -> list[str | None]:
    return [None if pd.isna(sign) else str(sign) for sign in identifiers(values)]


def add_all(
    connection: Connection,
    rows: list[dict[str, Any]],
    signs: Mapping[str, list[str | None]],
    *,
    by: str,
    what: str,
) -> None:
    """Add jobs that the book does not hold, each in its first version."""
    saved = {"number": 1, "saved_at_us": now_us(), "saved_by": by, "what": what, "bench": "{}"}
    for start in range(0, len(rows), CHUNK):
        part = rows[start : start + CHUNK]
        connection.execute(
            insert(versions), [{**row, **saved, "token": new_token()} for row in part]
        )
    point_heads(connection, rows, signs)


def point_heads(
    connection: Connection, rows: list[dict[str, Any]], signs: Mapping[str, list[str | None]]
) -> None:
    """Point a head at each job just added."""
    ids: dict[str, int] = {}
    wanted = [row["job_id"] for row in rows]
    for start in range(0, len(wanted), CHUNK):
        asked = select(versions.c.job_id, versions.c.version_id).where(
            versions.c.job_id.in_(wanted[start : start + CHUNK]), versions.c.number == 1
        )
        ids.update((row.job_id, row.version_id) for row in connection.execute(asked))
    pointed = [
        {
            "job_id": row["job_id"],
            "version_id": ids[row["job_id"]],
            "number": 1,
            "on_bench": _on_bench(row),
            **{sign: found[place] for sign, found in signs.items()},
        }
        for place, row in enumerate(rows)
    ]
    for start in range(0, len(pointed), CHUNK):
        connection.execute(insert(heads), pointed[start : start + CHUNK])


def as_text(body: Any) -> str:
    """Write what a record or a job's bench facts say as the book stores it."""
    return json.dumps(body, ensure_ascii=False, sort_keys=True)


def put_record(
    connection: Connection,
    kind: str,
    key: str,
    body: Any,
    *,
    by: str,
    expected: int | None = None,
    token: str | None = None,
) -> Row[Any]:
    """Store a record's next version; see :meth:`insights.history.book.book.Book.put`."""
    token = token or new_token()
    told = connection.execute(select(records).where(records.c.token == token)).first()
    if told is not None:
        return told
    last = connection.execute(
        select(records)
        .where(records.c.kind == kind, records.c.key == key)
        .order_by(records.c.number.desc())
        .limit(1)
    ).first()
    number = 0 if last is None else last.number
    if expected is not None and expected != number:
        who = "nobody" if last is None else last.saved_by
        raise ChangedMeanwhile(
            f"{kind} '{key}' was changed meanwhile by {who}. Look at it, then save again."
        )
    row = {
        "kind": kind,
        "key": key,
        "number": number + 1,
        "saved_at_us": now_us(),
        "saved_by": by,
        "token": token,
        "body": as_text(body),
    }
    connection.execute(insert(records).values(row))
    return connection.execute(select(records).where(records.c.token == token)).one()
