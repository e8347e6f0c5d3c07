"""Who looked at, exported or erased personal data, and when: only ever added to."""

from __future__ import annotations

import pandas as pd
from sqlalchemy import Connection, insert, select

from insights.history.book.access_tables import access_log
from insights.history.book.book import Book
from insights.history.book.engines import now_us, reading, writing
from insights.history.book.entries import moment
from insights.history.book.people import OWNER, Person

NEWEST = 500
EXPORTED = "exported"


def note_access(connection: Connection, who: Person, did: str, what: str) -> None:
    """Write down an access inside the transaction that it belongs to.

    Parameters
    ----------
    connection
        Of a write.
    who
        The person.
    did
        What was done, in a word or two: "looked at", "exported", "erased".
    what
        Job numbers or counts; never the personal data itself, which would outlive its erasing.
    """
    connection.execute(insert(access_log).values(at_us=now_us(), who=who.name, did=did, what=what))


def log_access(book: Book, who: Person, did: str, *what: str) -> None:
    """Write down an access, or several of one kind at once.

    Parameters
    ----------
    book
        Opened for writing, also where the person only reads.
    who, did, what
        As for :func:`note_access`.

    Raises
    ------
    BookError
        It can't be written: then the data must not be shown either.
    """
    with writing(book.engine, book.name) as connection:
        for one in what:
            note_access(connection, who, did, one)


def accesses(book: Book, *, by: Person, newest: int = NEWEST) -> pd.DataFrame:
    """List accesses, the newest first.

    Parameters
    ----------
    book
        The book.
    by
        An owner.
    newest
        At most so many.

    Returns
    -------
    pandas.DataFrame
        ``at`` (UTC), ``who``, ``did``, ``what``.

    Raises
    ------
    NotAllowed
        Not an owner.
    """
    by.must_be(OWNER)
    asked = select(access_log).order_by(access_log.c.entry_id.desc()).limit(newest)
    with reading(book.engine, book.name) as connection:
        rows = connection.execute(asked).all()
    lines = [(moment(row.at_us), row.who, row.did, row.what) for row in rows]
    return pd.DataFrame(lines, columns=["at", "who", "did", "what"], dtype=object)
