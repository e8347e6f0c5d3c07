"""What adding a file to the job book would do, kept between clicks like all of :mod:`data`."""

from __future__ import annotations

import streamlit as st

from dashboards import data
from dashboards.data import Source
from insights.history.book.adding import Added, add_history, plan_adding
from insights.history.book.book import Book
from insights.history.book.people import Person
from insights.history.book.refused import RefusedRow, refused_rows


def tried(book: Book, source: Source) -> Added:
    """Say what would become of a file's rows.

    Raises
    ------
    StaysfixedError
        It can't be read, or not without a question.
    """
    return _tried(book, source, (book.name, book.revision(), source.revision))


def add(book: Book, source: Source, by: Person) -> Added:
    """Add a file's jobs to the book."""
    return add_history(book, data.history(source), source.declared, by=by)


def waiting(book: Book) -> tuple[RefusedRow, ...]:
    """List the refused rows that wait to be mended."""
    return _waiting(book, (book.name, book.revision()))


@st.cache_resource(max_entries=2, show_spinner=False)
def _tried(_book: Book, _source: Source, revision: tuple[object, ...]) -> Added:
    return plan_adding(_book, data.history(_source), _source.declared).added


@st.cache_resource(max_entries=2, show_spinner=False)
def _waiting(_book: Book, revision: tuple[object, ...]) -> tuple[RefusedRow, ...]:
    return refused_rows(_book)
