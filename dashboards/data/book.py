"""The job book the program was started on, kept open, and what is read from it between saves."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st

from dashboards import who
from dashboards.gate.policy import Policy
from dashboards.server import SOURCE_VARIABLE
from insights.errors import NotAllowed
from insights.history.book.address import is_book
from insights.history.schema import History
from insights.history.units import Links

if TYPE_CHECKING:
    # The database library takes a while to import, which only a book should cost.
    from insights.history.book.book import Book
    from insights.history.book.kept_reading import KeptReading


def is_open() -> bool:
    """Whether the program was started on a job book."""
    given = os.environ.get(SOURCE_VARIABLE)
    return given is not None and is_book(given)


def book() -> Book | None:
    """Give the open job book; None where the program was started on something else.

    Whoever may not write gets a book in which the database itself refuses every write, whatever
    a page might try.
    """
    return _opened(os.environ[SOURCE_VARIABLE], not who.may_write()) if is_open() else None


def open_from_now_on(path: Path) -> None:
    """Go on with a job book in place of what the program was started on.

    Parameters
    ----------
    path
        A book on this machine.
    """
    if Policy.from_environment().sign_in:
        # People signed in to one book; another one knows nothing of who may do what.
        raise NotAllowed("While people sign in, the book that was opened stays the open one.")
    os.environ[SOURCE_VARIABLE] = str(path.resolve())


def history(opened: Book) -> History:
    """Read the book's jobs as they stand."""
    return _kept(opened, opened.name).history()


def links(opened: Book) -> Links:
    """Say which jobs of the book are the same unit, people's decisions among them."""
    return _kept(opened, opened.name).links()


@st.cache_resource(max_entries=2, show_spinner=False)
def _opened(given: str, read_only: bool) -> Book:
    from insights.history.book.opening import open_book

    return open_book(given, read_only=read_only)


@st.cache_resource(max_entries=2, show_spinner=False)
def _kept(_book: Book, name: str) -> KeptReading:
    from insights.history.book.kept_reading import KeptReading

    return KeptReading(_book)
