"""Owners called from the page: drawn, asked one by one, kept in the book, said on other pages."""

from __future__ import annotations

from datetime import date

import pytest
from screen import page_text, turn_to

from dashboards.who import NAMED
from insights.followup import follow_up
from insights.history.book.access_log import accesses
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.reviewing.call_back import ANSWERS, call_back_sample, failed_share
from insights.reviewing.kept_calls import drawn_in, keep_answer, keep_drawn
from insights.wording import calls as wording_calls
from synthetic.cafe import cafe_workshop
from synthetic.generate import generate

ADA = Person("Ada")
PAGE = "Better or worse"


@pytest.fixture
def book(tmp_path):
    made, _ = generate(cafe_workshop(jobs=600, seed=4))
    book = create_book(tmp_path / "book.db", Settings(currency="EUR"), ADA)
    book.add_history(type(made)(made.jobs.assign(customer="Cafe Nine", phone="0555 1")), by=ADA)
    return book


def test_owners_are_drawn_asked_and_counted(open_app, book):
    app = open_app(book.name, PAGE)
    assert "No owner has been drawn yet." in page_text(app)
    app.session_state[NAMED] = "Bo"
    app.slider(key="review-calls").set_value(10).run()
    app.button(key="calls-draw").click().run()
    assert not app.exception
    drawn = drawn_in(book)
    assert len(drawn) == 10
    assert "Of 10 owners drawn 10 are still to be called." in page_text(app)
    first = app.selectbox(key="calls-job-0").value
    assert first == drawn["job_id"].iloc[0]
    text = page_text(app)
    assert "Customer: **Cafe Nine**" in text
    assert "0555 1" in text
    logged = accesses(book, by=ADA)
    assert ("Bo", "looked at", first) in set(
        zip(logged["who"], logged["did"], logged["what"], strict=True)
    )
    # Saved with nothing chosen: refused in words, nothing kept.
    save = next(button for button in app.button if button.label == "Save the answer")
    save.click().run()
    assert "is not an answer" in page_text(app)
    assert (drawn_in(book)["answer"] == "").all()
    choice = next(radio for radio in app.radio if radio.label == "What the owner says of it")
    choice.set_value("would_return")
    next(button for button in app.button if button.label == "Save the answer").click().run()
    assert drawn_in(book).set_index("job_id")["answer"][first] == "would_return"
    assert book.all_of("call_back")[first].saved_by == "Bo"
    assert any(f"what the owner of {first} said" in note.value for note in app.success)
    assert app.selectbox(key="calls-job-1").value != first  # the next one to call


@pytest.mark.slow
def test_what_failed_is_said_on_every_page_that_needs_it(open_app, book):
    keep_all(book)
    failed = failed_share(follow_up(book.history()), drawn_in(book), 180)
    app = open_app(book.name)
    assert wording_calls.of_failed(failed, 180) in page_text(app)
    app = turn_to(app, "Warranties")
    assert wording_calls.of_quoted(failed) in page_text(app)
    assert not app.exception


def keep_all(book) -> None:
    drawn = call_back_sample(follow_up(book.history()), size=12)
    keep_drawn(book, drawn["job_id"], date(2025, 10, 1), by=ADA)
    answers = list(ANSWERS)
    for place, job_id in enumerate(drawn["job_id"]):
        keep_answer(book, job_id, answers[place % 2], by=ADA)
