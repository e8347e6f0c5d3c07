"""What the owner keeps in the book for the bench: sheets, instruments, limits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from insights.bench.readings import Limit, limit_from_json
from insights.bench.sheets import Instrument, ModelSheet, instrument_from_json, sheet_from_json
from insights.history.book.book import Book
from insights.history.book.kinds import INSTRUMENT, LIMIT, PRINTED, SHEET, WHOLE_BOOK

Kept = TypeVar("Kept")


def sheet_of(book: Book, model: str) -> ModelSheet | None:
    """Read a model's sheet; None where the owner made none."""
    found = book.get(SHEET, model)
    return None if found is None or found.body is None else sheet_from_json(found.body)


def sheets(book: Book) -> tuple[ModelSheet, ...]:
    """Read every model's sheet, by model."""
    return _all(book, SHEET, sheet_from_json)


def instruments(book: Book) -> tuple[Instrument, ...]:
    """Read the instruments, by name, those laid aside too."""
    return _all(book, INSTRUMENT, instrument_from_json)


def limits(book: Book) -> tuple[Limit, ...]:
    """Read the limits, by key."""
    return _all(book, LIMIT, limit_from_json)


@dataclass(frozen=True)
class Printed:
    """What is printed for every customer.

    Parameters
    ----------
    workshop
        The workshop's name and address; empty: not said yet.
    jurisdiction
        Whose law applies, in the owner's words; empty: not said yet.
    """

    workshop: str
    jurisdiction: str


def printed(book: Book) -> Printed:
    """Read what is printed for every customer; the workshop's name is the book's at first."""
    found = book.get(PRINTED, WHOLE_BOOK)
    if found is None or found.body is None:
        return Printed(book.settings().workshop, "")
    return Printed(**found.body)


def _all(book: Book, kind: str, read: Callable[[dict[str, Any]], Kept]) -> tuple[Kept, ...]:
    found = sorted(book.all_of(kind).items())
    return tuple(read(record.body) for _, record in found if record.body is not None)
