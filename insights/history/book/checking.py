"""What is entered at the bench, checked by the same rules as a file's cells."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

import pandas as pd
import pyarrow as pa

from insights.errors import EntryError
from insights.history.book.packing import has_more_digits
from insights.history.book.tables import MONEY
from insights.history.declared import Declared
from insights.history.raw import TEXT
from insights.history.schema import REQUIRED, column
from insights.history.values import cells_of, parse, trimmed

Problem = tuple[str, str, str, str]


def checked(
    entered: Mapping[str, Any], *, digits: int, declared: Declared, today: date
) -> dict[str, Any]:
    """Read what was entered.

    Parameters
    ----------
    entered
        Our heading -> what was entered: text as typed, a date, a number, or None or an empty
        text to say that it is unknown.
    digits
        Decimals of the currency's minor unit.
    declared
        Decimal mark and date format of what is typed.
    today
        No date may lie after it.

    Returns
    -------
    dict
        Our heading -> text, timestamp or number; None where unknown.

    Raises
    ------
    EntryError
        Every field that can't be stored, with the reason and what to do.
    """
    values: dict[str, Any] = {}
    problems: list[Problem] = []
    for name, given in entered.items():
        value, found = _one(name, given, declared, today)
        values[name] = value
        problems += found
        if name in MONEY and value is not None and has_more_digits(value, digits):
            remedy = f"write it with at most {digits}"
            problems.append(
                (name, str(given), f"an amount with more than {digits} decimals", remedy)
            )
    if problems:
        raise EntryError(tuple(problems))
    return values


def check_whole(values: Mapping[str, Any]) -> None:
    """Check a whole job: what it must have, and dates that follow each other.

    Raises
    ------
    EntryError
        A required field is empty, or a date contradicts another.
    """
    problems: list[Problem] = [
        (name, "", "the field is empty", "fill it in; a job can't be stored without it")
        for name in REQUIRED
        if values.get(name) is None
    ]
    received, back = values.get("received"), values.get("handed_back")
    if received is not None and back is not None and back < received:
        remedy = "correct one of the two dates"
        problems.append(("handed_back", f"{back:%Y-%m-%d}", "handed back before received", remedy))
    if problems:
        raise EntryError(tuple(problems))


def _one(name: str, given: Any, declared: Declared, today: date) -> tuple[Any, list[Problem]]:
    described = column(name)
    if described is None:
        return None, [(name, str(given), "not a field of the book", "use one of its fields")]
    plain = isinstance(given, (int, float)) and not isinstance(given, bool)
    said = Declared(currency=declared.currency) if plain else declared
    cells = cells_of(trimmed(pa.chunked_array([pa.array([_text(given)], type=TEXT)])))
    if described.required and not cells.text[0].is_valid:
        return None, []  # whether a required field may be empty is for the whole job to say
    parsed = parse(described, name, cells, said, today)
    problems = [
        (name, _text(given) or "", str(flaw.problem), flaw.remedy)
        for flaw in parsed.flaws
        if len(flaw.rows)
    ]
    value = parsed.values.iloc[0]
    return (None if pd.isna(value) else value), problems


def _text(given: Any) -> str | None:
    if given is None or given is pd.NaT:
        return None
    if isinstance(given, datetime):
        return f"{given:%Y-%m-%d}"
    if isinstance(given, float):
        return None if pd.isna(given) else repr(float(given))
    return given.isoformat() if isinstance(given, date) else str(given)
