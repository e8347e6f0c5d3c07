"""Owners called, and what their answers say of all the shares of units that came back."""

from __future__ import annotations

import pandas as pd

from insights.reviewing.call_back import Corrected
from insights.wording import counted, per_100

LEADS = {
    "model": "Unit",
    "unit_serial": "Serial",
    "handed_back": "Handed back",
    "customer": "Customer",
    "phone": "Phone",
}
"""What one needs at the telephone, by column."""


def of_calls(drawn: pd.DataFrame) -> str:
    """Say how far the calls are.

    Parameters
    ----------
    drawn
        Of :func:`insights.reviewing.kept_calls.drawn_in`.
    """
    if drawn.empty:
        return "No owner has been drawn yet."
    waiting = int((drawn["answer"] == "").sum())
    if not waiting:
        return f"All {len(drawn)} owners drawn have been asked."
    return f"Of {counted(len(drawn), 'owner')} drawn {waiting} are still to be called."


def of_failed(found: Corrected, day: int) -> str:
    """Say beside a share that came back how many failed."""
    return (
        f"Not every unit that fails is brought back: {_asked(found)}. So where "
        f"{per_100(found.back)} of 100 come back within {day} days, about "
        f"{per_100(found.failed)} fail, likely {per_100(found.failed_low)} to "
        f"{per_100(found.failed_high)}."
    )


def of_quoted(found: Corrected) -> str:
    """Say beside claims expected what they would be if every failed unit were brought."""
    return (
        f"Claims are units that are brought to us: {_asked(found)}. If everyone brought theirs, "
        f"there would be {1 / found.return_share:.2f} times the claims, likely "
        f"{1 / found.return_high:.2f} to {1 / found.return_low:.2f} times."
    )


def _asked(found: Corrected) -> str:
    working = found.would_return + found.would_not
    return (
        f"of {counted(working, 'owner')} asked whose unit works {found.would_return} would bring a "
        "failed one to us"
    )
