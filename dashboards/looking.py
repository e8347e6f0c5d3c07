"""Writing down who looked at customers' data, before they are shown or handed over."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import streamlit as st

from dashboards import who
from dashboards.data import book as book_data
from insights.history.book.people import Person

if TYPE_CHECKING:
    # The database library takes a while to import, which only a book should cost.
    from dashboards.data import Source
    from insights.history.book.book import Book

LOOKED_AT = "looked at"
HANDED_OUT = "downloaded"
NOBODY = "(not named)"
_SEEN = "looked-at"


def looked_at(book: Book, person: Person, *what: str) -> None:
    """Write down that someone looked at jobs; once a visit for each job.

    Parameters
    ----------
    book
        The open book, as far as the person may use it.
    person
        Who looks.
    what
        The jobs, or a list's name and length: no more than must be told.

    Raises
    ------
    BookError
        It can't be written down; then nothing should be shown.
    """
    seen = st.session_state.setdefault(_SEEN, set())
    new = [one for one in dict.fromkeys(what) if (person.name, one) not in seen]
    if new:
        _log(book, person, LOOKED_AT, *new)
        seen.update((person.name, one) for one in new)


def list_seen(record: Source, what: str) -> None:
    """Write down that a list of customers is shown; nothing where the record is no book.

    Parameters
    ----------
    record
        What the list is of.
    what
        The list's name and length.

    Raises
    ------
    BookError
        As for :func:`looked_at`.
    """
    book = book_data.book() if record.is_book else None
    if book is not None:
        looked_at(book, who.current_person(), what)


def noting(record: Source, what: str) -> Callable[[], None]:
    """Give what a download does first: write down who took it; nothing where there is no book.

    Parameters
    ----------
    record, what
        As for :func:`list_seen`. Who it is gets asked now: the download itself is made outside
        the page.
    """
    book = book_data.book() if record.is_book else None
    person = who.current_person()

    def note() -> None:
        if book is not None:
            _log(book, person, HANDED_OUT, what)

    return note


def _log(book: Book, person: Person, did: str, *what: str) -> None:
    from insights.history.book.access_log import log_access

    # A reader's own book refuses every write, this one too.
    kept_in = who.book_of_users() if who.signs_in() else book
    log_access(kept_in, replace(person, name=person.name or NOBODY), did, *what)
