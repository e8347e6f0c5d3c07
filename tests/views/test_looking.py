"""Every page that shows a customer's job writes down who looked, once a visit and job."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from screen import turn_to

from dashboards import looking, who
from dashboards.data import Source
from dashboards.data import book as book_data
from dashboards.who import NAMED
from insights.bench.second_coding import keep_share
from insights.errors import BookError
from insights.history.book.access_log import accesses
from insights.history.book.book import Book
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person

ADA, BO = Person("Ada"), Person("Bo")
BOOK = Source("book.db", "1", is_book=True)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """A boiler that came back, and two grinders that may be one."""
    made = create_book(tmp_path / "book.db", Settings(), ADA)
    for serial, received, more in (
        ("WB-4471", "2026-01-02", {"handed_back": "2026-01-05", "root_cause": "contact"}),
        ("WB-4471", "2026-02-18", {"root_cause": "contact"}),
        ("GR-447100", "2026-03-01", {"handed_back": "2026-03-02", "customer": "Cafe Nine"}),
        ("GR-441700", "2026-04-01", {"customer": "Cafe Ten"}),
    ):
        card = {"unit_serial": serial, "received": received, "unit_age_years": "3", **more}
        made.receive({"model": "boiler", **card}, by=BO)
    keep_share(made, 1.0, by=ADA)
    return made


def looked(book: Book) -> list[tuple[str, str]]:
    lines = accesses(book, by=ADA)
    seen = lines[lines["did"] == "looked at"]
    return sorted(zip(seen["who"], seen["what"], strict=True))


@pytest.mark.parametrize(
    ("page", "jobs"),
    [
        ("Comebacks to decide", ["J000001", "J000002"]),
        ("Same unit?", ["J000003", "J000004"]),
    ],
)
def test_two_jobs_side_by_side_are_two_looks_once_a_visit(open_app, book, page, jobs):
    app = open_app(Path(book.name))
    app.session_state[NAMED] = "Ada"
    turn_to(app, page)
    app.run()
    assert not app.exception
    assert looked(book) == [("Ada", job) for job in jobs]
    again = open_app(Path(book.name))
    again.session_state[NAMED] = "Ada"
    turn_to(again, page)
    assert looked(book) == sorted(2 * [("Ada", job) for job in jobs])


def test_an_arrival_that_was_here_before_is_a_look_at_its_visits(open_app, book):
    app = open_app(Path(book.name))
    app.session_state[NAMED] = "Bo"
    app = turn_to(app, "Take in")
    (serial,) = [one for one in app.text_input if str(one.key).endswith("-unit_serial")]
    assert looked(book) == []
    serial.set_value("WB 4471").run()
    assert not app.exception
    assert looked(book) == [("Bo", "J000001"), ("Bo", "J000002")]


@pytest.fixture
def one_visit(book, monkeypatch):
    """A visit to any page, of someone who has not said their name."""
    monkeypatch.setattr(book_data, "book", lambda: book)
    monkeypatch.setattr(who, "current_person", lambda: Person(""))
    monkeypatch.setattr(looking.st, "session_state", {})
    return book


def test_a_list_is_written_down_by_its_length_and_a_file_is_nobody_s_book(one_visit):
    looking.list_seen(Source("jobs.csv", "1", path=Path("jobs.csv")), "to call in: 3 units")
    assert looked(one_visit) == []
    for length in (3, 3, 4):
        looking.list_seen(BOOK, f"to call in: {length} units")
    assert looked(one_visit) == [
        ("(not named)", "to call in: 3 units"),
        ("(not named)", "to call in: 4 units"),
    ]


def test_each_download_is_written_down_when_it_is_taken(one_visit):
    before = looking.noting(BOOK, "owners to call: 30 units")
    assert accesses(one_visit, by=ADA).empty
    before()
    before()
    lines = accesses(one_visit, by=ADA)
    assert lines["did"].tolist() == ["downloaded", "downloaded"]
    assert set(lines["what"]) == {"owners to call: 30 units"}
    looking.noting(Source("jobs.csv", "1", path=Path("jobs.csv")), "owners to call: 1 units")()
    assert len(accesses(one_visit, by=ADA)) == 2


def test_what_can_not_be_written_down_is_not_handed_out(monkeypatch):
    taken = {}
    monkeypatch.setattr(
        "dashboards.answer.st.download_button", lambda _, **given: taken.update(given)
    )

    def refuse() -> None:
        raise BookError("the disk is full")

    from dashboards import answer

    answer.download(pd.DataFrame({"customer": ["K1"]}), key="x", label="x", before=refuse)
    with pytest.raises(BookError, match="disk is full"):
        taken["data"]()
    answer.download(pd.DataFrame({"customer": ["K1"]}), key="x", label="x")
    assert taken["data"]() == b"customer\nK1\n"
