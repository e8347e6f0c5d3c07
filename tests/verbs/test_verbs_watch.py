"""The verb watch: what it says, what it writes, and its complaints."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from insights.command import main
from insights.errors import BookError
from insights.history.book.access_log import accesses
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.history.declared import HOME_VARIABLE
from synthetic.generate import generate
from synthetic.presets import lot_shop

OWNER = Person("Ada", "owner")


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    return tmp_path_factory.mktemp("home")


@pytest.fixture(autouse=True)
def own_home(home, monkeypatch):
    monkeypatch.setenv(HOME_VARIABLE, str(home))


@pytest.fixture(scope="module")
def shop(tmp_path_factory) -> str:
    history, _ = generate(lot_shop(jobs=1500, days=800, seed=4))
    path = tmp_path_factory.mktemp("shop") / "shop.csv"
    jobs = history.jobs.assign(customer="=cmd")
    jobs.dropna(axis="columns", how="all").to_csv(path, index=False, date_format="%Y-%m-%d")
    return str(path)


def said(capsys, *words: str) -> str:
    assert main(["watch", *words]) == 0
    out = capsys.readouterr()
    assert out.err == ""
    return out.out


def complaint(capsys, *words: str) -> str:
    assert main(["watch", *words]) == 2
    out = capsys.readouterr()
    assert out.out == ""
    assert out.err.count("\n") == 1
    return out.err


def test_it_speaks_first_and_lists_then(shop, capsys, home):
    text = said(capsys, shop)
    first = text.splitlines()[0]
    assert "With nothing wrong, all these charts together would sound about once a year" in first
    assert "Charts nearest to their limit" in text
    assert "Practices left out" in text
    assert "says where to look, not who is to blame" in text
    # Limits are kept for the next time.
    assert json.loads((home / "limits.json").read_text())


def test_json_has_the_keys_others_rely_on(shop, capsys):
    data = json.loads(said(capsys, shop, "--json", "--dangerous", "cord"))
    assert {"signals", "charts", "false_alarms_a_year", "missing_practices", "notes"} <= set(data)
    assert data["false_alarms_a_year"] == 1
    kinds = {row["kind"] for row in data["signals"]}
    assert "dangerous" in kinds
    row = data["signals"][0]
    assert {"chart", "signalled_on", "began_on", "seen", "expected", "state"} <= set(row)
    assert "tracks" not in data


def test_a_recall_list_is_written_harmless_and_to_print(shop, capsys, tmp_path):
    listed, printed = tmp_path / "calls.csv", tmp_path / "calls.html"
    words = ["--recall", "lot_contact=CO010", "--call-cost", "18", "--comeback-cost", "60"]
    text = said(capsys, shop, *words, "--list", str(listed), "--print", str(printed))
    assert "still out" in text
    assert "Calling all in costs" in text
    rows = pd.read_csv(listed, dtype=str)
    assert len(rows) > 3
    assert (rows["customer"] == "'=cmd").all()
    assert "CO010" in printed.read_text("utf-8")
    status = tmp_path / "status.csv"
    status.write_text(f"job_id,status\n{rows['job_id'][0]},inspected\n")
    data = json.loads(said(capsys, shop, *words, "--status", str(status), "--json"))
    units = {unit["job_id"]: unit["status"] for unit in data["recall"]["units"]}
    assert units[rows["job_id"][0]] == "inspected"


def test_a_book_notes_who_took_a_list_before_it_is_written(capsys, tmp_path, monkeypatch):
    history, _ = generate(lot_shop(jobs=300, days=800, seed=4))
    book = create_book(tmp_path / "book.db", Settings(workshop="Three benches"), OWNER)
    book.add_history(history, by=OWNER)
    listed, report = tmp_path / "calls.csv", tmp_path / "report.html"
    words = ["--recall", "technician=bench 1", "--called-by", "Bo", "--list", str(listed)]
    said(capsys, book.name)
    assert accesses(book, by=OWNER).empty
    said(capsys, book.name, *words)
    units = len(pd.read_csv(listed, dtype=str))
    customers = ["--customers", "--called-by", "Cleo"]
    assert main(["report", book.name, "--to", str(report), *customers]) == 0
    assert "<h1>Three benches</h1>" in report.read_text("utf-8")
    lines = accesses(book, by=OWNER)[["who", "did", "what"]].to_numpy().tolist()
    assert lines[::-1] == [
        ["Bo", "exported", f"to call in: {units} units, to {listed}"],
        ["Cleo", "exported", f"customers of units to call in, to {report}"],
    ]
    listed.unlink()

    def full(*_: object) -> None:
        raise BookError("book.db can't be written: the disk is full.")

    monkeypatch.setattr("insights.history.book.access_log.log_access", full)
    capsys.readouterr()
    assert "disk is full" in complaint(capsys, book.name, *words)
    assert not listed.exists()


def test_actions_are_read_from_a_file(shop, capsys, tmp_path):
    actions = tmp_path / "actions.csv"
    actions.write_text("chart,date,done\ndangerous=cord,2024-03-09,looked\n")
    text = said(capsys, shop, "--dangerous", "cord", "--actions", str(actions))
    assert "2024-03-09: looked" in text


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--false-alarms", "0"], "above zero"),
        (["--recall", "lot_contact=none"], "No job has lot_contact = none"),
        (["--actions", "nowhere.csv"], "can't be read"),
        (["--recall", "lot_contact=CO010", "--list", "/nowhere/calls.csv"], "can't be written"),
    ],
)
def test_bad_questions_end_in_one_clear_line(shop, capsys, words, told):
    assert told in complaint(capsys, shop, *words)


def test_an_empty_file_of_actions(shop, capsys, tmp_path):
    empty = tmp_path / "empty.csv"
    empty.write_text("")
    assert "no CSV file that can be read" in complaint(capsys, shop, "--actions", str(empty))
