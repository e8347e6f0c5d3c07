"""The job book the program was started on, kept open, and what is read from it between saves."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import streamlit as st

from dashboards.server import SOURCE_VARIABLE
from insights.history.book.address import is_book
from insights.history.schema import History
from insights.history.units import Links, link_units

if TYPE_CHECKING:
    # The database library takes a while to import, which only a book should cost.
    from insights.history.book.book import Book


def book() -> Book | None:
    """Give the open job book; None where the program was started on something else."""
    given = os.environ.get(SOURCE_VARIABLE)
    return _opened(given) if given and is_book(given) else None


def history(opened: Book) -> History:
    """Read the book's jobs as they stand."""
    return _history(opened, (opened.name, opened.revision()))


def links(opened: Book) -> Links:
    """Say which jobs of the book are the same unit, people's decisions among them."""
    return _links(opened, (opened.name, opened.revision()))


@st.cache_resource(max_entries=2, show_spinner=False)
def _opened(given: str) -> Book:
    from insights.history.book.opening import open_book

    return open_book(given)


@st.cache_resource(max_entries=2, show_spinner=False)
def _history(_book: Book, revision: tuple[str, tuple[int, int]]) -> History:
    return _book.history()


@st.cache_resource(max_entries=2, show_spinner=False)
def _links(_book: Book, revision: tuple[str, tuple[int, int]]) -> Links:
    from insights.history.book.decisions import unit_decisions

    jobs = history(_book)
    return link_units(jobs, decisions=unit_decisions(_book, jobs))
