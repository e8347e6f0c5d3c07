"""Passwords, sessions and guessing, as NIST SP 800-63B and OWASP's session rules ask.

OWASP Session Management: a token of at least 64 random bits, new at each sign-in, with an idle
and an absolute end, and void at sign-out. NIST: unlimited guessing must be prevented; passwords
hashed with a memory-hard function.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from insights.errors import EntryError, NotAllowed, RequestError
from insights.history.book import engines, sessions, throttle
from insights.history.book.access_log import accesses, log_access
from insights.history.book.book import Book
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book, open_book
from insights.history.book.passwords import SHORTEST, check_password
from insights.history.book.people import Person
from insights.history.book.sessions import has_users, person_of, sign_in, sign_out
from insights.history.book.users import (
    add_user,
    change_own_password,
    remove_user,
    set_password,
    set_role,
    users_of,
)

ADA, BO, EVE = Person("Ada"), Person("Bo", "bench"), Person("Eve", "reader")
GOOD = "three kettles on a shelf"
OTHER = "four grinders in a row"


class Clock:
    """A clock that is set by hand, in seconds."""

    def __init__(self) -> None:
        self.seconds = 1_800_000_000.0

    def __call__(self) -> int:
        return int(self.seconds * 1_000_000)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    clock = Clock()
    for module in (engines, sessions, throttle):
        monkeypatch.setattr(module, "now_us", clock)
    return clock


@pytest.fixture(autouse=True)
def _quick_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    from argon2 import PasswordHasher

    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr("insights.history.book.passwords._hasher", lambda: quick)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    made = create_book(tmp_path / "book.db", Settings(), ADA)
    assert not has_users(made)
    add_user(made, "Ada", "owner", GOOD, by=ADA)
    add_user(made, "Bo Bench", "bench", OTHER, by=ADA)
    return made


def token_of(book: Book, name: str = "Ada", password: str = GOOD) -> str:
    token = sign_in(book, name, password, address="10.0.0.9").token
    assert token is not None
    return token


def test_who_signs_in_is_known_by_a_token_that_is_nowhere_in_the_book(book: Book) -> None:
    token = token_of(book, " bo  BENCH ", OTHER)
    assert person_of(book, token) == Person("Bo Bench", "bench")
    assert len(token) * 6 >= 64  # OWASP's least, in bits, of six-bit signs
    with closing(sqlite3.connect(book.name)) as raw:
        everything = "\n".join(raw.iterdump())
    assert token not in everything
    assert GOOD not in everything
    assert OTHER not in everything


def test_each_sign_in_has_a_token_of_its_own_and_sign_out_ends_one(book: Book) -> None:
    one, other = token_of(book), token_of(book)
    assert one != other
    sign_out(book, one)
    assert person_of(book, one) is None
    assert person_of(book, other) == ADA


@pytest.mark.parametrize("token", [None, "", "0" * 43, "' OR 1=1 --"])
def test_a_made_up_token_is_nobody(book: Book, token: str | None) -> None:
    assert person_of(book, token) is None


def test_a_session_ends_when_idle(book: Book, clock: Clock) -> None:
    token = token_of(book)
    for _ in range(5):
        clock.seconds += 30 * 60
        assert person_of(book, token) == ADA
    clock.seconds += 46 * 60
    assert person_of(book, token) is None


def test_a_session_ends_after_a_working_day_however_busy(book: Book, clock: Clock) -> None:
    token = token_of(book)
    for _ in range(24):
        assert person_of(book, token) == ADA
        clock.seconds += 30 * 60
    clock.seconds += 1
    assert person_of(book, token) is None
    assert person_of(book, token_of(book)) == ADA
    with closing(sqlite3.connect(book.name)) as raw:
        assert raw.execute("SELECT count(*) FROM sessions").fetchone() == (1,)


def test_guessing_a_name_s_password_gets_slower_and_the_right_one_waits_too(
    book: Book, clock: Clock
) -> None:
    waits = []
    for guess in range(9):
        found = sign_in(book, "Ada", f"a wrong guess {guess}", address=f"10.0.0.{guess}")
        if found.wait_seconds:
            waits.append(found.wait_seconds)
            assert sign_in(book, "Ada", GOOD, address="10.0.1.1").token is None
            clock.seconds += found.wait_seconds
            sign_in(book, "Ada", "a wrong guess", address=f"10.0.0.{guess}")
    assert waits == [5, 10, 20, 40, 80]
    # At its longest: a quarter of an hour a guess, so 96 a day.
    assert throttle.wait_seconds(100, 4) == 900
    clock.seconds += 900
    assert person_of(book, token_of(book)) == ADA
    assert sign_in(book, "Ada", "one slip", address="10.0.1.1").wait_seconds == 0


def test_guesses_sent_at_once_are_counted_before_they_are_checked(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked_at = []

    def slow(kept: str | None, password: str) -> bool:
        if len(looked_at) < 50:
            looked_at.append(password)
            # The next arrives while this one is still being hashed.
            sign_in(book, "Ada", f"{password}x", address="10.0.0.9")
        return False

    monkeypatch.setattr(sessions, "is_password", slow)
    sign_in(book, "Ada", "guess", address="10.0.0.9")
    assert len(looked_at) == throttle.FREE_BY_NAME


def test_one_address_can_t_try_every_name_nor_clear_its_count_by_a_password_of_its_own(
    book: Book,
) -> None:
    for guess in range(30):
        found = sign_in(book, f"name {guess}", "a password of many", address="10.0.0.9")
        own = sign_in(book, "Bo Bench", OTHER, address="10.0.0.9")
        if found.wait_seconds:
            break
    assert guess == throttle.FREE_BY_ADDRESS
    assert own.token is None
    assert sign_in(book, "Bo Bench", OTHER, address="10.0.0.10").token is not None


def test_a_name_nobody_has_is_answered_alike_and_its_hash_is_computed(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    checked = []
    real = sessions.is_password

    def counted(kept: str | None, password: str) -> bool:
        checked.append(kept)
        return real(kept, password)

    monkeypatch.setattr(sessions, "is_password", counted)
    nobody = [sign_in(book, "Nobody", "a wrong guess", address="a") for _ in range(6)]
    somebody = [sign_in(book, "Ada", "a wrong guess", address="b") for _ in range(6)]
    assert nobody == somebody
    assert len(checked) == 2 * throttle.FREE_BY_NAME
    assert not real(None, "anything at all")


def test_a_new_password_a_role_or_a_removal_acts_at_once(book: Book) -> None:
    token = token_of(book, "Bo Bench", OTHER)
    set_role(book, "bo bench", "reader", by=ADA)
    assert person_of(book, token) == Person("Bo Bench", "reader")
    set_password(book, "Bo Bench", GOOD, by=ADA)
    assert person_of(book, token) is None
    assert sign_in(book, "Bo Bench", OTHER, address="").token is None
    token = token_of(book, "Bo Bench", GOOD)
    remove_user(book, "Bo Bench", by=ADA)
    assert person_of(book, token) is None
    assert [user.name for user in users_of(book)] == ["Ada"]


def test_one_s_own_password_needs_the_present_one(book: Book) -> None:
    person = Person("Bo Bench", "bench")
    with pytest.raises(EntryError, match="not your present password"):
        change_own_password(book, "a wrong guess", GOOD, by=person)
    change_own_password(book, OTHER, GOOD, by=person)
    assert token_of(book, "Bo Bench", GOOD)


@pytest.mark.parametrize("person", [BO, EVE])
def test_only_an_owner_looks_after_people(book: Book, person: Person) -> None:
    with pytest.raises(NotAllowed):
        add_user(book, "Cy", "owner", GOOD, by=person)
    with pytest.raises(NotAllowed):
        set_role(book, "Bo Bench", "owner", by=person)
    with pytest.raises(NotAllowed):
        set_password(book, "Ada", OTHER, by=person)
    with pytest.raises(NotAllowed):
        remove_user(book, "Ada", by=person)
    with pytest.raises(NotAllowed):
        accesses(book, by=person)


def test_the_last_owner_stays(book: Book) -> None:
    with pytest.raises(RequestError, match="only owner"):
        remove_user(book, "Ada", by=ADA)
    with pytest.raises(RequestError, match="only owner"):
        set_role(book, "Ada", "reader", by=ADA)
    set_role(book, "Bo Bench", "owner", by=ADA)
    remove_user(book, "Ada", by=ADA)


def test_the_first_must_be_an_owner_and_names_are_unlike(tmp_path: Path) -> None:
    book = create_book(tmp_path / "book.db", Settings(), ADA)
    with pytest.raises(RequestError, match="owner first"):
        add_user(book, "Bo", "bench", GOOD, by=ADA)
    add_user(book, "Ada", "owner", GOOD, by=ADA)
    with pytest.raises(EntryError, match="taken"):
        add_user(book, "ADA ", "bench", GOOD, by=ADA)


@pytest.mark.parametrize(
    "password",
    ["", "kettle 1", "k" * (SHORTEST - 1), "aaaaaaaaaaaaaaaa", "a" * 201, "BoBench12345"],
)
def test_weak_passwords_are_refused_without_being_repeated(password: str) -> None:
    with pytest.raises(EntryError) as refused:
        check_password(password, "BoBench")
    assert not password or password not in str(refused.value)


def test_what_was_looked_at_can_be_read_by_the_owner_and_changed_by_nobody(book: Book) -> None:
    log_access(book, EVE, "looked at", "J000001")
    newest = accesses(book, by=ADA).iloc[0]
    assert (newest["who"], newest["did"], newest["what"]) == ("Eve", "looked at", "J000001")
    with closing(sqlite3.connect(book.name)) as raw:
        for change in ("UPDATE access_log SET who = 'x'", "DELETE FROM access_log"):
            with pytest.raises(sqlite3.IntegrityError, match="only ever adds"):
                raw.execute(change)


def test_signing_in_needs_the_database_to_be_writable(book: Book) -> None:
    from insights.errors import BookError

    with pytest.raises(BookError):
        sign_in(open_book(book.name, read_only=True), "Ada", GOOD, address="")


def test_a_book_on_a_server_knows_its_people_too(empty_database, model_book) -> None:
    book = open_book(empty_database(model_book))
    add_user(book, "Ada", "owner", GOOD, by=ADA)
    for _ in range(throttle.FREE_BY_NAME):
        assert sign_in(book, "Ada", "a wrong guess", address="a").wait_seconds == 0
    assert sign_in(book, "Ada", GOOD, address="b").wait_seconds > 0
    add_user(book, "Bo", "bench", OTHER, by=ADA)
    token = token_of(book, "Bo", OTHER)
    assert person_of(book, token) == Person("Bo", "bench")
    sign_out(book, token)
    assert person_of(book, token) is None
    book.engine.dispose()
