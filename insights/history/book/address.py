"""What names a job book: the address of a database, or a SQLite file. Needs no database library."""

from __future__ import annotations

from pathlib import Path

_SQLITE_MARK = b"SQLite format 3\0"


def is_address(source: str | Path) -> bool:
    """Tell whether a text is a database's address and not a path."""
    return str(source).startswith(("sqlite:", "postgresql:", "postgresql+"))


def is_book(source: str | Path) -> bool:
    """Tell whether a source is a database and not a file to be read as a table.

    Parameters
    ----------
    source
        A path or an address. What a file is, is told by its first bytes, not by its name.
    """
    if is_address(source):
        return True
    try:
        with Path(source).open("rb") as file:
            return file.read(len(_SQLITE_MARK)) == _SQLITE_MARK
    except (OSError, ValueError):
        return False  # whoever opens it next says what is wrong with it
