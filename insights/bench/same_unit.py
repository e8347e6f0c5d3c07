"""Doubtful pairs: side by side for a person, and the decision kept for the linker."""

from __future__ import annotations

import pandas as pd

from insights.errors import RequestError
from insights.history.book.book import Book
from insights.history.book.decisions import pair_key, unit_decisions
from insights.history.book.entries import Record
from insights.history.book.kinds import SAME_UNIT
from insights.history.book.people import Person
from insights.history.schema import History
from insights.history.units import Links, refuse_contradictions

COMPARED = (
    "received",
    "handed_back",
    "model",
    "unit_serial",
    "customer",
    "phone",
    "postcode",
    "unit_age_years",
    "earlier_repair",
    "complaint",
    "root_cause",
    "technician",
)
"""What is shown of both jobs."""

TELLING = ("model", "unit_serial", "customer", "phone", "postcode")
"""What should be alike where they are one unit; the others change from visit to visit."""


def doubtful(links: Links) -> pd.DataFrame:
    """List the pairs to decide, the surest first: ``job_id``, ``earlier_job_id``, ...

    Returns
    -------
    pandas.DataFrame
        As :attr:`insights.history.units.Links.pairs`.
    """
    return links.pairs[links.pairs["status"] == "doubtful"].reset_index(drop=True)


def side_by_side(history: History, earlier_job_id: str, job_id: str) -> pd.DataFrame:
    """Put two jobs next to each other.

    Returns
    -------
    pandas.DataFrame
        ``field`` (the history's column), ``earlier``, ``later`` as text, empty where unknown,
        ``alike`` (True or False; missing where either is unknown, or it is not telling).

    Raises
    ------
    RequestError
        The history has no such job.
    """
    one, other = (_row(history, number) for number in (earlier_job_id, job_id))
    lines = [
        {
            "field": name,
            "earlier": one[name],
            "later": other[name],
            "alike": one[name] == other[name] if _both_tell(name, one, other) else None,
        }
        for name in COMPARED
    ]
    return pd.DataFrame(lines, columns=["field", "earlier", "later", "alike"])


def decide(
    book: Book,
    history: History,
    job_id: str,
    earlier_job_id: str,
    same: bool | None,
    *,
    by: Person,
    token: str | None = None,
) -> Record:
    """Store whether two jobs are the same unit; the linker follows it from then on.

    Parameters
    ----------
    history
        The book's jobs, to try the decision on before it is stored.
    same
        True, False, or None to withdraw what was decided.

    Raises
    ------
    RequestError
        It contradicts what was decided before, or there is no such job.
    NotAllowed, BookError
        As for :meth:`insights.history.book.book.Book.put`.
    """
    body = None
    if same is not None:
        body = {"job_id": job_id, "earlier_job_id": earlier_job_id, "same": same}
        _try(book, history, body)
    return book.put(SAME_UNIT, pair_key(job_id, earlier_job_id), body, by=by, token=token)


def _try(book: Book, history: History, body: dict[str, object]) -> None:
    """Refuse a decision that the linker could not follow: every analysis would stop at it."""
    pair = {body["job_id"], body["earlier_job_id"]}
    others = [
        decided
        for decided in unit_decisions(book, history).to_dict("records")
        if {decided["job_id"], decided["earlier_job_id"]} != pair
    ]
    refuse_contradictions(history, pd.DataFrame([*others, body]))


def _row(history: History, job_id: str) -> dict[str, str]:
    found = history.jobs[history.jobs["job_id"] == job_id]
    if found.empty:
        raise RequestError(f"There is no job {job_id} in the record. Check its number.")
    row = found.iloc[0]
    return {name: _text(row[name]) for name in COMPARED}


def _both_tell(name: str, one: dict[str, str], other: dict[str, str]) -> bool:
    return name in TELLING and bool(one[name]) and bool(other[name])


def _text(value: object) -> str:
    if pd.isna(value):
        return ""
    if isinstance(value, pd.Timestamp):
        return f"{value:%Y-%m-%d}"
    return f"{value:g}" if isinstance(value, float) else str(value)
