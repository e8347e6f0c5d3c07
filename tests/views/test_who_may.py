"""A reader can't write by any page; an owner looks after people and customers' data."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from screen import page_text, turn_to
from streamlit.testing.v1 import AppTest

from dashboards import who
from dashboards.gate.policy import VARIABLE, Policy
from dashboards.gate.who_is_in import person_signed_in
from dashboards.server import APP, SOURCE_VARIABLE
from insights.errors import BookError, NotAllowed
from insights.history.book.access_log import accesses
from insights.history.book.book import Book
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book, open_book
from insights.history.book.people import Person
from insights.history.book.retention import retention_days
from insights.history.book.sessions import sign_in, sign_out
from insights.history.book.users import add_user, users_of

ADA, BO = Person("Ada"), Person("Bo", "bench")
GOOD = "three kettles on a shelf"
BENCH_PAGES = (
    "Take in",
    "On the bench",
    "Comebacks to decide",
    "A second opinion",
    "Same unit?",
    "Bench lists",
    "Add a file",
    "Who may do what",
)
MAY_CHANGE = ("sessions", "attempts", "access_log", "sqlite_sequence")
CARD = {"received": "2024-03-01", "model": "boiler", "unit_serial": "WB-1", "customer": "Tomas 9"}


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Book:
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr("insights.history.book.passwords._hasher", lambda: quick)
    made = create_book(tmp_path / "book.db", Settings(), ADA)
    for name, role in (("Ada", "owner"), ("Bo", "bench"), ("Eve", "reader")):
        add_user(made, name, role, GOOD, by=ADA)
    for day in ("2024-03-05", "2024-05-02", None):
        given = {**CARD, "received": day or "2024-06-01", "handed_back": day, "term_days": 180}
        made.receive(given, by=BO)
    return made


@pytest.fixture
def open_as(book: Book, monkeypatch: pytest.MonkeyPatch) -> Callable[[str], AppTest]:
    """Open the dashboard on the book as someone who signed in; AppTest carries no cookies."""

    def opened(name: str) -> AppTest:
        token = sign_in(book, name, GOOD, address="").token
        policy = Policy(book.name)
        policy_text = f'{{"book": "{book.name}"}}'
        monkeypatch.setenv(VARIABLE, policy_text)
        monkeypatch.setenv(SOURCE_VARIABLE, book.name)
        carried = {policy.cookie: token}
        monkeypatch.setattr(who, "person_signed_in", lambda _: person_signed_in(carried))
        opened.token = token
        return AppTest.from_file(str(APP), default_timeout=60).run()

    return opened


def stored(book: Book) -> dict[str, list]:
    """Everything in the book but who was there."""
    with closing(sqlite3.connect(book.name)) as raw:
        names = [
            row[0] for row in raw.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        ]
        kept = [name for name in names if name not in MAY_CHANGE]
        return {name: raw.execute(f"SELECT * FROM {name}").fetchall() for name in kept}


def press_everything(app: AppTest) -> None:
    """Fill in every field and press every button that can be pressed."""
    for field in (*app.text_input, *app.text_area):
        if not field.disabled:
            field.set_value("7")
    for place in range(len(app.button)):
        if place < len(app.button) and not app.button[place].disabled:
            app.button[place].click()
            app.run()
            assert not app.exception


def test_a_reader_writes_by_no_page(open_as, book):
    app = open_as("Eve")
    before = stored(book)
    for page in BENCH_PAGES:
        press_everything(turn_to(app, page))
        assert stored(book) == before, page
    app = turn_to(open_as("Eve"), "On the bench")
    for step in ("Found", "Done", "Parts", "Readings", "Leaves", "Changes"):
        app.query_params["job"] = "J000003"
        app.run()
        app.radio(key="bench-step-J000003").set_value(step)
        app.run()
        press_everything(app)
        assert stored(book) == before, step


def test_the_same_presses_write_for_the_bench(open_as, book):
    before = stored(book)
    press_everything(turn_to(open_as("Bo"), "Take in"))
    assert stored(book) != before


def test_a_reader_s_book_refuses_whatever_a_page_might_try(open_as, book, monkeypatch):
    open_as("Eve")
    assert not who.may_write()
    read = open_book(book.name, read_only=True)
    with pytest.raises(NotAllowed):
        read.receive(CARD, by=Person("Eve", "reader"))
    # Even a page that would call the reader an owner: the database refuses.
    with pytest.raises(BookError, match="read-only"):
        read.receive(CARD, by=ADA)


def test_what_a_reader_looked_at_is_written_down_once(open_as, book):
    app = turn_to(open_as("Eve"), "On the bench")
    app.query_params["job"] = "J000003"
    app.run().run()
    lines = accesses(book, by=ADA)
    assert list(lines["did"]).count("looked at") == 1
    assert lines.iloc[0][["who", "what"]].tolist() == ["Eve", "J000003"]


def test_whoever_signs_out_sees_nothing_more(open_as, book):
    app = open_as("Eve")
    sign_out(book, open_as.token)
    app.run()
    assert "signed out" in page_text(app)
    assert not app.dataframe
    assert not app.get("plotly_chart")


def test_an_owner_adds_someone_and_the_password_is_not_kept(open_as, book):
    app = turn_to(open_as("Ada"), "Who may do what")
    app.text_input(key="new-name").set_value("Cy")
    app.text_input(key="new-password").set_value("ten grinders waiting")
    app.radio(key="new-role").set_value("bench")
    button(app, "Add").click()
    app.run()
    assert "Cy may sign in now, as bench" in page_text(app) + said(app)
    assert [user.name for user in users_of(book)] == ["Ada", "Bo", "Cy", "Eve"]
    assert "ten grinders" not in str(stored(book))


def test_an_owner_is_told_why_not(open_as, book):
    app = turn_to(open_as("Ada"), "Who may do what")
    app.selectbox(key="known-name").set_value("Ada")
    button(app, "Take out").click()
    app.run()
    assert "only owner" in page_text(app)
    assert len(users_of(book)) == 3


def test_an_owner_sets_the_limit_and_wipes_what_is_beyond(open_as, book):
    app = turn_to(open_as("Ada"), "Who may do what")
    app.number_input(key="limit-days").set_value(365)
    button(app, "Set").click()
    app.run()
    assert retention_days(book) == 365
    # The customer's third unit is on the bench: nothing of theirs is beyond any limit.
    assert "0 customers are beyond" in page_text(app)
    book.save("J000003", {"handed_back": "2024-06-02"}, expected=1, by=BO, what="back")
    app.run()
    app.checkbox(key="wipe-sure").check()
    app.run()
    app.button(key="wipe").click()
    app.run()
    assert "Wiped: 1 customer on 3 jobs" in said(app)
    assert book.history().jobs["customer"].str.startswith("erased-").all()


def test_erasing_asks_twice(open_as, book):
    app = turn_to(open_as("Ada"), "Who may do what")
    app.text_input(key="erase-customer").set_value("Tomas 9")
    button(app, "Erase").click()
    app.run()
    assert "nothing was erased" in page_text(app)
    app.text_input(key="erase-customer").set_value("Tomas 9")
    app.text_input(key="erase-again").set_value("Tomas 9")
    button(app, "Erase").click()
    app.run()
    assert "Wiped: 1 customer" in said(app)


def test_the_bench_sees_none_of_it(open_as):
    app = turn_to(open_as("Bo"), "Who may do what")
    assert "Only an owner" in page_text(app)
    assert [field.key for field in app.text_input] == ["own-old", "own-new"]


def test_one_s_own_password(open_as, book):
    app = turn_to(open_as("Eve"), "Who may do what")
    app.text_input(key="own-old").set_value(GOOD)
    app.text_input(key="own-new").set_value("ten grinders waiting")
    button(app, "Change it").click()
    app.run()
    assert sign_in(book, "Eve", "ten grinders waiting", address="").token


def button(app: AppTest, label: str):
    (found,) = [one for one in app.button if one.label == label]
    return found


def said(app: AppTest) -> str:
    return "\n".join(element.value for element in app.success).replace("\\", "")
