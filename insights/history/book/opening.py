"""Making a book, and opening one."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

from sqlalchemy import Engine

from insights.errors import BookError
from insights.history.book.backup import backup_of
from insights.history.book.book import Book
from insights.history.book.engines import (
    at_path,
    engine_for,
    explained,
    is_file,
    make_engine,
    reading,
    shown,
    url_of,
    use_write_ahead_log,
)
from insights.history.book.entries import Settings
from insights.history.book.kinds import SETTINGS, WHOLE_BOOK
from insights.history.book.migrating import check_version, upgrade, version_of
from insights.history.book.people import OWNER, Person
from insights.history.book.whole_files import whole_file


def create_book(source: str | Path, settings: Settings, by: Person) -> Book:
    """Make an empty book.

    Parameters
    ----------
    source
        A path for a SQLite file, or the address of an empty database.
    settings
        What holds for the whole book.
    by
        Its first owner.

    Raises
    ------
    BookError
        There is a file or a book already, or the place can't be written.
    """
    by.must_be(OWNER)
    url = url_of(source)
    name = shown(url)
    if url.get_backend_name() != "sqlite":
        with engine_for(url) as engine:
            _fill(engine, name, settings, by)
        return Book(make_engine(url), name)
    with whole_file(Path(name)) as making, explained(name), engine_for(at_path(making)) as engine:
        use_write_ahead_log(engine)
        _fill(engine, name, settings, by)
    return Book(make_engine(url), name)


def _fill(engine: Engine, name: str, settings: Settings, by: Person) -> None:
    upgrade(engine, name)
    book = Book(engine, name)
    if book.get(SETTINGS, WHOLE_BOOK) is not None:
        raise BookError(f"{name} holds a book already. Open it.")
    book.put(SETTINGS, WHOLE_BOOK, asdict(settings), by=by, expected=0)


def open_book(source: str | Path, *, read_only: bool = False, as_it_is: bool = False) -> Book:
    """Open a book, bringing its tables to the newest version.

    Before an older file is brought forward, a backup of it is written beside it.

    Parameters
    ----------
    source
        A path or a database's address.
    read_only
        Refuse every write in the database itself; then an older book is not brought forward but
        refused.
    as_it_is
        Neither bring an older book forward nor refuse it: to copy it.

    Raises
    ------
    BookError
        There is no such book, it can't be read, or it was written by a later program.
    """
    url = url_of(source)
    name = shown(url)
    if url.get_backend_name() == "sqlite" and not Path(name).is_file():
        raise BookError(f"There is no job book {name}. Check the path, or make a new book.")
    with engine_for(url, read_only=read_only) as engine:
        if not check_version(engine, name) and not as_it_is:
            if read_only:
                raise BookError(
                    f"{name} was written by an earlier version of this program. `staysfixed book "
                    "check` brings it forward, after a backup beside it."
                )
            _bring_forward(engine, name)
    return Book(make_engine(url, read_only=read_only), name)


def _bring_forward(engine: Engine, name: str) -> None:
    if is_file(engine):
        with reading(engine, name) as connection:
            before = version_of(connection)
        kept = _free(Path(name).with_suffix(f".tables-{before}.backup"))
        backup_of(engine, name, kept)
    upgrade(engine, name)


def _free(path: Path) -> Path:
    """Name a file beside, at which there is nothing yet."""
    tried, count = path, 1
    while tried.exists():
        count += 1
        tried = path.with_name(f"{path.name}-{count}")
    return tried
