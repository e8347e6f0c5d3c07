"""Erasing customers: what names them goes, in every version; what happened to their units stays."""

from __future__ import annotations

import json
import secrets
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd
from sqlalchemy import Connection, Row, delete, or_, select, update

from insights.errors import RequestError
from insights.history.book import steps
from insights.history.book.access_log import note_access
from insights.history.book.book import Book
from insights.history.book.decisions import pair_key, unit_decisions
from insights.history.book.engines import reading, writing
from insights.history.book.kept_links import kept_links
from insights.history.book.kinds import SAME_UNIT
from insights.history.book.naming import Marks, marks_of, wiped_of_all, without
from insights.history.book.overwriting import forget_old_pages, overwrite_what_goes
from insights.history.book.packing import unpack
from insights.history.book.people import OWNER, Person
from insights.history.book.tables import PERSONAL, drafts, heads, records, versions
from insights.history.schema import History
from insights.history.serials import identifiers

ERASED = "erased"
_MARK = f"{ERASED}-"
_CHUNK = 500


@dataclass(frozen=True)
class Erased:
    """What was wiped.

    Parameters
    ----------
    customers, jobs, versions, records, drafts
        How many of each.
    links_kept
        Decisions written so that the same jobs stay the same units.
    files_clean
        Whether the old texts are gone from the book's file as well; False where someone was
        reading: the next wiping, or closing the book, does it.
    """

    customers: int = 0
    jobs: int = 0
    versions: int = 0
    records: int = 0
    drafts: int = 0
    links_kept: int = 0
    files_clean: bool = True


@dataclass(frozen=True)
class _Theirs:
    """What is one customer's: how they were written, the reference to come, jobs, versions."""

    written: list[str]
    reference: str
    jobs: tuple[str, ...]
    rows: tuple[Row[Any], ...]

    @property
    def marks(self) -> Marks:
        # A card first written under another's name holds what is the other's.
        own = [row for row in self.rows if row.customer is None or row.customer in self.written]
        return marks_of(self.written, (row.phone for row in own))


def erase_customer(book: Book, customer: str, *, by: Person) -> Erased:
    """Wipe a customer out of the book; the statistics stay as they are.

    Parameters
    ----------
    book
        Opened for writing.
    customer
        Their reference, as written on the jobs (case, blanks and punctuation aside).
    by
        An owner.

    Returns
    -------
    Erased

    Raises
    ------
    RequestError
        No job names the customer.
    NotAllowed, BookError
        Not an owner; the database refused, or the links can't be kept. Nothing was wiped then.

    Notes
    -----
    Reference, postcode, telephone, complaint and notes go, in all versions of the customer's
    jobs, in what the bench kept beside them, in records and in drafts. One random reference
    takes the place of theirs, so that their jobs stay one customer's. Backups and files exported
    earlier are out of reach.
    """
    by.must_be(OWNER)
    sign = identifiers(pd.Series([customer], dtype=object)).iloc[0]
    jobs = () if pd.isna(sign) else jobs_of(book, str(sign))
    if not jobs and not _written(book, str(sign)):
        raise RequestError(f"No job names the customer '{customer}'. Check the reference.")
    return erase_groups(book, {str(sign): jobs}, by=by)


def jobs_of(book: Book, sign: str) -> tuple[str, ...]:
    """Find a customer's jobs: under their reference now, or once, with none since."""
    with reading(book.engine, book.name) as connection:
        written = _spellings(connection).get(sign, [])
        named = select(versions.c.job_id).where(versions.c.customer.in_(written))
        asked = select(heads.c.job_id).where(
            or_(
                heads.c.customer_sign == sign,
                heads.c.customer_sign.is_(None) & heads.c.job_id.in_(named),
            )
        )
        return tuple(connection.execute(asked.order_by(heads.c.job_id)).scalars())


def erase_groups(book: Book, groups: Mapping[str, Iterable[str]], *, by: Person) -> Erased:
    """Wipe customers out of the book, all of them or none.

    Parameters
    ----------
    book
        Opened for writing.
    groups
        The customer's sign -> the numbers of their jobs. A sign that is no customer's stands for
        jobs without a reference.
    by
        An owner.

    Raises
    ------
    NotAllowed, BookError
        As for :func:`erase_customer`.
    """
    by.must_be(OWNER)
    wanted = {
        sign: (f"{_MARK}{secrets.token_hex(8)}", tuple(jobs)) for sign, jobs in groups.items()
    }
    keep = _links(book, dict(wanted.values()))
    digits = book.settings().minor_digits
    with writing(book.engine, book.name) as connection:
        overwrite_what_goes(connection)
        spelled = _spellings(connection)
        done = Erased(links_kept=len(keep))
        for sign, (reference, jobs) in wanted.items():
            written = spelled.get(sign, [])
            rows = _versions(connection, written, jobs)
            theirs = _Theirs(written, reference, jobs, rows)
            done = _erase_one(connection, done, theirs, by, digits)
        for job_id, earlier, same in keep.itertuples(index=False):
            body = {"job_id": job_id, "earlier_job_id": earlier, "same": bool(same)}
            steps.put_record(connection, SAME_UNIT, pair_key(job_id, earlier), body, by=by.name)
        note_access(connection, by, ERASED, f"customers: {done.customers}, jobs: {done.jobs}")
    return replace(done, files_clean=forget_old_pages(book.engine))


