"""What people decided on doubtful pairs, as the linker takes it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime

import pandas as pd

from insights.history.book.book import Book
from insights.history.book.kinds import SAME_UNIT
from insights.history.schema import History
from insights.history.units import DECISION_COLUMNS


def pair_key(job_id: str, earlier_job_id: str) -> str:
    """Name a pair's record, whichever of the two is called the earlier."""
    return " | ".join(sorted((job_id, earlier_job_id)))


def unit_decisions(
    book: Book, history: History, as_of: date | datetime | None = None
) -> pd.DataFrame:
    """Read the decisions on doubtful pairs, for :func:`insights.history.units.link_units`.

    Parameters
    ----------
    book
        An open book.
    history
        Its jobs; a decision on a job that came into the book since they were read is left out.
    as_of
        As they were known at the end of that day, or at that moment; None: as they stand.

    Returns
    -------
    pandas.DataFrame
        ``job_id``, ``earlier_job_id``, ``same``: one row a decision that was not withdrawn.
    """
    return among(every_decision(book, as_of), history.jobs["job_id"])


def every_decision(book: Book, as_of: date | datetime | None = None) -> pd.DataFrame:
    """Read all decisions on doubtful pairs, as :func:`unit_decisions` does."""
    bodies = [record.body for record in book.all_of(SAME_UNIT, as_of).values() if record.body]
    cells = {name: [body[name] for body in bodies] for name in DECISION_COLUMNS}
    return pd.DataFrame(cells, columns=list(DECISION_COLUMNS), dtype=object)


def among(decided: pd.DataFrame, job_ids: Iterable[str]) -> pd.DataFrame:
    """Keep the decisions of which both jobs are among some."""
    if decided.empty:
        return decided
    known = set(job_ids)
    both = decided["job_id"].isin(known) & decided["earlier_job_id"].isin(known)
    return decided[both].reset_index(drop=True)
