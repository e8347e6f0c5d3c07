"""Wiped means gone from the file, not only from the tables."""

from __future__ import annotations

from sqlalchemy import Connection, Engine


def overwrite_what_goes(connection: Connection) -> None:
    """Have SQLite write noughts over what is replaced, instead of leaving it on unused pages.

    A PostgreSQL server clears its own pages in time (its VACUUM).
    """
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql("PRAGMA secure_delete = ON")


def forget_old_pages(engine: Engine) -> bool:
    """Empty SQLite's log of changes, which still holds the pages as they were.

    Returns
    -------
    bool
        False where someone was reading, so that it must wait.
    """
    if engine.dialect.name != "sqlite":
        return True
    raw = engine.raw_connection()  # not inside a transaction, which SQLite refuses
    try:
        cursor = raw.cursor()
        busy = cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
    finally:
        raw.close()
    return not busy
