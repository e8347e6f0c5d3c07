"""What is typed and not saved survives, and leaves no trace once it is saved."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import func, select

from insights.errors import BookError, NotAllowed
from insights.history.book.book import Book
from insights.history.book.drafts import draft_of, drop_draft, keep_draft, key_of
from insights.history.book.engines import reading
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book, open_book
from insights.history.book.people import Person
from insights.history.book.tables import drafts

ADA = Person("Ada")
EVE = Person("Eve", "reader")


@pytest.fixture
def book(tmp_path: Path) -> Book:
    return create_book(tmp_path / "book.db", Settings(), ADA)


def rows(book: Book) -> int:
    with reading(book.engine, book.name) as connection:
        return connection.execute(select(func.count()).select_from(drafts)).scalar_one()


def test_a_draft_is_kept_over_a_restart_and_is_one_row(book, tmp_path):
    key = key_of(ADA, "findings", "J000001")
    for typed in ("dr", "drips", "drips, then trips"):
        keep_draft(book, key, {"complaint": typed}, by=ADA)
    again = open_book(tmp_path / "book.db")
    assert draft_of(again, key) == {"complaint": "drips, then trips"}
    assert rows(again) == 1
    drop_draft(again, key, by=ADA)
    drop_draft(again, key, by=ADA)
    assert draft_of(again, key) is None
    assert rows(again) == 0


def test_a_draft_is_no_news_to_the_analysis(book):
    book.receive({"received": "2026-03-02", "model": "boiler"}, by=ADA)
    before = book.revision()
    keep_draft(book, "a", {"model": "x"}, by=ADA)
    assert book.revision() == before
    book.put("checklist", "boiler", [], by=ADA)
    assert book.revision() != before


def test_drafts_are_told_apart_by_person_form_and_job():
    names = [("Ada", "a", "1"), ("Bo", "a", "1"), ("Ada", "b", "1"), ("Ada", "a", "2")]
    assert len({key_of(Person(who), page, job) for who, page, job in names}) == 4
    assert key_of(ADA, "a|b", "c") != key_of(ADA, "a", "b|c")


def test_who_may_not_write_keeps_no_draft(book, tmp_path):
    with pytest.raises(NotAllowed):
        keep_draft(book, "a", {}, by=EVE)
    with pytest.raises(BookError, match="read-only"):
        keep_draft(open_book(tmp_path / "book.db", read_only=True), "a", {}, by=ADA)
