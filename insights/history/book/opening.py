"""Making a book, and opening one."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

from insights.errors import BookError
from insights.history.book.book import Book
from insights.history.book.engines import make_engine, shown, url_of, use_write_ahead_log
from insights.history.book.entries import Settings
from insights.history.book.kinds import SETTINGS, WHOLE_BOOK
from insights.history.book.migrating import check_version, upgrade
from insights.history.book.people import OWNER, Person


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
    if url.get_backend_name() == "sqlite":
        if Path(name).exists():
            raise BookError(f"{name} exists already. Open it, or choose another name.")
        if not Path(name).resolve().parent.is_dir():
            raise BookError(f"The folder of {name} does not exist. Make it first.")
    engine = make_engine(url)
    if url.get_backend_name() == "sqlite":
        use_write_ahead_log(engine)
    upgrade(engine, name)
    book = Book(engine, name)
    if book.get(SETTINGS, WHOLE_BOOK) is not None:
        raise BookError(f"{name} holds a book already. Open it.")
    book.put(SETTINGS, WHOLE_BOOK, asdict(settings), by=by, expected=0)
    return book


def open_book(source: str | Path, *, read_only: bool = False) -> Book:
    """Open a book, bringing its tables to the newest version.

    Parameters
    ----------
    source
        A path or a database's address.
    read_only
        Refuse every write in the database itself; then an older book is not brought forward but
        refused.

    Raises
    ------
    BookError
        There is no such book, it can't be read, or it was written by a later program.
    """
    url = url_of(source)
    name = shown(url)
    if url.get_backend_name() == "sqlite" and not Path(name).is_file():
        raise BookError(f"There is no job book {name}. Check the path, or make a new book.")
    engine = make_engine(url, read_only=read_only)
    if not check_version(engine, name):
        if read_only:
            raise BookError(f"{name} has older tables. Open it once for writing.")
        upgrade(engine, name)
    return Book(engine, name)
