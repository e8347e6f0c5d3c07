"""Finding a customer in what is stored as JSON, and wiping them out of it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from insights.history.book.tables import PERSONAL

SHORTEST_NAME = 3
"""A shorter reference is only looked for as a whole field: in a text it could be any word."""

SHORTEST_PHONE = 6
_OTHER_THAN_DIGITS = re.compile(r"\D+")


@dataclass(frozen=True)
class Marks:
    """What a customer is named by.

    Parameters
    ----------
    whole
        References and telephone numbers as written, in small letters.
    phones
        The digits of the telephone numbers.
    within
        Matches a reference inside a text; None where there is none long enough.
    """

    whole: frozenset[str]
    phones: tuple[str, ...]
    within: re.Pattern[str] | None

    def are_in(self, text: str) -> bool:
        """Tell whether a text names the customer."""
        if text.strip().casefold() in self.whole:
            return True
        if self.within is not None and self.within.search(text):
            return True
        digits = _OTHER_THAN_DIGITS.sub("", text)
        return any(phone in digits for phone in self.phones)


def marks_of(customers: Iterable[str | None], phones: Iterable[str | None]) -> Marks:
    """Gather what a customer is named by.

    Parameters
    ----------
    customers, phones
        As written on their jobs, in every version.
    """
    names = sorted({name.strip() for name in customers if name and name.strip()})
    numbers = sorted({phone.strip() for phone in phones if phone and phone.strip()})
    digits = {_OTHER_THAN_DIGITS.sub("", number) for number in numbers}
    long = [re.escape(name) for name in names if len(name) >= SHORTEST_NAME]
    return Marks(
        whole=frozenset(text.casefold() for text in (*names, *numbers)),
        phones=tuple(sorted(text for text in digits if len(text) >= SHORTEST_PHONE)),
        within=re.compile(rf"(?<!\w)(?:{'|'.join(long)})(?!\w)", re.IGNORECASE) if long else None,
    )


def without(value: Any, marks: Marks, reference: str) -> Any:
    """Wipe a customer out of a JSON value; one that does not name them is given back equal.

    Parameters
    ----------
    value
        Any JSON.
    marks
        What the customer is named by.
    reference
        What stands in place of what named them.

    Returns
    -------
    Any
        The same with every text that names them replaced. What stands beside such a text is
        theirs too: in an object the history's personal fields are emptied, and in a plain list
        of texts, as a row of a file is, every text.
    """
    if isinstance(value, str):
        return reference if marks.are_in(value) else value
    if isinstance(value, list):
        return _list_without(value, marks, reference)
    if not isinstance(value, dict):
        return value
    theirs = any(isinstance(part, str) and marks.are_in(part) for part in value.values())
    return {
        name: (
            _emptied(name, part, reference)
            if theirs and _is_personal(name)
            else without(part, marks, reference)
        )
        for name, part in value.items()
    }


def wiped_of_all(value: Any, reference: str) -> Any:
    """Empty the history's personal fields wherever they stand in a JSON value."""
    if isinstance(value, list):
        return [wiped_of_all(part, reference) for part in value]
    if not isinstance(value, dict):
        return value
    return {
        name: _emptied(name, part, reference)
        if _is_personal(name)
        else wiped_of_all(part, reference)
        for name, part in value.items()
    }


def _list_without(values: list[Any], marks: Marks, reference: str) -> list[Any]:
    a_row = all(part is None or isinstance(part, str | int | float) for part in values)
    if a_row and any(isinstance(part, str) and marks.are_in(part) for part in values):
        return [reference if isinstance(part, str) else part for part in values]
    return [without(part, marks, reference) for part in values]


def _is_personal(name: str) -> bool:
    return name.strip().casefold() in PERSONAL


def _emptied(name: str, part: Any, reference: str) -> Any:
    if part is None:
        return None
    return reference if name.strip().casefold() == "customer" else None
