"""One way to write a number, a date and a column, and what every finding is made of."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

from insights.notes import counted as counted
from insights.notes import whole as whole

SAFETY = (
    "Mains appliances and hot surfaces can kill or burn. Unplug before opening, let it cool, "
    "test after every repair as your local code asks, and leave licensed work to those who "
    "hold the licence."
)
STATUTORY = (
    "A workshop warranty adds to the customer's statutory rights and never reduces them; "
    "'outside the term' means outside our own warranty only. This is not legal advice."
)


@dataclass(frozen=True)
class Finding:
    """What a result says, and what to keep in mind.

    Parameters
    ----------
    sentence
        The answer in plain words.
    caveats
        Limits of the answer, the most important first.
    """

    sentence: str
    caveats: tuple[str, ...] = ()

    def with_caveats(self, more: Iterable[str]) -> Finding:
        """Give the same finding with more to keep in mind."""
        return Finding(self.sentence, tuple(dict.fromkeys((*self.caveats, *more))))

    def followed_by(self, other: Finding) -> Finding:
        """Give both findings as one, this one first."""
        joined = Finding(f"{self.sentence} {other.sentence}".strip(), self.caveats)
        return joined.with_caveats(other.caveats)


def unbroken(text: str) -> str:
    """Keep a number, and its range, each on one line; a narrow screen breaks between the two.

    Parameters
    ----------
    text
        Such as ``4.5% (4.1% to 5.0%)``.
    """
    return text.replace(" ", "\u00a0").replace("\u00a0(", " (")


def per_100(share: float) -> str:
    """Write a share as a number of 100, with a digit more where it is small."""
    digits = 2 if 0 < abs(share) < 0.00995 else 1
    return f"{100 * share:.{digits}f}"


def amount_of(number: float, currency: str, digits: int = 0) -> str:
    """Write an amount, with its currency where the record states one.

    Parameters
    ----------
    number
        How much.
    currency
        As stated; empty: not stated.
    digits
        After the point.
    """
    return f"{number:,.{digits}f} {currency}".rstrip()


def in_currency(heading: str, currency: str) -> str:
    """Head a column of amounts, with their currency where the record states one."""
    return f"{heading}, {currency}" if currency else heading


def spoken(column: str) -> str:
    """Name a column as one says it: ``practice_contact_pair`` is the contact pair."""
    family, _, rest = column.partition("_")
    if family == "practice":
        return rest.replace("_", " ")
    if family == "lot":
        return f"lot of the {rest.replace('_', ' ')}"
    return column.replace("_", " ")


def day_of(date: pd.Timestamp) -> str:
    """Write a date as day, month in words, year: no order of numbers to mistake."""
    return f"{date.day} {date:%B %Y}"
