"""What the pages at the bench look up, kept between clicks like all of :mod:`dashboards.data`."""

from __future__ import annotations

import math
from concurrent.futures import Future
from threading import Thread
from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboards.data import book as book_data
from insights.errors import EntryError, EvidenceError, StaysfixedError
from insights.history.book.book import Book
from insights.history.book.codes import UsedCodes
from insights.history.book.look_up import Found, LookUp

if TYPE_CHECKING:
    from insights.bench.suggestion import CauseModel, Suggestion

LEARN_ANEW = 1.05
"""Learnt again whenever the saves have grown by a twentieth."""


def codes(book: Book) -> UsedCodes:
    """Give the workshop's own lists."""
    return _codes(book, book.name)


def here_before(book: Book, known: dict[str, Any]) -> Found | None:
    """Say whether an arriving unit was here before; None while nothing telling is entered."""
    told = {name: value for name, value in known.items() if value}
    if not told.get("unit_serial") and not (told.get("model") and told.get("customer")):
        return None
    try:
        return _look_up(book, book.name).find(told)
    except EntryError:
        return None  # the form itself says what can't be read


def cause_model(book: Book) -> CauseModel | None:
    """Give what the coded jobs teach about root causes; None while it is learnt, or too little.

    Learning takes seconds, so it goes on beside the pages.
    """
    saves, _ = book.revision()
    learnt = _learning(book, book.name, math.floor(math.log(max(saves, 1), LEARN_ANEW)))
    return learnt.result() if learnt.done() else None


def suggestion(learnt: CauseModel, complaint: str, notes: str) -> Suggestion:
    """Suggest a root cause for what was said and written."""
    from insights.bench.suggestion import suggest_root_cause

    return suggest_root_cause(learnt, complaint, notes)


def warm() -> None:
    """Read the book's signs and lists ahead of the first arrival; nothing without a book."""
    try:
        book = book_data.book()
        if book is not None:
            codes(book)
            _look_up(book, book.name)
            cause_model(book)
    except StaysfixedError:
        # Nothing is kept of a book that can't be read: the page reads it again and says why.
        return


@st.cache_resource(max_entries=2, show_spinner=False)
def _codes(_book: Book, name: str) -> UsedCodes:
    return UsedCodes(_book)


@st.cache_resource(max_entries=2, show_spinner=False)
def _look_up(_book: Book, name: str) -> LookUp:
    return LookUp(_book)


@st.cache_resource(max_entries=2, show_spinner=False)
def _learning(_book: Book, name: str, size: int) -> Future[CauseModel | None]:
    learnt: Future[CauseModel | None] = Future()
    Thread(target=_learn, args=(_book, learnt), name="learn-causes", daemon=True).start()
    return learnt


def _learn(book: Book, learnt: Future[CauseModel | None]) -> None:
    from insights.bench.suggestion import learn_root_causes

    try:
        learnt.set_result(learn_root_causes(book_data.history(book)))
    except EvidenceError:
        learnt.set_result(None)  # too few coded jobs yet: there is nothing to suggest from
    except Exception as error:  # noqa: BLE001 - whoever asks for the result meets it
        learnt.set_exception(error)
