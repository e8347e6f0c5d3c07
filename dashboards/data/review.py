"""What the page that looks back shows, kept between clicks like all of :mod:`dashboards.data`."""

from __future__ import annotations

import io
from datetime import date

import pandas as pd
import streamlit as st

from dashboards.data import Source, followup
from dashboards.data import book as book_data
from dashboards.selection import Selection
from insights.harmless import harmless_frame
from insights.history.book.people import Person
from insights.reviewing.call_back import (
    Corrected,
    call_back_sample,
    failed_if_known,
    failed_share,
    read_answers,
)
from insights.reviewing.cohorts import Cohorts, cohorts
from insights.reviewing.dearest import CostsByCause, costs_by_cause
from insights.reviewing.kept_calls import drawn_in, keep_drawn
from insights.reviewing.rates import Review, review


def reviewed(source: Source, selection: Selection) -> Review:
    """Compare groups with what their mix of work lets one expect."""
    return _reviewed(source, source.revision, selection)


def ageing(source: Source, selection: Selection) -> Cohorts:
    """Set months of hand-back, and two years, side by side."""
    return _ageing(source, source.revision, selection)


def costs(source: Source, selection: Selection) -> CostsByCause:
    """Add up what comebacks cost by root cause."""
    return _costs(source, source.revision, selection)


def to_call(source: Source, selection: Selection, size: int, seed: int) -> pd.DataFrame:
    """Draw owners to call, ready for a spreadsheet."""
    drawn = call_back_sample(followup(source, selection), size=size, seed=seed)
    handed_back = drawn["handed_back"].dt.strftime("%Y-%m-%d")
    return harmless_frame(drawn.assign(handed_back=handed_back))


def failed(source: Source, selection: Selection, answers: bytes, day: int) -> Corrected:
    """Correct the share back to the share that failed, by what owners answered."""
    return failed_share(followup(source, selection), read_answers(io.BytesIO(answers)), day)


def failed_by_book(source: Source, selection: Selection, day: int) -> Corrected | None:
    """Correct the share back by what the open book knows; None where it knows too little."""
    return _failed(source, source.revision, selection, day) if source.is_book else None


def draw_calls(source: Source, selection: Selection, size: int, person: Person) -> None:
    """Draw owners and store whom, unless some drawn before still wait.

    Raises
    ------
    EvidenceError
        There is nobody (more) to draw.
    NotAllowed, BookError
        The role may not write; the database refused.
    """
    book = book_data.book()
    if book is None:
        return
    before = drawn_in(book)
    if (before["answer"] == "").any():
        return
    drawn = call_back_sample(
        followup(source, selection), size=size, leave_out=tuple(before["job_id"])
    )
    keep_drawn(book, drawn["job_id"], date.today(), by=person)


def warm(source: Source) -> None:
    """Answer what the page asks at first."""
    ageing(source, Selection())
    reviewed(source, Selection())
    costs(source, Selection())


@st.cache_resource(max_entries=8, show_spinner=False)
def _failed(_source: Source, revision: str, selection: Selection, day: int) -> Corrected | None:
    book = book_data.book()
    answers = None if book is None else drawn_in(book)
    return failed_if_known(followup(_source, selection), answers, day)


@st.cache_resource(max_entries=8, show_spinner=False)
def _reviewed(_source: Source, revision: str, selection: Selection) -> Review:
    return review(followup(_source, selection))


@st.cache_resource(max_entries=8, show_spinner=False)
def _ageing(_source: Source, revision: str, selection: Selection) -> Cohorts:
    return cohorts(followup(_source, selection))


@st.cache_resource(max_entries=8, show_spinner=False)
def _costs(_source: Source, revision: str, selection: Selection) -> CostsByCause:
    return costs_by_cause(followup(_source, selection))
