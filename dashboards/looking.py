"""Writing down who looked at customers' data, before they are shown."""

from __future__ import annotations

import streamlit as st

from dashboards import who
from insights.history.book.access_log import log_access
from insights.history.book.book import Book
from insights.history.book.people import Person

_SEEN = "looked-at"


def looked_at(book: Book, person: Person, job_id: str) -> None:
    """Write down that someone looked at a job; once a visit for each job.

    Parameters
    ----------
    book
        The open book, as far as the person may use it.
    person
        Who looks.
    job_id
        The job: its number tells no more than it must.

    Raises
    ------
    BookError
        It can't be written down; then nothing should be shown.
    """
    seen = st.session_state.setdefault(_SEEN, set())
    mark = (person.name, job_id)
    if mark not in seen:
        # A reader's own book refuses every write, this one too.
        log_access(who.book_of_users() if who.signs_in() else book, person, "looked at", job_id)
        seen.add(mark)
