"""The verbs for people and customers' data, as typed."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest
from argon2 import PasswordHasher

from insights.command import main
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book, open_book
from insights.history.book.people import Person
from insights.history.book.sessions import sign_in

GOOD = "three kettles on a shelf"


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr("insights.history.book.passwords._hasher", lambda: quick)
    made = create_book(tmp_path / "book.db", Settings(), Person("Ada"))
    card = {"received": "2020-03-01", "handed_back": "2020-03-02", "model": "grill"}
    made.receive({**card, "customer": "Tomas 9", "phone": "0555 1"}, by=Person("Bo", "bench"))
    return made.name


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch):
    def on_standard_input(text: str) -> None:
        monkeypatch.setattr("sys.stdin", io.StringIO(text))

    return on_standard_input


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(["book", *words])
    said = capsys.readouterr()
    return code, said.out, said.err


def test_a_user_from_added_to_removed(book, typed, capsys):
    assert "Nobody may sign in" in run(capsys, "user", "list", book)[1]
    typed(f"{GOOD}\n")
    code, out, _ = run(capsys, "user", "add", book, "Ada", "--role", "owner", "--by", "Ada")
    assert (code, out) == (0, "Ada may sign in now, as owner.\n")
    typed(f"{GOOD}\n")
    assert run(capsys, "user", "add", book, "Eve", "--role", "bench")[0] == 0
    assert run(capsys, "user", "role", book, "Eve", "--role", "reader")[0] == 0
    typed("four grinders in a row\n")
    assert run(capsys, "user", "password", book, "Eve")[0] == 0
    assert sign_in(open_book(book), "Eve", "four grinders in a row", address="").token
    found = json.loads(run(capsys, "user", "list", book, "--json")[1])["users"]
    assert [(user["name"], user["role"]) for user in found] == [("Ada", "owner"), ("Eve", "reader")]
    assert "password" not in json.dumps(found)
    assert run(capsys, "user", "remove", book, "Eve")[0] == 0
    log = json.loads(run(capsys, "accesses", book, "--json")[1])["accesses"]
    assert [line["did"] for line in log] == [
        "user removed",
        "signed in",
        "password changed",
        "role changed",
        "user added",
        "user added",
    ]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["add", "BOOK"], "Say whom"),
        (["add", "BOOK", "Eve"], "--role bench"),
        (["add", "BOOK", "Eve", "--role", "owner"], "standard input"),
        (["remove", "BOOK", "Eve"], "no user 'Eve'"),
    ],
)
def test_what_is_missing_is_one_clear_line(book, typed, capsys, words, told):
    typed("")
    code, out, err = run(capsys, "user", *[book if word == "BOOK" else word for word in words])
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert told in err


def test_a_password_asked_for_twice_must_be_the_same(book, monkeypatch, capsys):
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    asked = iter([GOOD, "another one, mistyped"])
    monkeypatch.setattr("sys.stdin", Terminal())
    monkeypatch.setattr("getpass.getpass", lambda _: next(asked))
    code, _, err = run(capsys, "user", "add", book, "Ada", "--role", "owner")
    assert code == 2
    assert "differ" in err
    assert GOOD not in err


def test_customers_data_are_kept_no_longer_than_the_owner_says(book, capsys):
    assert "without a limit" in run(capsys, "retention", book)[1]
    code, out, _ = run(capsys, "retention", book, "--days", "365")
    assert code == 0
    assert "1 customer is beyond" in out
    assert "Tomas 9" in out
    code, out, _ = run(capsys, "retention", book, "--wipe")
    assert "1 customer on 1 job, in 1 version" in out
    assert "Backups" in out
    assert "Nobody's data" in run(capsys, "retention", book, "--wipe")[1]
    assert "without a limit" in run(capsys, "retention", book, "--no-limit")[1]
    assert run(capsys, "erase", book, "Tomas 9")[0] == 2
