"""Books of every earlier version come forward with all that is in them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import insert

from insights.errors import BookError
from insights.history.book import access_tables
from insights.history.book.backup import restore
from insights.history.book.book import Book
from insights.history.book.copying import rows_in_order, tables_of
from insights.history.book.engines import make_engine, reading, url_of, writing
from insights.history.book.entries import Settings
from insights.history.book.migrating import newest, upgrade, version_of
from insights.history.book.opening import create_book, open_book
from insights.history.book.people import Person
from insights.history.book.tables import PERSONAL, metadata, versions

STEPS = Path(__file__).parents[3] / "insights/history/book/migrations/versions"
VERSIONS = sorted(path.name[:4] for path in STEPS.glob("[0-9]*.py"))
ADA = Person("Ada")


def filled_by_hand(place: str, version: str) -> dict[str, list[tuple]]:
    """Make a book of a version with rows written straight into its tables; gives the rows."""
    engine = make_engine(url_of(place))
    upgrade(engine, place, version)
    day = {"received_day": 20_000, "model": "boiler", "families": "{}", "bench": "{}"}
    saved = {"saved_at_us": 1_700_000_000_000_000, "saved_by": "Ada", "what": "received"}
    settings = json.dumps({"currency": "EUR", "minor_digits": 2})
    with writing(engine, place) as connection:
        tables = {table.name: table for table in tables_of(connection)}
        for number, price in ((1, None), (2, 4550)):
            row = {"job_id": "A1", "number": number, "token": f"t{number}", "price_minor": price}
            connection.execute(insert(tables["versions"]).values(**day, **saved, **row))
        head = {"job_id": "A1", "version_id": 2, "number": 2, "on_bench": True}
        connection.execute(insert(tables["heads"]).values(**head, serial_sign=None))
        connection.execute(insert(tables["counters"]).values(name="J", last=41))
        record = {"kind": "settings", "key": "book", "number": 1, "token": "s", "body": settings}
        del saved["what"]
        connection.execute(insert(tables["records"]).values(**saved, **record))
    with reading(engine, place) as connection:
        found = {
            table.name: list(rows_in_order(connection, table)) for table in tables_of(connection)
        }
    engine.dispose()
    return found


@pytest.mark.parametrize("version", VERSIONS)
def test_a_book_of_every_version_comes_forward_whole(new_place, version):
    place = new_place()
    before = filled_by_hand(place, version)
    book = open_book(place)
    with reading(book.engine, book.name) as connection:
        assert version_of(connection) == newest()
        after = {table.name: table for table in tables_of(connection)}
        for name, rows in before.items():
            kept = list(rows_in_order(connection, after[name]))
            # A later version may add columns, at the end; it takes none away.
            assert [row[: len(rows[0])] for row in kept] == rows if rows else kept == []
    job = book.job("A1")
    assert (job.number, job.values["price"]) == (2, 45.5)
    assert [version.number for version in book.versions_of("A1")] == [1, 2]
    assert book.receive({"received": "2026-03-02", "model": "grill"}, by=ADA).job_id == "J000042"
    # What may be wiped of a customer is held by a rule of its own; all else is fixed.
    for column in [one.name for one in versions.c if one.name not in (*PERSONAL, "bench")]:
        with (
            pytest.raises(BookError, match="only ever adds"),
            writing(book.engine, "x") as connection,
        ):
            connection.exec_driver_sql(f"UPDATE versions SET {column} = {column}")
    book.engine.dispose()


@pytest.mark.parametrize("version", VERSIONS[:-1])
def test_an_older_file_is_backed_up_before_it_comes_forward(tmp_path, version):
    place = tmp_path / "old.db"
    before = filled_by_hand(str(place), version)
    open_book(place).engine.dispose()
    (kept,) = tmp_path.glob("old.tables-*.backup")
    assert version in kept.name
    restore(kept, tmp_path / "again.db")
    again = open_book(tmp_path / "again.db", read_only=True, as_it_is=True)
    with reading(again.engine, again.name) as connection:
        assert version_of(connection) == version
        assert before == {
            table.name: list(rows_in_order(connection, table)) for table in tables_of(connection)
        }
    with pytest.raises(BookError, match="earlier version"):
        open_book(tmp_path / "again.db", read_only=True)


def test_a_later_book_is_refused(tmp_path):
    book = create_book(tmp_path / "book.db", Settings(), ADA)
    with writing(book.engine, book.name) as connection:
        connection.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(BookError, match=r"later version.*Update the program"):
        open_book(book.name)


def test_the_steps_lead_to_the_tables_the_program_works_with(book: Book):
    assert access_tables.users.metadata is metadata
    with reading(book.engine, book.name) as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []


def test_the_steps_follow_one_another():
    before = None
    for path in sorted(STEPS.glob("[0-9]*.py")):
        text = path.read_text("utf-8")
        assert f'revision = "{path.name[:4]}"' in text
        assert f"down_revision = {before!r}".replace("'", '"') in text
        before = path.name[:4]