def _erase_one(
    connection: Connection,
    done: Erased,
    theirs: _Theirs,
    by: Person,
    digits: int,
) -> Erased:
    reference, marks = theirs.reference, theirs.marks
    for row in theirs.rows:
        body = without(wiped_of_all(json.loads(row.bench), reference), marks, reference)
        emptied = {name: None for name in PERSONAL} | {"customer": reference}
        connection.execute(
            update(versions)
            .where(versions.c.version_id == row.version_id)
            .values(**emptied, bench=json.dumps(body, ensure_ascii=False, sort_keys=True))
        )
    for job_id in theirs.jobs:
        _add_news(connection, job_id, by, digits)
    return replace(
        done,
        customers=done.customers + 1,
        jobs=done.jobs + len(theirs.jobs),
        versions=done.versions + len(theirs.rows),
        records=done.records + _wipe_records(connection, marks, reference),
        drafts=done.drafts + _drop_drafts(connection, marks, theirs.jobs),
    )


def _add_news(connection: Connection, job_id: str, by: Person, digits: int) -> None:
    """Add a version, so that whoever has the job in memory or on the screen reads it anew."""
    current = steps.latest(connection, job_id)
    assert current is not None
    entry = steps.Entry(
        unpack(current, digits),
        json.loads(current.bench),
        current.number + 1,
        by.name,
        None,
        ERASED,
    )
    steps.add(connection, entry, digits)


def _wipe_records(connection: Connection, marks: Marks, reference: str) -> int:
    wiped = 0
    for row in connection.execute(select(records.c.record_id, records.c.body)).all():
        old = json.loads(row.body)
        new = without(old, marks, reference)
        if new != old:
            body = json.dumps(new, ensure_ascii=False, sort_keys=True)
            changed = update(records).where(records.c.record_id == row.record_id)
            connection.execute(changed.values(body=body))
            wiped += 1
    return wiped


def _drop_drafts(connection: Connection, marks: Marks, jobs: tuple[str, ...]) -> int:
    dropped = 0
    for row in connection.execute(select(drafts)).all():
        old = json.loads(row.body)
        about = any(part in jobs for part in json.loads(row.key))
        if about or without(old, marks, ERASED) != old:
            connection.execute(delete(drafts).where(drafts.c.key == row.key))
            dropped += 1
    return dropped


def _versions(
    connection: Connection, written: list[str], jobs: tuple[str, ...]
) -> tuple[Row[Any], ...]:
    columns = (versions.c.version_id, versions.c.customer, versions.c.phone, versions.c.bench)
    found: dict[int, Any] = {}
    named = select(*columns).where(versions.c.customer.in_(written))
    asked = [named] + [
        select(*columns).where(versions.c.job_id.in_(jobs[start : start + _CHUNK]))
        for start in range(0, len(jobs), _CHUNK)
    ]
    for question in asked:
        for row in connection.execute(question):
            found[row.version_id] = row
    return tuple(found.values())


def _spellings(connection: Connection) -> dict[str, list[str]]:
    """Find every way in which each customer was ever written, by their sign."""
    asked = select(versions.c.customer).where(versions.c.customer.is_not(None)).distinct()
    written = pd.Series(list(connection.execute(asked).scalars()), dtype=object)
    found: dict[str, list[str]] = {}
    for sign, text in zip(identifiers(written), written, strict=True):
        if not pd.isna(sign):
            found.setdefault(str(sign), []).append(text)
    return found


def _written(book: Book, sign: str) -> bool:
    with reading(book.engine, book.name) as connection:
        return sign in _spellings(connection)


def _links(book: Book, references: Mapping[str, tuple[str, ...]]) -> pd.DataFrame:
    """Work out, before anything is wiped, which decisions keep the same jobs one unit."""
    before = book.history()
    jobs = before.jobs.copy()
    for reference, ids in references.items():
        theirs = jobs["job_id"].isin(ids)
        jobs.loc[theirs, "customer"] = reference
        jobs.loc[theirs, ["postcode", "phone", "complaint", "notes"]] = pd.NA
    after = History(jobs=jobs, source=before.source, currency=before.currency)
    return kept_links(before, after, unit_decisions(book, before))
