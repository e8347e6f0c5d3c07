"""What the owner keeps in the book for the bench: sheets, instruments, limits."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from insights.bench.readings import Limit, limit_from_json
from insights.bench.sheets import Instrument, ModelSheet, instrument_from_json, sheet_from_json
from insights.history.book.book import Book
from insights.history.book.kinds import INSTRUMENT, LIMIT, SHEET

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


def _all(book: Book, kind: str, read: Callable[[dict[str, Any]], Kept]) -> tuple[Kept, ...]:
    found = sorted(book.all_of(kind).items())
    return tuple(read(record.body) for _, record in found if record.body is not None)
