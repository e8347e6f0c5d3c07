"""A backup, an export and a table of jobs give back the book they were made of."""

from __future__ import annotations

import json
import sqlite3
import threading
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from insights.errors import BookError, RequestError
from insights.history.book.backup import backup, restore
from insights.history.book.book import Book
from insights.history.book.copying import counts, digest, tables_of
from insights.history.book.engines import reading
from insights.history.book.entries import Settings
from insights.history.book.exporting import LEFT_OUT, export_book, rebuild_book
from insights.history.book.opening import create_book, open_book
from insights.history.book.people import Person
from insights.history.intake import read_history
from insights.history.written import write_history

ADA = Person("Ada")
BO = Person("Bo", "bench")
# What a customer may say: formulas, quotes, line ends, nothing but an apostrophe, other scripts.
SAID = (
    '=HYPERLINK("x")',
    "+1 bar",
    "-",
    "@home",
    "'=already",
    "''",
    'says "hot"; leaks, too',
    "two\nlines",
    "tab\there",
    "ñandú ⅓ 水",
    "NA",
    "001",
)


def fill(book: Book) -> None:
    """Every kind of thing that a book holds: versions, facts of the bench, records, counters."""
    half = len(SAID) // 2
    for place, (said, also) in enumerate(zip(SAID[:half], SAID[half:], strict=True)):
        arrival = {"received": f"2026-03-{place + 1:02d}", "model": said, "complaint": also}
        job = book.receive(
            {**arrival, "lot_seal": also, "notes": said}, by=BO, bench={"seal": "intact"}
        )
        book.save(
            job.job_id,
            {
                "handed_back": f"2026-04-{place + 1:02d}",
                "price": f"{place}.07",
                "unit_age_years": 0.1 * place,
                "term_days": 180,
                "reading_earth_ohm": 0.1 + place,
            },
            expected=1,
            by=ADA,
            what="handed back",
            bench={"seal": None},
        )
    book.put("checklist", "boiler", {"steps": list(SAID)}, by=ADA)
    book.put("checklist", "boiler", None, by=ADA, expected=1)


def fingerprint(book: Book, without: tuple[str, ...] = ()) -> str:
    with reading(book.engine, book.name) as connection:
        return digest(connection, tables_of(connection, without))


def goes_on(book: Book, numbers: int) -> None:
    """What is recorded next gets the next number, and keys of its own."""
    assert book.receive({"received": "2026-05-01", "model": "grill"}, by=BO).job_id == (
        f"J{numbers + 1:06d}"
    )
    book.put("checklist", "grill", [], by=ADA)


def test_a_backup_comes_back_as_the_same_book(book, new_place, tmp_path):
    fill(book)
    copied = backup(book, tmp_path / "kept.backup")
    place = new_place()
    assert restore(tmp_path / "kept.backup", place).digest == copied.digest == fingerprint(book)
    again = open_book(place)
    assert fingerprint(again) == copied.digest
    assert copied.counts["versions"] == len(SAID)
    assert again.versions_of("J000001") == book.versions_of("J000001")
    assert again.get("checklist", "boiler") == book.get("checklist", "boiler")
    goes_on(again, len(SAID) // 2)
    again.engine.dispose()


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_an_export_comes_back_as_the_same_book(book, empty_database, tmp_path, form):
    fill(book)
    exported = export_book(book, tmp_path / "tables", form)
    place = empty_database() if form == "csv" else str(tmp_path / "again.db")
    assert rebuild_book(tmp_path / "tables", place) == exported
    again = open_book(place)
    assert fingerprint(again, LEFT_OUT) == exported.digest == fingerprint(book, LEFT_OUT)
    assert again.versions_of("J000003") == book.versions_of("J000003")
    pd.testing.assert_frame_equal(again.history().jobs, book.history().jobs)
    goes_on(again, len(SAID) // 2)
    again.engine.dispose()


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_the_jobs_as_a_table_make_an_equal_book(tmp_path, form):
    book = create_book(tmp_path / "book.db", Settings("EUR"), ADA)
    fill(book)
    write_history(book.history(), tmp_path / f"jobs.{form}", form)
    again = create_book(tmp_path / "again.db", Settings("EUR"), ADA)
    read = read_history(tmp_path / f"jobs.{form}")
    assert read.refused.empty
    again.add_history(read, by=ADA)
    pd.testing.assert_frame_equal(again.history().jobs, book.history().jobs)


TEXT = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], include_characters="\t\n"), max_size=12
)


@settings(
    max_examples=4, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    texts=st.lists(TEXT, min_size=4, max_size=16),
    amount=st.integers(0, 10**9),
    age=st.floats(0, 200),
)
def test_whatever_was_typed_survives_both_ways_out(tmp_path_factory, texts, amount, age):
    place = tmp_path_factory.mktemp("any")
    book = create_book(place / "book.db", Settings("EUR"), ADA)
    for text in texts:
        arrival = {"received": "2026-03-01", "model": "boiler", "complaint": text, "notes": text}
        price = f"{amount // 100}.{amount % 100:02d}"
        book.receive({**arrival, "price": price, "unit_age_years": age}, by=BO, bench={"t": text})
    exported = export_book(book, place / "tables")
    rebuild_book(place / "tables", place / "again.db")
    again = open_book(place / "again.db")
    assert fingerprint(again, LEFT_OUT) == exported.digest
    read = read_history(place / "tables" / "history.csv")
    jobs = book.history().jobs
    pd.testing.assert_frame_equal(read.jobs[jobs.columns], jobs)


