"""Asking what a file is takes no lock away from the book that is open on it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from insights.history.book.address import is_book
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book, open_book
from insights.history.book.people import Person

ADA = Person("Ada")
JOB = {"received": "2026-03-02", "model": "boiler"}
ANOTHER_PROGRAM = """
import sys
from insights.history.book.opening import open_book
from insights.history.book.people import Person
book = open_book(sys.argv[1])
if sys.argv[2] == "save":
    book.receive({"received": "2026-03-02", "model": "boiler"}, by=Person("Bo"))
print(len(book.jobs_on_bench()))
book.engine.dispose()
"""


def another(path: Path, does: str) -> int:
    told = subprocess.run(
        [sys.executable, "-c", ANOTHER_PROGRAM, str(path), does],
        check=True,
        capture_output=True,
        text=True,
    )
    return int(told.stdout)


@pytest.mark.skipif(sys.platform == "win32", reason="locks there belong to the handle")
@pytest.mark.parametrize("asked_first", [True, pytest.param(False, marks=pytest.mark.slow)])
def test_what_is_saved_after_asking_is_seen_by_another_program(tmp_path, asked_first):
    # POSIX takes away every lock of a process on a file when it closes the file once, however
    # often it has it open; SQLite's own text "How To Corrupt An SQLite Database File", 2.2.
    path = tmp_path / "book.db"
    book = create_book(path, Settings(), ADA)
    if asked_first:
        book.engine.dispose()
        assert is_book(path)
        book = open_book(path)
    book.receive(JOB, by=ADA)
    for saves in range(2, 4):
        assert is_book(path)
        assert another(path, "read") == saves - 1
        book.receive(JOB, by=ADA)
        assert another(path, "read") == saves
    assert another(path, "save") == 4
    assert len(book.jobs_on_bench()) == 4


def test_a_file_that_becomes_a_book_is_seen_to_be_one(tmp_path):
    path = tmp_path / "book.db"
    path.write_text("job_id,received\n")
    assert not is_book(path)
    path.unlink()
    assert not is_book(path)
    create_book(path, Settings(), ADA)
    assert is_book(path)
    assert not is_book(tmp_path)
