"""A file goes into the book once; nothing of it is lost, overwritten or half stored."""

from __future__ import annotations

import signal
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import event

from insights.errors import ChangedMeanwhile, EntryError, FormatQuestion, NotAllowed
from insights.history.book.adding import add_file, plan_adding
from insights.history.book.book import Book
from insights.history.book.entries import Settings
from insights.history.book.erasing import erase_customer
from insights.history.book.kinds import REFUSED
from insights.history.book.opening import create_book, open_book
from insights.history.book.people import Person
from insights.history.book.refused import as_given, drop, mend, refused_row, refused_rows
from insights.history.declared import Declared
from insights.history.intake import read_history

ADA = Person("Ada", "owner")
EVE = Person("Eve", "reader")
TODAY = date(2026, 6, 30)
HEADINGS = "job_id,received,model,customer,price"
SOUND = ("1,2026-03-02,grill,K1,10.50", "2,2026-03-03,boiler,K2,20")
BAD_DAY = "3,2026-02-30,boiler,K3,30"
TOO_FINE = "4,2026-03-05,grill,K4,12.345"


@pytest.fixture
def book(tmp_path: Path) -> Book:
    return create_book(tmp_path / "book.db", Settings(currency="EUR"), ADA)


def file_of(*rows: str) -> tuple[str, bytes]:
    return ("jobs.csv", "\n".join((HEADINGS, *rows)).encode())


def add(book: Book, *rows: str, declared: Declared | None = None, by: Person = ADA):
    added = add_file(book, file_of(*rows), declared, by=by, today=TODAY)
    told = added.added + added.known + added.differing + added.refused + added.repeated
    assert told == added.given == len(rows)
    return added


def test_the_same_file_twice_changes_nothing(book: Book) -> None:
    first = add(book, *SOUND, BAD_DAY, SOUND[0])
    revision, jobs = book.revision(), book.history().jobs
    second = add(book, *SOUND, BAD_DAY, SOUND[0])
    assert (first.added, first.refused, first.kept, first.repeated) == (2, 1, 1, 1)
    assert (second.added, second.known, second.refused, second.kept) == (0, 2, 1, 0)
    assert book.revision() == revision
    assert book.history().jobs.equals(jobs)


def test_a_trial_says_the_same_and_stores_nothing(book: Book) -> None:
    add(book, SOUND[0])
    revision = book.revision()
    history = read_history(file_of(*SOUND, BAD_DAY, TOO_FINE), today=TODAY)
    tried = plan_adding(book, history).added
    assert (tried.added, tried.known, tried.refused, tried.kept) == (1, 1, 2, 2)
    assert book.revision() == revision
    added = add(book, *SOUND, BAD_DAY, TOO_FINE)
    assert vars(added) | {"table": tried.table} == vars(tried)


def test_a_longer_file_adds_what_is_new(book: Book) -> None:
    add(book, *SOUND)
    grown = add(book, *SOUND, "5,2026-04-01,grill,K1,")
    assert (grown.added, grown.known) == (1, 2)
    assert book.history().jobs["job_id"].tolist() == ["1", "2", "5"]


def test_a_job_that_differs_is_listed_and_the_book_stands(book: Book) -> None:
    add(book, *SOUND)
    changed = add(book, SOUND[0], "2,2026-03-03,boiler,K2,25")
    (line,) = changed.table.to_dict("records")
    assert (changed.known, changed.differing) == (1, 1)
    assert (line["job_id"], line["column"], line["value"]) == ("2", "price", "25.0")
    assert "20.0" in line["problem"]
    assert book.job("2").values["price"] == 20
    assert refused_rows(book) == ()


