"""What names a job book: the address of a database, or a SQLite file. Needs no database library."""

from __future__ import annotations

import contextlib
from pathlib import Path

_SQLITE_MARK = b"SQLite format 3\0"
_noted: set[tuple[Path, int, int]] = set()
"""Files known to be books: path, device and number on it."""


def is_address(source: str | Path) -> bool:
    """Tell whether a text is a database's address and not a path."""
    return str(source).startswith(("sqlite:", "postgresql:", "postgresql+"))


def is_book(source: str | Path) -> bool:
    """Tell whether a source is a database and not a file to be read as a table.

    Parameters
    ----------
    source
        A path or an address. What a file is, is told by its first bytes, not by its name.

    Notes
    -----
    A file once known to be a book is not opened here again. Closing it would take away every
    lock that this process has on it; another program could then clear away the log of changes
    under an open book, and what is saved afterwards would be lost (SQLite's text "How To Corrupt
    An SQLite Database File", section 2.2).
    """
    if is_address(source):
        return True
    try:
        if _identity(source) in _noted:
            return True
        with Path(source).open("rb") as file:
            found = file.read(len(_SQLITE_MARK)) == _SQLITE_MARK
    except (OSError, ValueError):
        return False  # whoever opens it next says what is wrong with it
    if found:
        note_book(source)
    return found


def note_book(source: str | Path) -> None:
    """Note that a file is a book, so that :func:`is_book` never opens it while it is in use."""
    with contextlib.suppress(OSError, ValueError):
        _noted.add(_identity(source))


def _identity(source: str | Path) -> tuple[Path, int, int]:
    path = Path(source).resolve()
    stat = path.stat()
    return path, stat.st_dev, stat.st_ino
