"""A form loses nothing: drafts, one save, news of others, refusals that keep what was typed."""

from __future__ import annotations

from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from insights.history.book.book import Book
from insights.history.book.drafts import draft_of, key_of
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person

ADA, BO = Person("Ada", "bench"), Person("Bo", "bench")


def page(path: str, job_id: str, name: str, role: str = "bench") -> None:
    """Draw a form on a job; what AppTest runs must import for itself."""
    import streamlit as st

    from dashboards.bench.forms import Form
    from insights.history.book.opening import open_book
    from insights.history.book.people import Person

    book, person = open_book(path), Person(name, role)
    job = book.job(job_id)
    stands = {name: str(job.values.get(name, "")) for name in ("root_cause", "cause_removed")}
    form = Form(
        book,
        person,
        "findings",
        job_id,
        fields={**stands, "price": str(job.values.get("price", ""))},
        number=job.number,
        news=lambda since: [f"{v.saved_by} saved" for v in book.versions_of(job_id)[since:]],
    )
    form.notices()
    form.code("root_cause", "Root cause", ["contact", "cord"])
    form.pick("cause_removed", "Removed?", ["yes", "no", "unknown"])
    form.text("price", "Price", number=True)

    def save(sent):
        book.save(
            job_id,
            sent.changes,
            expected=sent.expected,
            by=person,
            what="findings",
            token=sent.token,
        )
        return "Saved."

    form.save("Save", save)
    if form.said:
        st.markdown(form.said)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    made = create_book(tmp_path / "book.db", Settings(), Person("Ada"))
    made.receive({"received": "2026-03-02", "model": "boiler", "price": "30"}, by=ADA)
    return made


@pytest.fixture
def opened(book):
    """Open the form in a new visit, as after a reload."""

    def visit(person: Person = ADA) -> AppTest:
        given = (book.name, "J000001", person.name, person.role)
        return AppTest.from_function(page, args=given, default_timeout=20).run()

    return visit


def fill(app: AppTest, **entries: str) -> AppTest:
    for name, value in entries.items():
        kinds = {"price": app.text_input, "cause_removed": app.radio, "root_cause": app.selectbox}
        kinds[name][0].set_value(value).run()
    return app


def save(app: AppTest) -> AppTest:
    next(button for button in app.button if button.label == "Save").click().run()
    assert not app.exception
    return app


def texts(app: AppTest) -> str:
    kinds = (app.error, app.warning, app.info, app.markdown)
    return " ".join(element.value for kind in kinds for element in kind)


def test_only_what_was_changed_is_saved_and_the_draft_goes(opened, book):
    app = save(fill(opened(), root_cause="contact"))
    assert book.job("J000001").values["root_cause"] == "contact"
    changed = book.changes("J000001")
    assert changed[changed["what"] == "findings"]["column"].tolist() == ["root_cause"]
    assert "Saved." in texts(app)
    assert draft_of(book, key_of(ADA, "findings", "J000001")) is None
    assert app.text_input[0].value == "30.0"


def test_a_draft_survives_a_reload_and_belongs_to_one_person(opened, book):
    fill(opened(), price="45.50", cause_removed="yes")
    again = opened()
    assert again.text_input[0].value == "45.50"
    assert again.radio[0].value == "yes"
    assert "here again" in texts(again)
    assert opened(BO).text_input[0].value == "30.0"
    save(again)
    assert book.job("J000001").values["price"] == 45.5


def test_a_draft_can_be_thrown_away(opened, book):
    app = fill(opened(), price="45.50")
    app = opened()
    next(button for button in app.button if button.label == "Throw it away").click().run()
    assert app.text_input[0].value == "30.0"
    assert opened().text_input[0].value == "30.0"


def test_the_same_entry_sent_from_two_windows_is_stored_once(opened, book):
    fill(opened(), price="45.50")
    first, second = opened(), opened()
    save(first)
    save(second)
    assert book.job("J000001").number == 2


def test_what_cannot_be_stored_is_marked_and_kept(opened, book):
    app = save(fill(opened(), price="cheap", root_cause="cord"))
    assert "Nothing you typed is lost" in texts(app)
    assert app.text_input[0].value == "cheap"
    assert book.job("J000001").number == 1
    save(fill(app, price="45"))
    assert book.job("J000001").values["price"] == 45


def test_another_persons_save_is_told_and_never_overwritten(opened, book):
    app = fill(opened(), price="45")
    save(fill(opened(BO), root_cause="cord"))
    app = save(app)
    assert "someone else saved" in texts(app)
    assert "Bo saved" in texts(app)
    assert app.selectbox[0].value == "cord"
    assert app.text_input[0].value == "45"
    save(app)
    values = book.job("J000001").values
    assert (values["price"], values["root_cause"]) == (45, "cord")


@pytest.mark.parametrize(("button", "stands"), [("Mine stands", 45), ("Theirs stands", 50)])
def test_two_who_changed_one_field_choose(opened, book, button, stands):
    app = fill(opened(), price="45", cause_removed="no")
    save(fill(opened(BO), price="50"))
    app = save(app)
    assert "you entered '45', meanwhile '50.0' was saved" in texts(app).replace("\\", "")
    assert next(found for found in app.button if found.label == "Save").disabled
    next(found for found in app.button if found.label == button).click().run()
    save(app)
    values = book.job("J000001").values
    assert (values["price"], values["cause_removed"]) == (stands, "no")


def test_a_clash_is_seen_after_a_reload_too(opened, book):
    fill(opened(), price="45")
    save(fill(opened(BO), price="50"))
    assert "meanwhile '50.0' was saved" in texts(opened()).replace("\\", "")


def test_a_reader_types_nothing_into_the_book(opened, book):
    app = fill(opened(Person("Eve", "reader")), price="45")
    assert app.button[0].disabled
    assert "may read" in texts(app)
    assert draft_of(book, key_of(Person("Eve"), "findings", "J000001")) is None


def test_a_draft_that_cannot_be_kept_is_said(opened, book, monkeypatch):
    from dashboards.bench import forms
    from insights.errors import BookError

    app = opened()

    def full(*_, **__):
        raise BookError("the disk is full. Make room.")

    monkeypatch.setattr(forms, "keep_draft", full)
    app = fill(app, price="45")
    assert "not being kept" in texts(app)
    assert "disk is full" in texts(app)
