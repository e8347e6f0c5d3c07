"""What a source says of its own watch: a job book keeps it, a file does not."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pandas as pd

from insights.history.book.address import is_book
from insights.reviewing.kept_watch import WatchSettings, actions_of, settings_of, statuses_of

if TYPE_CHECKING:
    from insights.history.book.book import Book


@dataclass(frozen=True)
class Watched:
    """What is watched, and what was done so far.

    Parameters
    ----------
    settings
        What the owner wants watched.
    actions
        What was done about signals; None: not known.
    book
        Where it is kept; None: nowhere.
    """

    settings: WatchSettings = field(default_factory=WatchSettings)
    actions: pd.DataFrame | None = None
    book: Book | None = None

    @property
    def workshop(self) -> str:
        """The workshop's name as the book keeps it; empty: not known."""
        return "" if self.book is None else self.book.settings().workshop

    def statuses(self, chart: str) -> pd.DataFrame | None:
        """List how far each call about a chart is; None where nothing is kept."""
        return None if self.book is None else statuses_of(self.book, chart)


def watched_in(source: str) -> Watched:
    """Read what a source says of its own watch.

    Parameters
    ----------
    source
        A file, of which the usual holds, or a job book.
    """
    if not is_book(source):
        return Watched()
    # The database library takes a while to import, which only a book should cost.
    from insights.history.book.opening import open_book

    book = open_book(source, read_only=True)
    return Watched(settings_of(book), actions_of(book), book)
