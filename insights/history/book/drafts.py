"""What is typed and not saved yet: kept so that it survives a reload, dropped once it is saved.

A draft is no fact, so it has no history: a form's draft is one row, replaced with every field
and taken out with the save. It is not part of the book's revision.
"""

from __future__ import annotations

import json
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from insights.history.book.book import Book
from insights.history.book.engines import now_us, reading, writing
from insights.history.book.people import WRITERS, Person
from insights.history.book.tables import drafts


def key_of(person: Person, page: str, subject: str) -> str:
    """Name a draft: each person has their own of each form and job.

    Parameters
    ----------
    person
        Who types.
    page, subject
        The form, and the job it is about.
    """
    return json.dumps([person.name, page, subject], ensure_ascii=False)


def draft_of(book: Book, key: str) -> Any:
    """Read a draft; None where there is none."""
    asked = select(drafts.c.body).where(drafts.c.key == key)
    with reading(book.engine, book.name) as connection:
        found = connection.execute(asked).scalar()
    return None if found is None else json.loads(found)


def keep_draft(book: Book, key: str, body: Any, *, by: Person) -> None:
    """Keep a draft in place of the one before.

    Parameters
    ----------
    book, key
        The book, and the draft's name (:func:`key_of`).
    body
        What was typed; anything JSON can hold.
    by
        Who typed it.

    Raises
    ------
    NotAllowed, BookError
        The role may not write; the database refused.
    """
    by.must_be(WRITERS)
    text = json.dumps(body, ensure_ascii=False, sort_keys=True)
    row = {"key": key, "saved_at_us": now_us(), "saved_by": by.name, "body": text}
    with writing(book.engine, book.name) as connection:
        _drop(connection, key)
        connection.execute(insert(drafts).values(row))


def drop_draft(book: Book, key: str, *, by: Person) -> None:
    """Take a draft out; nothing happens where there is none.

    Raises
    ------
    NotAllowed, BookError
        The role may not write; the database refused.
    """
    by.must_be(WRITERS)
    if draft_of(book, key) is None:
        return
    with writing(book.engine, book.name) as connection:
        _drop(connection, key)


def _drop(connection: Connection, key: str) -> None:
    connection.execute(delete(drafts).where(drafts.c.key == key))
