"""The verb `book`, and a book as the source of every analysis, as their user meets them."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest

from insights.command import main
from insights.errors import BookError
from insights.history.book import engines
from insights.history.book.access_log import accesses
from insights.history.book.entries import Settings
from insights.history.book.kinds import SAME_UNIT
from insights.history.book.opening import create_book, open_book
from insights.history.book.people import Person
from synthetic.generate import generate
from synthetic.presets import cafe_workshop

ADA = Person("Ada")


@pytest.fixture
def home(tmp_path, monkeypatch) -> Path:
    monkeypatch.setenv("STAYSFIXED_HOME", str(tmp_path / "home"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


def answered(capsys, *words: str) -> dict:
    assert main([*words, "--json"]) == 0
    out = capsys.readouterr()
    assert out.err == ""
    return json.loads(out.out)


def said(capsys, *words: str) -> str:
    assert main(words) == 0
    return capsys.readouterr().out


def complaint(capsys, *words: str) -> str:
    assert main(words) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert out.err.count("\n") == 1
    return out.err


@pytest.fixture
def shop(home, capsys) -> str:
    """Thirty boilers handed back on 3 January 2025; six are back on the 23rd."""
    made = answered(capsys, "book", "new", "shop.db", "--by", "Ada", "--currency", "EUR")
    assert made == {"book": "shop.db"}
    book = open_book("shop.db")
    for unit in range(30):
        arrival = {"received": "2025-01-01", "model": "boiler", "unit_serial": f"SN{unit * 7919}"}
        book.receive({**arrival, "handed_back": "2025-01-03", "price": "50"}, by=ADA)
    for unit in range(6):
        arrival = {"received": "2025-01-23", "model": "boiler", "unit_serial": f"SN{unit * 7919}"}
        book.receive({**arrival, "root_cause": "contacts", "complaint": "=cold"}, by=ADA)
    return "shop.db"


def test_a_book_is_made_checked_backed_up_and_brought_back(shop, capsys):
    assert answered(capsys, "book", "check", shop)["jobs"] == 36
    assert "36 jobs in 36 saves" in said(capsys, "book", "check", shop)
    kept = answered(capsys, "book", "backup", shop, "kept.backup")
    assert kept["rows"]["versions"] == 36
    again = answered(capsys, "book", "restore", "kept.backup", "again.db")
    assert again["digest"] == kept["digest"]
    told = complaint(capsys, "book", "restore", "kept.backup", shop)
    assert "shop.db exists already and is left as it is" in told
    assert "exists already" in complaint(capsys, "book", "new", shop)
    assert "no job book" in complaint(capsys, "book", "backup", "nowhere.db", "x")


def test_everything_goes_out_and_comes_back(shop, capsys):
    out = answered(capsys, "book", "export", shop, "tables")
    back = answered(capsys, "book", "rebuild", "tables", "again.db")
    assert out == back
    table = answered(capsys, "book", "history", shop, "jobs.csv")
    assert table["jobs"] == 36
    assert "'=cold" in Path("jobs.csv").read_text("utf-8")
    from_table = answered(capsys, "curves", "jobs.csv", "--currency", "EUR")
    assert answered(capsys, "curves", shop) == from_table == answered(capsys, "curves", "again.db")
    assert "with .csv or .parquet" in complaint(capsys, "book", "history", shop, "jobs.xls")


def test_what_leaves_the_book_is_written_down_in_it(shop, capsys):
    answered(capsys, "book", "backup", shop, "kept.backup", "--by", "Bo")
    answered(capsys, "book", "export", shop, "tables", "--by", "Cleo")
    answered(capsys, "book", "history", shop, "jobs.csv", "--by", "Bo")
    lines = accesses(open_book(shop), by=ADA)
    assert set(lines["did"]) == {"exported"}
    assert lines[["who", "what"]].to_numpy().tolist()[::-1] == [
        ["Bo", "backup kept.backup"],
        ["Cleo", "everything, to tables"],
        ["Bo", "36 jobs, to jobs.csv"],
    ]


def test_a_book_that_can_not_note_it_is_still_backed_up_but_not_exported(shop, capsys, monkeypatch):
    def full(*_: object) -> None:
        raise BookError("shop.db can't be written: the disk is full.")

    monkeypatch.setattr("insights.history.book.access_log.log_access", full)
    assert "does not hold this backup: shop.db can't be written" in said(
        capsys, "book", "backup", shop, "kept.backup"
    )
    assert Path("kept.backup").is_file()
    assert "disk is full" in complaint(capsys, "book", "export", shop, "tables")
    assert "disk is full" in complaint(capsys, "book", "history", shop, "jobs.csv")
    assert not Path("tables").exists()
    assert not Path("jobs.csv").exists()


def test_a_book_answers_like_the_file_it_writes(shop, capsys):
    data = answered(capsys, "check", shop)
    assert (data["jobs"], data["units"], data["returns"]) == (36, 30, 6)
    told = complaint(capsys, "check", shop, "--decimal", ",")
    assert "is a job book" in told
    assert "a file can't tell" in complaint(capsys, "check", "x.csv", "--as-of", "2025-01-01")
    assert "write the day as" in complaint(capsys, "check", shop, "--as-of", "1 May")


def test_a_decision_on_a_pair_counts_in_every_analysis(shop, capsys):
    body = {"job_id": "J000031", "earlier_job_id": "J000001", "same": False}
    open_book(shop).put(SAME_UNIT, "a pair", body, by=ADA)
    data = answered(capsys, "check", shop)
    assert (data["units"], data["returns"]) == (31, 5)


def test_a_past_day_is_answered_as_it_was_known(shop, capsys, monkeypatch):
    before = answered(capsys, "check", shop)
    today = datetime.now(UTC)
    later = (today + timedelta(days=3)).timestamp() * 1e9
    monkeypatch.setattr(engines, "time", SimpleNamespace(time_ns=lambda: int(later)))
    book = open_book(shop)
    book.save("J000031", {"unit_serial": "another"}, expected=1, by=ADA, what="correction")
    assert answered(capsys, "check", shop)["returns"] == 5
    assert answered(capsys, "check", shop, "--as-of", f"{today:%Y-%m-%d}") == before
    earlier = f"{today - timedelta(days=2):%Y-%m-%d}"
    assert "holds no job" in complaint(capsys, "check", shop, "--as-of", earlier)


def test_the_machine_s_user_is_named_where_nobody_is(home, capsys, monkeypatch):
    monkeypatch.setenv("LOGNAME", "casey")
    answered(capsys, "book", "new", "a.db", "--workshop", "Three Benches", "--prefix", "T")
    book = open_book("a.db")
    assert book.get("settings", "book").saved_by == "casey"
    assert (book.settings().workshop, book.settings().prefix) == ("Three Benches", "T")


def test_refused_rows_written_out_are_written_down_too(shop, capsys):
    Path("more.csv").write_text(
        "job_id,received,model,customer\nX1,soon,grill,Cafe Nine\n", "utf-8"
    )
    answered(capsys, "book", "add", shop, "more.csv", "--by", "Ada")
    answered(capsys, "book", "refused", shop, "--by", "Bo")
    assert accesses(open_book(shop), by=ADA).empty
    answered(capsys, "book", "refused", shop, "--by", "Bo", "--to", "mend.csv")
    line = accesses(open_book(shop), by=ADA).iloc[0]
    assert line[["who", "did", "what"]].tolist() == [
        "Bo",
        "exported",
        "1 refused rows, to mend.csv",
    ]


def numbers(answer: dict) -> pd.DataFrame:
    """Every number of every group; sums over units differ in their order, and in the last digit."""
    return pd.json_normalize(answer["groups"], "at", ["group", "jobs", "units", "returns"])


def test_a_book_s_own_database_counts(capsys, tmp_path):
    made, _ = generate(cafe_workshop(jobs=800))
    place = str(tmp_path / "own.db")
    create_book(place, Settings("EUR"), Person("Ada")).add_history(made, by=Person("Ada"))
    for verb in ("curves", "causes"):
        words = [verb, place, "--by", "model", "--where", "technician=Ada", "--json"]
        assert main([*words, "--in-database"]) == 0
        there = json.loads(capsys.readouterr().out)
        assert main([*words, "--serials-only"]) == 0
        here = json.loads(capsys.readouterr().out)
        pd.testing.assert_frame_equal(numbers(there), numbers(here), rtol=1e-9)
        assert there["test"]["statistic"] == pytest.approx(here["test"]["statistic"], rel=1e-9)
        assert "serials_only" in [note["code"] for note in there["notes"]]
    assert main(["curves", str(tmp_path / "jobs.csv"), "--in-database"]) == 2
    assert "Leave it out, or give a job book." in capsys.readouterr().err
    assert main(["curves", place, "--in-database", "--as-of", "2024-01-01"]) == 2
    assert "counts a book as it stands" in capsys.readouterr().err
