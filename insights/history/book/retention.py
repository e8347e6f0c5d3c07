"""How long customers' data are kept: the owner's limit, what is beyond it, and wiping that."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.history.book.book import Book
from insights.history.book.erasing import ERASED, Erased, erase_groups
from insights.history.book.kinds import RETENTION, WHOLE_BOOK
from insights.history.book.people import OWNER, Person
from insights.history.serials import identifiers

SHORTEST_DAYS = 30
_PERSONAL = ["customer", "postcode", "phone", "complaint", "notes"]
_NOBODY = "job "


def retention_days(book: Book) -> int | None:
    """Read the limit; None where the owner set none: then nothing is ever beyond it."""
    found = book.get(RETENTION, WHOLE_BOOK)
    return None if found is None or found.body is None else int(found.body["days"])


def set_retention(book: Book, days: int | None, *, by: Person) -> None:
    """Set how long customers' data are kept after nothing is open with them any more.

    Parameters
    ----------
    book
        Opened for writing.
    days
        At least :data:`SHORTEST_DAYS`; None: no limit.
    by
        An owner.

    Raises
    ------
    RequestError
        Too few days.
    NotAllowed
        Not an owner.
    """
    if days is not None and days < SHORTEST_DAYS:
        raise RequestError(
            f"{days} days is shorter than {SHORTEST_DAYS}: data would go while a customer may "
            "still have questions about the bill."
        )
    body = None if days is None else {"days": days}
    book.put(RETENTION, WHOLE_BOOK, body, by=by, roles=OWNER)


def overdue(book: Book, today: date) -> pd.DataFrame:
    """List the customers whose data are beyond the limit.

    Parameters
    ----------
    book
        The book.
    today
        The day that counts.

    Returns
    -------
    pandas.DataFrame
        ``customer`` (as written last; empty where a job names none), ``sign``, ``jobs``,
        ``job_ids``, ``since`` (the day nothing was open with them any more), the longest ago
        first. Empty without a limit.

    Notes
    -----
    A customer is counted from the last of their hand-backs, or the end of the warranty that was
    given with one, whichever is later; with a unit on the bench they are never beyond the limit.
    Jobs without a reference are taken one by one.
    """
    days = retention_days(book)
    jobs = _with_person(book.history().jobs)
    if days is None or jobs.empty:
        return pd.DataFrame(columns=["customer", "sign", "jobs", "job_ids", "since"])
    by_person = jobs.groupby("sign", sort=False)
    people = by_person.agg(
        customer=("customer", "last"),
        jobs=("job_id", "size"),
        job_ids=("job_id", tuple),
        since=("until", "max"),
        open=("open", "any"),
    ).reset_index()
    late = ~people["open"] & (people["since"] < pd.Timestamp(today - timedelta(days=days)))
    found = people[late].sort_values("since", kind="stable", ignore_index=True)
    return found[["customer", "sign", "jobs", "job_ids", "since"]]


def wipe_overdue(book: Book, today: date, *, by: Person) -> Erased:
    """Wipe the data of everyone beyond the limit, as for erasing one customer.

    Raises
    ------
    NotAllowed, BookError
        As for :func:`insights.history.book.erasing.erase_customer`.
    """
    by.must_be(OWNER)
    people = overdue(book, today)
    if people.empty:
        return Erased()
    return erase_groups(book, dict(zip(people["sign"], people["job_ids"], strict=True)), by=by)


def _with_person(jobs: pd.DataFrame) -> pd.DataFrame:
    """Keep the jobs that still hold someone's data, with whose, since when, and whether open."""
    customer = jobs["customer"].astype(object)
    wiped = customer.notna() & customer.astype(str).str.startswith(f"{ERASED}-")
    found = jobs[jobs[_PERSONAL].notna().any(axis=1).to_numpy() & ~wiped.to_numpy()].copy()
    sign = identifiers(found["customer"])
    found["sign"] = sign.where(sign.notna(), _NOBODY + found["job_id"].astype(str))
    ended = found["handed_back"].fillna(found["ended_on"])
    found["open"] = ended.isna()
    term = pd.to_timedelta(np.where(found["term_days"].isna(), 0, found["term_days"]), unit="D")
    found["until"] = ended + term
    found["customer"] = found["customer"].astype(object).where(found["customer"].notna(), "")
    return found