def test_an_amount_finer_than_a_cent_is_refused_and_kept(book: Book) -> None:
    added = add(book, *SOUND, TOO_FINE)
    (line,) = added.table.to_dict("records")
    (row,) = refused_rows(book)
    assert (added.added, added.refused) == (2, 1)
    assert (line["column"], line["value"]) == ("price", "12.345")
    assert "more than 2 decimals" in line["problem"]
    assert (row.job_id, row.cells["price"], row.row) == ("4", "12.345", None)
    stored = mend(book, row, {"price": "12.35"}, by=ADA, today=TODAY)
    assert stored.values["price"] == 12.35
    assert add(book, *SOUND, TOO_FINE).differing == 1


def test_a_refused_row_is_mended_by_the_rules_of_its_file(book: Book) -> None:
    declared = Declared(date_format="%d/%m/%Y", decimal=",", headings={"customer": ""})
    add(book, '7,31/02/2026,grill,K9,"12,50"', "8,01/03/2026,grill,K9,", declared=declared)
    (row,) = refused_rows(book)
    assert (row.source, row.row, row.job_id, row.kept_by) == ("jobs.csv", 2, "7", "Ada")
    with pytest.raises(
        EntryError, match=r"received.*not a day written as year-month-day or like 09/03/2026"
    ):
        mend(book, row, {}, by=ADA, today=TODAY)
    with pytest.raises(NotAllowed):
        mend(book, row, {"received": "28/02/2026"}, by=EVE, today=TODAY)
    job = mend(book, row, {"received": "28/02/2026"}, by=ADA, today=TODAY)
    assert f"{job.values['received']:%Y-%m-%d}" == "2026-02-28"
    assert job.values["price"] == 12.5
    assert "customer" not in job.values
    assert (job.what, refused_rows(book)) == ("mended", ())
    with pytest.raises(ChangedMeanwhile):
        drop(book, row, by=ADA)


def test_the_same_mending_twice_stores_once(book: Book) -> None:
    add(book, BAD_DAY, SOUND[0])
    (row,) = refused_rows(book)
    first = mend(book, row, {"received": "2026-02-28"}, by=ADA, token="t", today=TODAY)
    assert mend(book, row, {"received": "2026-02-28"}, by=ADA, token="t", today=TODAY) == first
    with pytest.raises(EntryError, match="the number is taken"):
        mend(book, row, {"received": "2026-02-28"}, by=ADA, today=TODAY)


def test_a_row_mended_in_a_spreadsheet_waits_no_more(book: Book) -> None:
    add(book, *SOUND, BAD_DAY)
    table = as_given(refused_rows(book))
    table["received"] = "2026-02-28"
    again = add_file(book, ("m.csv", table.to_csv(index=False).encode()), by=ADA, today=TODAY)
    assert (again.added, again.mended) == (1, 1)
    assert refused_rows(book) == ()
    assert add(book, *SOUND, BAD_DAY).kept == 0


def test_a_row_that_comes_again_otherwise_takes_the_place_of_the_first(book: Book) -> None:
    add(book, SOUND[0], BAD_DAY)
    again = add(book, SOUND[0], BAD_DAY.replace("02-30", "02-31"))
    (row,) = refused_rows(book)
    assert (again.kept, row.cells["received"]) == (1, "2026-02-31")
    assert add(book, BAD_DAY.replace("02-30", "02-28")).mended == 1
    assert refused_rows(book) == ()


def test_a_cell_made_harmless_for_a_spreadsheet_is_the_same_row(book: Book) -> None:
    add(book, SOUND[0], BAD_DAY.replace("K3", "=K3"))
    assert add(book, SOUND[0], BAD_DAY.replace("K3", "'=K3")).kept == 0


def test_of_two_rows_with_one_number_none_is_dropped_unasked(book: Book) -> None:
    add(book, SOUND[0], "6,2026-03-02,grill,K1,", "6,2026-03-09,grill,K7,")
    added = add(book, "6,2026-03-02,grill,K1,")
    assert (added.added, added.mended, len(refused_rows(book))) == (1, 0, 2)
    drop(book, refused_rows(book)[0], by=ADA)
    (left,) = refused_rows(book)
    assert mend(book, left, {"job_id": "6b"}, by=ADA, today=TODAY).job_id == "6b"
    assert book.get(REFUSED, left.key).body is None


