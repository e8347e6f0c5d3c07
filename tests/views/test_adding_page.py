"""A file is looked through, added and mended on its page of the app."""

from __future__ import annotations

from pathlib import Path

import pytest
from screen import answers, page_text, turn_to

from dashboards.who import NAMED
from insights.history.book.book import Book
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.history.book.refused import refused_rows

ADA = Person("Ada")
SHEET = (
    b"job_id,received,model,price\n"
    b"1,2025-03-02,grill,10.50\n"
    b"2,2025-02-30,boiler,20\n"
    b"3,2025-03-02,boiler,20.005\n"
)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    return create_book(tmp_path / "book.db", Settings(currency="EUR"), ADA)


@pytest.fixture
def page(book, open_app):
    app = open_app(Path(book.name))
    app.session_state[NAMED] = "Ada"
    app.run()
    return turn_to(app, "Add a file")


def press(app, label: str):
    (button,) = [button for button in app.button if button.label == label]
    return button.click().run()


def test_a_file_is_tried_then_added_then_mended(book: Book, page) -> None:
    page.file_uploader(key="adding-upload").upload("jobs.csv", SHEET, "text/csv").run()
    assert answers(page) == ["Of 3 rows in jobs.csv: 1 new to the book, 2 refused."]
    assert "Nothing is stored yet" in page_text(page)
    assert book.history().jobs.empty
    press(page, "Add it to the book")
    assert answers(page) == ["Of 3 rows in jobs.csv: 1 new and in the book now, 2 refused."]
    assert [row.job_id for row in refused_rows(book)] == ["2", "3"]
    (received,) = [field for field in page.text_input if field.label == "received"]
    received.set_value("2025-02-31").run()
    press(page, "Store it as a job")
    assert "not a day written as" in page_text(page).lower()
    (received,) = [field for field in page.text_input if field.label == "received"]
    received.set_value("2025-02-28").run()
    press(page, "Store it as a job")
    assert f"{book.job('2').values['received']:%Y-%m-%d}" == "2025-02-28"
    told = [message.value for message in page.success]
    assert told == ["Job 2 is in the book now, mended from row 3 of jobs.csv."]
    press(page, "It is no job: take it off the list")
    assert refused_rows(book) == ()
    assert sorted(book.history().jobs["job_id"]) == ["1", "2"]


def test_a_file_of_other_headings_is_asked_about(page) -> None:
    sheet = SHEET.replace(b"received", b"came in").replace(b"model", b"kind")
    page.file_uploader(key="adding-upload").upload("jobs.csv", sheet, "text/csv").run()
    assert "headings of its own" in page_text(page)
    assert not answers(page)
    for asked, heading in (("The day the unit arrived", "came in"), ("Model or family", "kind")):
        (field,) = [one for one in page.selectbox if one.label.startswith(asked)]
        field.set_value(heading)
    press(page, "Read it like this")
    assert answers(page)[0].startswith("Of 3 rows in jobs.csv")


def test_what_is_no_table_is_told(book: Book, page) -> None:
    page.file_uploader(key="adding-upload").upload("x.csv", b"\x89PNG..", "text/csv").run()
    assert "a picture" in page_text(page)
    assert book.history().jobs.empty
