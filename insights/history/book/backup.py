"""Backup while work goes on, and bringing a backup back; both checked before they count."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, text
from sqlalchemy.engine import URL

from insights.errors import BookError
from insights.history.book import copying
from insights.history.book.book import Book
from insights.history.book.engines import (
    at_path,
    engine_for,
    explained,
    now_us,
    reading,
    shown,
    url_of,
    use_single_file,
    use_write_ahead_log,
    writing,
)
from insights.history.book.migrating import refuse_filled, upgrade_within, version_of
from insights.history.book.whole_files import refuse_existing, whole_file


@dataclass(frozen=True)
class Copied:
    """A copy of a whole book, checked against what it was made from.

    Parameters
    ----------
    name
        Where it is.
    counts
        Rows by table.
    digest
        Fingerprint of every cell (:func:`insights.history.book.copying.digest`), the same in both.
    """

    name: str
    counts: dict[str, int]
    digest: str


def backup(book: Book, target: str | Path) -> Copied:
    """Write a copy of a book as it stands at one moment, while others go on working in it.

    Parameters
    ----------
    book
        Any book. One kept by a server is copied into a file as well.
    target
        The file to write; there must be nothing there yet.

    Returns
    -------
    Copied

    Raises
    ------
    BookError
        There is something at the target, it can't be written, or the copy is not equal to the
        book; nothing is left behind then.

    Notes
    -----
    A SQLite book is copied by SQLite's own online backup, inside the transaction in which its
    rows were counted. The copy is a job book itself, sealed with its fingerprint, so that
    :func:`restore` finds out what has changed since.
    """
    return backup_of(book.engine, book.name, Path(target))


def backup_of(engine: Engine, name: str, target: Path) -> Copied:
    """Write a copy of a book that is not opened yet; see :func:`backup`."""
    with (
        whole_file(target) as making,
        reading(engine, name) as source,
        engine_for(at_path(making)) as copy,
    ):
        told = _told(source)
        _copy(source, copy, str(target))
        use_single_file(copy)
        _check(copy, str(target), told)
        _seal(copy, str(target), told[1])
    return Copied(str(target), *told)


def restore(backed_up: str | Path, target: str | Path) -> Copied:
    """Bring a backup back as a book.

    Parameters
    ----------
    backed_up
        A file written by :func:`backup`.
    target
        A file at which there is nothing yet, or the address of an empty database.

    Returns
    -------
    Copied

    Raises
    ------
    BookError
        The backup is damaged or was changed since, there is something at the target, or the
        copy is not equal to the backup; nothing is left behind then.
    """
    path, url = Path(backed_up), url_of(target)
    name = shown(url)
    if not path.is_file():
        raise BookError(f"There is no backup {path}. Check the path.")
    with engine_for(at_path(path), read_only=True) as engine, reading(engine, str(path)) as source:
        copying.check_whole(source, str(path))
        if version_of(source) is None:
            raise BookError(f"{path} is not a job book's backup. Give one written by a backup.")
        told = _told(source)
        _check_seal(source, str(path), told[1])
        return bring(source, url, name, told)


def bring(source: Connection, url: URL, name: str, told: tuple[dict[str, int], str]) -> Copied:
    """Copy a book to where there is none, and check the copy.

    Parameters
    ----------
    source
        The book to copy, in one transaction.
    url, name
        Where to, and what that is called.
    told
        Its counts and its digest.
    """
    if url.get_backend_name() != "sqlite":
        with engine_for(url) as engine:
            refuse_filled(engine, name)
            _copy(source, engine, name, told)
        return Copied(name, *told)
    refuse_existing(Path(name))
    with whole_file(Path(name)) as making, engine_for(at_path(making)) as engine:
        _copy(source, engine, name)
        _check(engine, name, told)
        with writing(engine, name) as connection:
            connection.execute(text(f"DROP TABLE IF EXISTS {copying.SEAL}"))
        use_write_ahead_log(engine)
    return Copied(name, *told)


def _copy(
    source: Connection,
    copy: Engine,
    name: str,
    told: tuple[dict[str, int], str] | None = None,
) -> None:
    """Copy page by page from file to file, else table by table in one transaction."""
    if source.dialect.name == copy.dialect.name == "sqlite":
        raw = copy.raw_connection()
        try:
            with explained(name):
                pages: Any = source.connection.driver_connection
                pages.backup(raw.driver_connection)
        finally:
            raw.close()
        return
    with writing(copy, name) as target:
        upgrade_within(target, version_of(source) or "head")
        tables = copying.tables_of(target)
        copying.copy_rows(source, target, tables)
        copying.count_on(target, tables)
        if told is not None:
            _compare(target, name, told)


def _told(connection: Connection) -> tuple[dict[str, int], str]:
    tables = copying.tables_of(connection)
    return copying.counts(connection, tables), copying.digest(connection, tables)


def _check(copy: Engine, name: str, told: tuple[dict[str, int], str]) -> None:
    with reading(copy, name) as connection:
        copying.check_whole(connection, name)
        _compare(connection, name, told)


def _compare(connection: Connection, name: str, told: tuple[dict[str, int], str]) -> None:
    if _told(connection) != told:
        raise BookError(
            f"{name} did not come out equal to what was copied, and was not kept. Check the disk, "
            "then try again."
        )


def _seal(copy: Engine, name: str, digest: str) -> None:
    with writing(copy, name) as connection:
        connection.execute(text(f"DROP TABLE IF EXISTS {copying.SEAL}"))
        connection.execute(text(f"CREATE TABLE {copying.SEAL} (digest TEXT, taken_at_us BIGINT)"))
        connection.execute(
            text(f"INSERT INTO {copying.SEAL} VALUES (:digest, :now)"),
            {"digest": digest, "now": now_us()},
        )


def _check_seal(connection: Connection, name: str, digest: str) -> None:
    there = text("SELECT 1 FROM sqlite_master WHERE name = :name")
    if connection.execute(there, {"name": copying.SEAL}).first() is None:
        raise BookError(
            f"{name} is a job book, but not one that a backup wrote. Copy it with `staysfixed "
            "book backup`."
        )
    sealed = connection.execute(text(f"SELECT digest FROM {copying.SEAL}")).scalar_one()
    if sealed != digest:
        raise BookError(
            f"{name} is not what the backup wrote any more: it was changed or damaged since. Use "
            "another backup, or open this one as a book and judge for yourself."
        )