def test_another_currency_is_told(book: Book) -> None:
    with pytest.raises(FormatQuestion, match=r"in GBP.*kept in EUR"):
        add(book, *SOUND, declared=Declared(currency="GBP"))
    assert [note.code for note in add(book, *SOUND).notes] == ["currency_taken"]
    assert book.history().jobs["job_id"].tolist() == ["1", "2"]


def test_a_crash_in_the_middle_leaves_nothing(book: Book, tmp_path: Path) -> None:
    add(book, SOUND[0])
    before = book.revision()

    def crash(connection, cursor, statement, parameters, context, executemany):
        if statement.startswith("INSERT INTO records"):
            raise KeyboardInterrupt

    event.listen(book.engine, "before_cursor_execute", crash)
    with pytest.raises(KeyboardInterrupt):
        add(book, *SOUND, BAD_DAY)
    book.engine.dispose()
    again = open_book(tmp_path / "book.db")
    assert again.revision() == before
    assert again.history().jobs["job_id"].tolist() == ["1"]
    assert (add(again, *SOUND, BAD_DAY).added, len(refused_rows(again))) == (1, 1)


KILLED = """
import os, signal, sys
from pathlib import Path
from sqlalchemy import event
from insights.history.book.adding import add_file
from insights.history.book.opening import open_book
from insights.history.book.people import Person

book = open_book(sys.argv[1])

def kill(connection, cursor, statement, parameters, context, executemany):
    if statement.startswith("INSERT INTO " + sys.argv[3]):
        os.kill(os.getpid(), signal.SIGKILL)

event.listen(book.engine, "after_cursor_execute", kill)
add_file(book, Path(sys.argv[2]), by=Person("Ada"))
"""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="there is no such signal")
@pytest.mark.parametrize("table", ["versions", "heads", "records"])
def test_a_killed_import_leaves_nothing(book: Book, tmp_path: Path, table: str) -> None:
    add(book, SOUND[0])
    before, jobs = book.revision(), book.history().jobs
    book.engine.dispose()
    more = [f"n{number},2025-03-02,grill,K{number},10" for number in range(5000)]
    name, data = file_of(*SOUND, *more, BAD_DAY)
    (tmp_path / name).write_bytes(data)
    words = [sys.executable, "-c", KILLED, book.name, str(tmp_path / name), table]
    done = subprocess.run(words, check=False)
    assert done.returncode == -signal.SIGKILL
    again = open_book(book.name)
    assert again.revision() == before
    assert again.history().jobs.equals(jobs)
    assert add_file(again, tmp_path / name, by=ADA, today=TODAY).added == 5001


def test_a_reader_adds_nothing(book: Book) -> None:
    with pytest.raises(NotAllowed):
        add(book, *SOUND, by=EVE)


def test_a_file_does_not_bring_back_a_customer_who_was_erased(book: Book) -> None:
    add(book, *SOUND)
    add(book, BAD_DAY.replace("K3", "K1"))
    erase_customer(book, "K1", by=ADA)
    again = add(book, *SOUND, BAD_DAY.replace("K3", "K1"))
    assert (again.known, again.differing, again.kept) == (2, 0, 0)
    assert book.job("1").values["customer"].startswith("erased-")
    (row,) = refused_rows(book)
    assert list(row.cells) == HEADINGS.split(",")
    assert row.cells["customer"] != "K1"
    assert (row.cells["job_id"], row.cells["received"]) == ("3", "2026-02-30")


def test_a_row_that_waits_is_found_by_its_key(book: Book) -> None:
    add(book, BAD_DAY, SOUND[0])
    (row,) = refused_rows(book)
    assert refused_row(book, row.key) == row
    drop(book, row, by=ADA)
    with pytest.raises(Exception, match="waits"):
        refused_row(book, row.key)
