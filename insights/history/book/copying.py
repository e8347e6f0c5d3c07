"""A whole book, table by table, whatever version its tables have: told apart, copied.

The tables are taken as they are found in the database, so that nothing here has to be changed
when a later step of the schema adds one.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from typing import Any

from sqlalchemy import Connection, MetaData, Table, func, insert, select, text

from insights.errors import BookError

VERSION_TABLE = "alembic_version"
SEAL = "backup_seal"
_ROWS = 5000


def tables_of(connection: Connection, without: Iterable[str] = ()) -> list[Table]:
    """List a book's tables as they stand in the database, each after those it points to.

    Parameters
    ----------
    connection
        To the book.
    without
        Names of tables to leave out.
    """
    found = MetaData()
    found.reflect(connection)
    aside = {VERSION_TABLE, SEAL, *without}
    return [table for table in found.sorted_tables if table.name not in aside]


def rows_in_order(connection: Connection, table: Table) -> Iterator[tuple[Any, ...]]:
    """Read a table's rows by its key, a few thousand at a time."""
    asked = select(table).order_by(*table.primary_key.columns)
    for row in connection.execute(asked, execution_options={"yield_per": _ROWS}):
        yield tuple(row)


def counts(connection: Connection, tables: Iterable[Table]) -> dict[str, int]:
    """Count the rows of tables."""
    return {
        table.name: int(connection.execute(select(func.count()).select_from(table)).scalar_one())
        for table in tables
    }


def digest(connection: Connection, tables: Iterable[Table]) -> str:
    """Work out a fingerprint of everything in tables.

    Returns
    -------
    str
        SHA-256 of every row as JSON, tables by name and rows by key: equal on every kind of
        database where, and only where, every cell is.
    """
    told = hashlib.sha256()
    for table in sorted(tables, key=lambda table: table.name):
        told.update(f"{table.name}\n".encode())
        for row in rows_in_order(connection, table):
            told.update(json.dumps(row, ensure_ascii=False).encode())
            told.update(b"\n")
    return told.hexdigest()


def copy_rows(source: Connection, target: Connection, tables: Iterable[Table]) -> None:
    """Copy the rows of tables into tables of the same names and columns."""
    for table in tables:
        put_rows(target, table, rows_in_order(source, table))


def put_rows(target: Connection, table: Table, rows: Iterable[tuple[Any, ...]]) -> None:
    """Put rows into a table under their own keys."""
    names = [column.name for column in table.columns]
    waiting = []
    for row in rows:
        waiting.append(dict(zip(names, row, strict=True)))
        if len(waiting) == _ROWS:
            target.execute(insert(table), waiting)
            waiting = []
    if waiting:
        target.execute(insert(table), waiting)


def count_on(connection: Connection, tables: Iterable[Table]) -> None:
    """Let keys that count up by themselves go on after the highest that was put in."""
    if connection.dialect.name != "postgresql":
        return  # SQLite sees to it
    for table in tables:
        for column in table.primary_key.columns:
            sequence = connection.execute(
                text("SELECT pg_get_serial_sequence(:table, :column)"),
                {"table": table.name, "column": column.name},
            ).scalar()
            highest = connection.execute(select(func.max(column))).scalar()
            if sequence is not None and highest is not None:
                connection.execute(
                    text("SELECT setval(:sequence, :highest)"),
                    {"sequence": sequence, "highest": highest},
                )


def check_whole(connection: Connection, name: str) -> None:
    """Let a SQLite file be checked from end to end; a server looks after its own.

    Raises
    ------
    BookError
        The file is damaged.
    """
    if connection.dialect.name != "sqlite":
        return
    found = [row[0] for row in connection.execute(text("PRAGMA integrity_check"))]
    loose = connection.execute(text("PRAGMA foreign_key_check")).first()
    if found != ["ok"] or loose is not None:
        raise BookError(
            f"{name} is damaged ({'; '.join(found[:3])}). Use another backup, and check the disk."
        )
