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
            names = [versions.c[name] for name in COLUMNS]
            asked = (
                select(*names, versions.c.families, func.count())
                .join(heads, heads.c.version_id == versions.c.version_id)
                .where(versions.c.version_id > self._last_version)
                .group_by(*names, versions.c.families)
            )
            for *codes, families, uses in connection.execute(asked):
                self._count(dict(zip(COLUMNS, codes, strict=True)), families, uses)
            self._last_version = newest

    def _count(self, codes: dict[str, str | None], families: str, uses: int) -> None:
        for column, code in codes.items():
            if code is not None:
                self._codes[column][code] += uses
        model = str(codes["model"])
        for name, value in json.loads(families).items():
            if name.startswith(PART):
                self._parts[model][name.removeprefix(PART)] += uses
            elif name.startswith(PRACTICE):
                self._levels[model][name.removeprefix(PRACTICE)][value] += uses


def _by_use(counted: Counter[str]) -> tuple[str, ...]:
    return tuple(sorted(counted, key=lambda code: (-counted[code], code)))
