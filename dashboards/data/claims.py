"""Comebacks and doubtful pairs of the open book, kept between saves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd
import streamlit as st

from dashboards.data import book as book_data
from insights.bench import comebacks, same_unit, second_coding
from insights.history.book.people import Person

if TYPE_CHECKING:
    from insights.history.book.book import Book

LATELY_DECIDED = 200
"""Of those decided already, so many can be opened again."""


def waiting(book: Book) -> pd.DataFrame:
    """List the comebacks that nobody decided on yet."""
    return comebacks.undecided(_comebacks(book))


def to_open(book: Book) -> dict[str, str]:
    """Give each comeback's index job: those that wait first, then those decided lately."""
    found = _comebacks(book)
    first = waiting(book)
    decided = found[~found["job_id"].isin(first["job_id"])].iloc[::-1][:LATELY_DECIDED]
    return _index_of(first) | _index_of(decided)


def to_code(book: Book, person: Person) -> dict[str, str]:
    """Give the index job of each comeback that waits for this person's blind coding."""
    found = _comebacks(book)
    index_of = _index_of(found)
    return {job_id: index_of[job_id] for job_id in second_coding.to_code(book, found, person)}


def doubtful(book: Book) -> pd.DataFrame:
    """List the pairs of jobs that may be one unit."""
    return same_unit.doubtful(book_data.links(book))


def decided(book: Book) -> pd.DataFrame:
    """List the pairs that a person decided."""
    pairs = book_data.links(book).pairs
    return pairs[pairs["status"] == "decided"].reset_index(drop=True)


def today() -> pd.Timestamp:
    """Give this machine's day."""
    return pd.Timestamp.now().normalize()


def _index_of(found: pd.DataFrame) -> dict[str, str]:
    return dict(zip(found["job_id"], found["index_job_id"], strict=True))


def _comebacks(book: Book) -> pd.DataFrame:
    return _found(book, (book.name, book.revision(), today()))


@st.cache_resource(max_entries=2, show_spinner=False)
def _found(_book: Book, state: tuple[str, tuple[int, int], pd.Timestamp]) -> pd.DataFrame:
    return comebacks.comebacks(book_data.history(_book), book_data.links(_book), state[2])
