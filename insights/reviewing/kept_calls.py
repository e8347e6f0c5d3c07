"""What the job book keeps of owners drawn to be called, and of what they answered."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import TYPE_CHECKING

import pandas as pd

from insights.errors import RequestError
from insights.history.book.address import is_book
from insights.history.book.kinds import CALL_BACK
from insights.reviewing.call_back import ANSWERS

if TYPE_CHECKING:
    from insights.history.book.book import Book
    from insights.history.book.entries import Record
    from insights.history.book.people import Person

DRAWN_COLUMNS = ("job_id", "drawn_on", "answer", "number")


def drawn_in(book: Book, as_of: date | datetime | None = None) -> pd.DataFrame:
    """List the units whose owners were drawn.

    Parameters
    ----------
    book
        The book.
    as_of
        As it was known then; None: as it stands.

    Returns
    -------
    pandas.DataFrame
        ``job_id``, ``drawn_on`` (ISO day), ``answer`` (one of
        :data:`insights.reviewing.call_back.ANSWERS`; empty: not asked yet) and the record's
        ``number``, in the order drawn.
    """
    kept = book.all_of(CALL_BACK, as_of)
    rows = [
        (key, record.body["drawn_on"], record.body["answer"], record.number)
        for key, record in kept.items()
        if record.body is not None
    ]
    return pd.DataFrame(rows, columns=list(DRAWN_COLUMNS))


def answers_in(source: str, as_of: date | None = None) -> pd.DataFrame | None:
    """Read what owners answered, where the source is a job book that knows any answer.

    Parameters
    ----------
    source
        A file or a job book.
    as_of
        As it was known at the end of that day.
    """
    if not is_book(source):
        return None
    # The database library takes a while to import, which only a book should cost.
    from insights.history.book.opening import open_book

    found = drawn_in(open_book(source, read_only=True), as_of)
    return found if (found["answer"] != "").any() else None


def keep_drawn(book: Book, job_ids: Iterable[str], drawn_on: date, *, by: Person) -> int:
    """Store which units were drawn; those drawn before stay as they are. How many are new."""
    known = set(drawn_in(book)["job_id"])
    new = [job_id for job_id in dict.fromkeys(job_ids) if job_id not in known]
    for job_id in new:
        body = {"drawn_on": drawn_on.isoformat(), "answer": ""}
        book.put(CALL_BACK, job_id, body, by=by, expected=0)
    return len(new)


def keep_answer(
    book: Book,
    job_id: str,
    answer: str,
    *,
    by: Person,
    expected: int | None = None,
    token: str | None = None,
) -> Record:
    """Store what the owner of a unit that was drawn answered.

    Parameters
    ----------
    book, by
        The book, and who asked.
    job_id
        The unit, by its job.
    answer
        One of :data:`insights.reviewing.call_back.ANSWERS`.
    expected, token
        As for :meth:`insights.history.book.book.Book.put`.

    Raises
    ------
    RequestError
        It is no answer, or the unit was not drawn: whom one happens to talk to is no sample.
    """
    if answer not in ANSWERS:
        raise RequestError(
            f"'{answer}' is not an answer. Choose one of: {'; '.join(ANSWERS.values())}."
        )
    drawn = book.get(CALL_BACK, job_id)
    if drawn is None or drawn.body is None:
        raise RequestError(
            f"The owner of {job_id} was not drawn. Only owners drawn by chance count: others may "
            "answer otherwise."
        )
    body = {**drawn.body, "answer": answer}
    return book.put(CALL_BACK, job_id, body, by=by, expected=expected, token=token)
