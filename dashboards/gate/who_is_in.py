"""The book that the gate asks, and whose session a visit's cookie belongs to."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING

from dashboards.gate.policy import Policy
from insights.errors import RequestError
from insights.history.book.people import Person

if TYPE_CHECKING:
    from insights.history.book.book import Book


def gate_book() -> Book:
    """Give the book that knows who may sign in; open for writing, whoever asks."""
    book = Policy.from_environment().book
    if book is None:
        raise RequestError("Nobody signs in here: the program was started for this machine only.")
    return _opened(book)


def person_signed_in(cookies: Mapping[str, str]) -> Person | None:
    """Say whose session it is, by the book's own knowledge at this moment.

    Parameters
    ----------
    cookies
        As the browser sent them when it opened its line.

    Returns
    -------
    Person or None
        None where there is no session, or it is over.
    """
    from insights.history.book.sessions import person_of

    return person_of(gate_book(), cookies.get(Policy.from_environment().cookie))


@cache
def _opened(source: str) -> Book:
    # A database library takes a while to import: only where people sign in.
    from insights.history.book.opening import open_book

    return open_book(source)
