"""A job's values as one would type them: what a form shows, and reads back as the same."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from insights.history.book.entries import Settings
from insights.history.book.tables import MONEY


def as_typed(name: str, value: Any, settings: Settings) -> str:
    """Write a value as it would be typed into this book.

    Parameters
    ----------
    name
        Its column.
    value
        As :class:`insights.history.book.entries.BookJob` holds it; None: unknown.
    settings
        The book's decimal mark, and decimals of an amount.

    Returns
    -------
    str
        Empty where unknown.
    """
    if value is None:
        return ""
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d}"
    if isinstance(value, float):
        text = f"{value:.{settings.minor_digits}f}" if name in MONEY else f"{value:.15g}"
        return text.replace(".", settings.decimal)
    return str(value)


def all_typed(
    values: Mapping[str, Any], names: Iterable[str], settings: Settings
) -> dict[str, str]:
    """Write several columns of a job as they would be typed; see :func:`as_typed`."""
    return {name: as_typed(name, values.get(name), settings) for name in names}
