"""What the pages answer about: the invented workshop, a file or the open job book."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from dashboards.data import book as book_data
from dashboards.server import SOURCE_VARIABLE
from insights.history.declared import Declared

if TYPE_CHECKING:
    from insights.history.book.book import Book


@dataclass(frozen=True)
class Source:
    """One job history to show.

    Parameters
    ----------
    name
        For display.
    revision
        Differs whenever the content, or how it is read, differs.
    path, content
        The file, or the bytes of an uploaded one.
    declared
        How the file is written, where that was said.
    is_book
        Whether it is the open job book. With none of the three: the invented workshop.
    """

    name: str
    revision: str
    path: Path | None = field(default=None, compare=False)
    content: bytes | None = field(default=None, compare=False, repr=False)
    declared: Declared | None = field(default=None, compare=False)
    is_book: bool = field(default=False, compare=False)

    @property
    def is_invented(self) -> bool:
        """Whether this is the invented workshop."""
        return not self.is_file and not self.is_book

    @property
    def is_file(self) -> bool:
        """Whether this is a file, so that how it is written can be asked about."""
        return self.path is not None or self.content is not None

    @property
    def mark(self) -> str:
        """A short name for this revision, for the keys of widgets that belong to it."""
        return hashlib.sha256(self.revision.encode()).hexdigest()[:8]

    @property
    def given(self) -> Path | tuple[str, bytes]:
        """The source as the reader takes it."""
        if self.content is not None:
            return self.name, self.content
        assert self.path is not None
        return self.path


def invented() -> Source:
    """Name the invented workshop."""
    return Source("the invented café workshop", "invented")


def on_disk(path: Path, declared: Declared | None = None) -> Source:
    """Name a file, in the state it is in now.

    Parameters
    ----------
    path
        A job history.
    declared
        How it is written, where that was said.
    """
    stat = path.stat()
    revision = f"{path}|{stat.st_mtime_ns}|{stat.st_size}|{declared}"
    return Source(path.name, revision, path=path, declared=declared)


def uploaded(name: str, content: bytes, declared: Declared | None = None) -> Source:
    """Name an uploaded file.

    Parameters
    ----------
    name, content
        As uploaded.
    declared
        How it is written, where that was said.
    """
    digest = hashlib.sha256(content).hexdigest()
    return Source(name, f"{digest}|{declared}", content=content, declared=declared)


def again(source: Source, declared: Declared) -> Source:
    """Name a file as read under another declaration.

    Parameters
    ----------
    source
        A file, uploaded or on disk.
    declared
        How it is written.
    """
    if source.content is not None:
        return uploaded(source.name, source.content, declared)
    assert source.path is not None
    return on_disk(source.path, declared)


def in_book(book: Book) -> Source:
    """Name the open job book, in the state it is in now: another one after every save."""
    return Source(Path(book.name).name, f"{book.name}|{book.revision()}", is_book=True)


def first_source() -> Source:
    """Name what the program was started on: a job book, a file, or the invented workshop."""
    book = book_data.book()
    if book is not None:
        return in_book(book)
    given = os.environ.get(SOURCE_VARIABLE)
    return on_disk(Path(given)) if given else invented()
