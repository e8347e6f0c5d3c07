"""The workshop's own lists: which codes, parts and levels it has used so far, most used first."""

from __future__ import annotations

import json
import threading
from collections import Counter, defaultdict

from sqlalchemy import func, select

from insights.history.book.book import Book
from insights.history.book.engines import reading
from insights.history.book.tables import heads, versions

COLUMNS = ("model", "root_cause", "upstream_cause", "technician")
PART, PRACTICE = "lot_", "practice_"
LATELY = 10_000
"""How many of the latest saves are looked through for parts and practices."""


class UsedCodes:
    """The codes used in a book, kept between questions.

    Parameters
    ----------
    book
        An open book. Its jobs are read once here, and later only what was saved since.
    """

    def __init__(self, book: Book) -> None:
        self._book = book
        self._lock = threading.Lock()
        self._last_version = 0
        self._codes: dict[str, Counter[str]] = defaultdict(Counter)
        # By model: the parts fitted, and for each practice its levels.
        self._parts: dict[str, Counter[str]] = defaultdict(Counter)
        self._levels: dict[str, dict[str, Counter[str]]] = defaultdict(lambda: defaultdict(Counter))
        self._catch_up()

    def of(self, column: str) -> tuple[str, ...]:
        """List the codes of a column, one of :data:`COLUMNS`."""
        self._catch_up()
        return _by_use(self._codes[column])

    def parts(self, model: str) -> tuple[str, ...]:
        """List the parts fitted, without their prefix: this model's first, then the others'."""
        self._catch_up()
        others: Counter[str] = sum(self._parts.values(), Counter())
        return tuple(dict.fromkeys((*_by_use(self._parts[model]), *_by_use(others))))

    def practices(self, model: str) -> dict[str, tuple[str, ...]]:
        """List a model's practices, without their prefix, each with the levels recorded."""
        self._catch_up()
        return {name: _by_use(levels) for name, levels in sorted(self._levels[model].items())}

    def _catch_up(self) -> None:
        with self._lock, reading(self._book.engine, self._book.name) as connection:
            newest = connection.execute(select(func.max(versions.c.version_id))).scalar() or 0
            if newest == self._last_version:
                return
            since = versions.c.version_id > self._last_version
            names = [versions.c[name] for name in COLUMNS]
            stands = heads.c.version_id == versions.c.version_id
            used = select(*names, func.count()).join(heads, stands).where(since).group_by(*names)
            for *codes, uses in connection.execute(used):
                self._count_codes(dict(zip(COLUMNS, codes, strict=True)), uses)
            lately = versions.c.version_id > newest - LATELY
            fitted = select(versions.c.model, versions.c.families).where(since, lately)
            for model, families in connection.execute(fitted):
                self._count_families(model, families)
            self._last_version = newest

    def _count_codes(self, codes: dict[str, str | None], uses: int) -> None:
        for column, code in codes.items():
            if code is not None:
                self._codes[column][code] += uses

    def _count_families(self, model: str, families: str) -> None:
        for name, value in json.loads(families).items():
            if name.startswith(PART):
                self._parts[model][name.removeprefix(PART)] += 1
            elif name.startswith(PRACTICE):
                self._levels[model][name.removeprefix(PRACTICE)][value] += 1


def _by_use(counted: Counter[str]) -> tuple[str, ...]:
    return tuple(sorted(counted, key=lambda code: (-counted[code], code)))
