"""Changing what the owner keeps in the book for the bench: sheets, instruments, limits."""

from __future__ import annotations

from typing import Any

from insights.errors import ChangedMeanwhile, RequestError
from insights.history.book.book import Book
from insights.history.book.entries import Record
from insights.history.book.people import OWNER, Person


def keep(
    book: Book, kind: str, key: str, body: Any, *, new: bool, expected: int, by: Person, token: str
) -> Record:
    """Store one thing of the owner's lists; only an owner may.

    Parameters
    ----------
    kind, key, body
        What it is, which one, and its plain data; None withdraws it.
    new
        Whether it is entered for the first time.
    expected
        The ``number`` that was read before the change; of no meaning where it is new.
    by, token
        As for :meth:`insights.history.book.book.Book.put`.

    Raises
    ------
    RequestError
        It is entered as new, and there is one already.
    ChangedMeanwhile, NotAllowed, BookError
        As for ``Book.put``.
    """
    if new:
        before = book.get(kind, key)
        # Where one stands, this refuses, unless it is the very same entry sent again.
        expected = before.number if before is not None and before.body is None else 0
    try:
        return book.put(kind, key, body, by=by, expected=expected, token=token, roles=OWNER)
    except ChangedMeanwhile as error:
        if not new:
            raise
        raise RequestError(
            "There is one for this already. Choose it from the list above to change it."
        ) from error
