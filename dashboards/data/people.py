"""Whose data are beyond the limit, kept between clicks."""

from __future__ import annotations

from datetime import date

import pandas as pd
import streamlit as st

from insights.history.book.book import Book
from insights.history.book.retention import overdue


def beyond_limit(book: Book, today: date) -> pd.DataFrame:
    """List the customers beyond the limit, as the book stands."""
    return _beyond(book, (book.name, book.revision()), today)


@st.cache_resource(max_entries=2, show_spinner=False)
def _beyond(_book: Book, revision: tuple[str, tuple[int, int]], today: date) -> pd.DataFrame:
    return overdue(_book, today)
