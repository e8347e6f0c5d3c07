"""A book's jobs and the units they are, kept between readings: a save costs what it changed.

A :class:`KeptReading` belongs to one open book. It reads the versions that were saved since it last
looked, and draws the units anew only where something changed that linking looks at.
"""

from __future__ import annotations

from dataclasses import replace
from threading import Lock

import numpy as np
import pandas as pd
from sqlalchemy import func, select

from insights.history.book import steps
from insights.history.book.book import Book
from insights.history.book.decisions import unit_decisions
from insights.history.book.engines import reading
from insights.history.book.packing import history_of
from insights.history.book.tables import versions
from insights.history.cards import READ_BY_CARDS
from insights.history.schema import BY_NAME, History, to_schema
from insights.history.units import Links, link_units


class KeptReading:
    """Read a book again and again.

    Parameters
    ----------
    book
        An open book; nothing is read yet.

    Notes
    -----
    Both answers are those of :meth:`Book.history` and of
    :func:`insights.history.units.link_units` on the book as it stands; between two saves they are
    the same objects. A version stays as it is, except under erasing, which saves a new one of
    every job that it touches.
    """

    def __init__(self, book: Book) -> None:
        self._book = book
        self._lock = Lock()
        self._history: History | None = None
        self._last_version = 0
        self._links: Links | None = None
        self._linked: tuple[History, pd.DataFrame] | None = None
        self._linked_at: tuple[int, int] | None = None

    def history(self) -> History:
        """Give the book's jobs as they stand."""
        with self._lock:
            return self._read()

    def links(self) -> Links:
        """Say which jobs are the same unit, people's decisions among what is known."""
        with self._lock:
            state = self._book.revision()
            if self._links is None or state != self._linked_at:
                history = self._read()
                decided = unit_decisions(self._book, history)
                if self._links is None or not self._is_linked(history, decided):
                    self._links = link_units(history, decisions=decided)
                self._linked, self._linked_at = (history, decided), state
            return self._links

    def _is_linked(self, history: History, decided: pd.DataFrame) -> bool:
        if self._linked is None:
            return False
        before, known = self._linked
        return decided.equals(known) and all(
            history.jobs[name].equals(before.jobs[name]) for name in READ_BY_CARDS
        )

    def _read(self) -> History:
        settings = self._book.settings()
        kept, since = self._history, self._last_version
        with reading(self._book.engine, self._book.name) as connection:
            newest = connection.execute(select(func.max(versions.c.version_id))).scalar() or 0
            if kept is not None and newest == since:
                return kept
            rows = steps.in_parts(connection, steps.saved_since(since) if kept else steps.current())
            new = history_of(rows, settings.minor_digits, self._book.name, settings.currency)
        self._history = new if kept is None else replace(new, jobs=_with(kept.jobs, new.jobs))
        self._last_version = newest
        return self._history


def _with(kept: pd.DataFrame, new: pd.DataFrame) -> pd.DataFrame:
    """Put jobs read anew into their places, and those that came since after the others."""
    row = pd.Index(kept["job_id"].astype(object)).get_indexer(new["job_id"].astype(object))
    place = len(kept) + np.arange(len(new))
    take = np.concatenate([np.arange(len(kept)), place[row < 0]])
    take[row[row >= 0]] = place[row >= 0]
    names = dict.fromkeys([*kept.columns, *new.columns])
    joined = {name: _column(name, kept, new, take) for name in sorted(names, key=_order)}
    # An open column stands for what some job tells.
    told = {name: cells for name, cells in joined.items() if name in BY_NAME or cells.notna().any()}
    return to_schema(pd.DataFrame(told))


def _order(name: str) -> tuple[bool, str]:
    return name not in BY_NAME, name


def _column(name: str, kept: pd.DataFrame, new: pd.DataFrame, take: np.ndarray) -> pd.Series:
    dtype = (kept if name in kept else new)[name].dtype
    parts = [
        jobs[name] if name in jobs else pd.Series(np.nan, jobs.index).astype(dtype)
        for jobs in (kept, new)
    ]
    if isinstance(dtype, pd.CategoricalDtype):
        joined = pd.api.types.union_categoricals(parts).take(take).remove_unused_categories()
        return pd.Series(joined.reorder_categories(sorted(joined.categories)))
    return pd.concat(parts, ignore_index=True).take(take).reset_index(drop=True)