def test_cells_for_a_spreadsheet_run_nothing(tmp_path):
    book = create_book(tmp_path / "book.db", Settings("EUR"), ADA)
    fill(book)
    export_book(book, tmp_path / "tables")
    for file in (tmp_path / "tables").glob("*.csv"):
        cells = pd.read_csv(file, dtype=str, keep_default_na=False).to_numpy().ravel()
        assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]


def test_a_backup_is_of_one_moment_while_others_write(tmp_path):
    """No half of a save is in it: each save there stores one version and one head."""
    book = create_book(tmp_path / "book.db", Settings("EUR"), ADA)
    stop = threading.Event()

    def work() -> None:
        while not stop.is_set():
            book.receive({"received": "2026-03-01", "model": "boiler"}, by=BO)

    worker = threading.Thread(target=work)
    worker.start()
    try:
        copies = [backup(book, tmp_path / f"{number}.backup") for number in range(4)]
    finally:
        stop.set()
        worker.join()
    sizes = [copied.counts["versions"] for copied in copies]
    assert sizes == sorted(sizes)
    assert sizes[0] < sizes[-1]
    assert [copied.counts["heads"] for copied in copies] == sizes


def test_nothing_is_overwritten(book, tmp_path, empty_database):
    target = tmp_path / "there"
    target.write_text("precious")
    with pytest.raises(BookError, match="exists already and is left as it is"):
        backup(book, target)
    with pytest.raises(BookError, match="exists already"):
        export_book(book, target)
    backup(book, tmp_path / "kept.backup")
    export_book(book, tmp_path / "tables")
    with pytest.raises(BookError, match="exists already"):
        restore(tmp_path / "kept.backup", target)
    with pytest.raises(BookError, match="exists already"):
        rebuild_book(tmp_path / "tables", target)
    with pytest.raises(BookError, match="exists already"):
        create_book(target, Settings(), ADA)
    filled = empty_database("model_book") if "postgresql" in book.name else None
    if filled:
        for bring in (
            lambda: restore(tmp_path / "kept.backup", filled),
            lambda: rebuild_book(tmp_path / "tables", filled),
        ):
            with pytest.raises(BookError, match="is not empty"):
                bring()
    assert target.read_text() == "precious"


def test_a_damaged_backup_is_refused(tmp_path):
    book = create_book(tmp_path / "book.db", Settings("EUR"), ADA)
    fill(book)
    kept = tmp_path / "kept.backup"
    backup(book, kept)
    with sqlite3.connect(kept) as changed:
        changed.execute("UPDATE heads SET on_bench = 1 WHERE job_id = 'J000001'")
    changed.close()
    with pytest.raises(BookError, match="changed or damaged since"):
        restore(kept, tmp_path / "again.db")
    torn = bytearray(kept.read_bytes())
    torn[8192:16384] = b"\xff" * 8192
    kept.write_bytes(torn)
    with pytest.raises(BookError, match="damaged"):
        restore(kept, tmp_path / "again.db")
    with pytest.raises(BookError, match="not one that a backup wrote"):
        restore(book.name, tmp_path / "again.db")
    with pytest.raises(BookError, match="There is no backup"):
        restore(tmp_path / "nowhere", tmp_path / "again.db")
    kept.write_text("a shopping list, long enough to be read as something it is not")
    with pytest.raises(BookError, match="not a job book"):
        restore(kept, tmp_path / "again.db")
    assert not list(tmp_path.glob("*again*"))
    assert not list(tmp_path.glob(".*"))


def test_a_changed_export_is_refused(tmp_path):
    book = create_book(tmp_path / "book.db", Settings("EUR"), ADA)
    fill(book)
    folder = tmp_path / "tables"
    export_book(book, folder)
    file = folder / "versions.csv"
    whole = file.read_text("utf-8")
    for changed, told in (
        (whole.replace("intact", "broken", 1), "not as they were written"),
        (whole.replace('"version_id"', '"version"', 1), "can't be read as it was written"),
        ("", "can't be read as it was written"),
    ):
        file.write_text(changed, "utf-8")
        with pytest.raises(BookError, match=told):
            rebuild_book(folder, tmp_path / "again.db")
    said = json.loads((folder / "book.json").read_text())
    for changed, told in (
        ({**said, "tables": "9999"}, "later version"),
        ({**said, "form": "xml"}, "form 'xml'"),
        ({"form": "csv"}, "not as it was written"),
    ):
        (folder / "book.json").write_text(json.dumps(changed))
        with pytest.raises(BookError, match=told):
            rebuild_book(folder, tmp_path / "again.db")
    with pytest.raises(BookError, match="no export of a book"):
        rebuild_book(tmp_path, tmp_path / "again.db")
    with pytest.raises(RequestError, match="no way to write tables"):
        export_book(book, tmp_path / "x", "xml")
    assert not [path for path in tmp_path.iterdir() if path.name not in _left(book)]


def _left(book: Book) -> set[str]:
    name = Path(book.name).name
    return {name, f"{name}-wal", f"{name}-shm", "tables", "home"}


def test_passwords_are_in_a_backup_and_not_in_an_export(book, tmp_path):
    export_book(book, tmp_path / "tables")
    assert not [file for file in (tmp_path / "tables").iterdir() if file.stem in LEFT_OUT]
    backup(book, tmp_path / "kept.backup")
    kept = open_book(tmp_path / "kept.backup", read_only=True)
    with reading(kept.engine, kept.name) as connection:
        assert set(LEFT_OUT) <= set(counts(connection, tables_of(connection)))
