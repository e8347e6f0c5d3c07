"""A second person codes comebacks without seeing the first coding: who, which, and how alike."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from insights.bench.agreement import (
    DRAWN_SHARE,
    Agreement,
    agreement,
    check_share,
    drawn_for_second_coding,
)
from insights.bench.comebacks import UNSETTLED
from insights.errors import RequestError
from insights.history.book.book import Book
from insights.history.book.entries import Record
from insights.history.book.kinds import CODED_TWICE, SECOND_CODING, WHOLE_BOOK
from insights.history.book.people import OWNER, Person
from insights.history.schema import RELATIONS

CODED = ("relation", "root_cause")
"""What is coded twice."""

MOST_WAITING = 200


def share_coded_twice(book: Book) -> float:
    """Read how many comebacks the owner wants coded twice, as a share."""
    kept = book.get(CODED_TWICE, WHOLE_BOOK)
    return DRAWN_SHARE if kept is None else float(kept.body["share"])


def keep_share(book: Book, share: float, *, by: Person) -> Record:
    """Store how many comebacks are coded twice; only an owner may.

    Raises
    ------
    RequestError
        A share not above 0 and up to 1.
    """
    check_share(share)
    return book.put(CODED_TWICE, WHOLE_BOOK, {"share": share}, by=by, roles=OWNER)


def to_code(book: Book, found: pd.DataFrame, person: Person) -> tuple[str, ...]:
    """List the comebacks that wait for this person's blind coding.

    Parameters
    ----------
    book
        An open book.
    found
        Its comebacks (:func:`insights.bench.comebacks.comebacks`).
    person
        Who would code; a job whose relation they set themselves is left out.

    Returns
    -------
    tuple of str
        Job numbers, the longest waiting first; of the latest :data:`MOST_WAITING` drawn, and
        without those whose coding came with an import: nobody here made it.
    """
    coded = found[found["relation"].notna() & (found["relation"] != UNSETTLED)]
    done = book.all_of(SECOND_CODING)
    waiting = [job_id for job_id in coded["job_id"] if job_id not in done]
    drawn = drawn_for_second_coding(waiting, share=share_coded_twice(book))[-MOST_WAITING:]
    return tuple(job_id for job_id in drawn if first_coder(book, job_id) not in ("", person.name))


def first_coder(book: Book, job_id: str) -> str:
    """Name who set a job's relation as it stands; empty where it came with the job, or not yet."""
    who, before = "", None
    for version in book.versions_of(job_id):
        now = version.values.get("relation")
        if now != before:
            who, before = (version.saved_by if version.number > 1 else ""), now
    return who


def keep_second_coding(
    book: Book, job_id: str, relation: str, root_cause: str, *, by: Person, token: str
) -> Record:
    """Store a second coding, with the first one as it stood: neither changes the job.

    Parameters
    ----------
    relation, root_cause
        As the second person codes them; the cause may be empty.
    by, token
        As for :meth:`insights.history.book.book.Book.put`.

    Raises
    ------
    RequestError
        The relation is not one to code, the first coding is missing, or it is the same person's.
    ChangedMeanwhile
        Someone else coded it meanwhile.
    """
    if relation not in RELATIONS or relation == UNSETTLED:
        choices = ", ".join(choice for choice in RELATIONS if choice != UNSETTLED)
        raise RequestError(f"The relation is '{relation}'. Choose one of: {choices}.")
    if first_coder(book, job_id) == by.name:
        raise RequestError(f"{by.name} coded {job_id} the first time. Ask someone else.")
    first = book.job(job_id).values
    if first.get("relation", UNSETTLED) == UNSETTLED:
        raise RequestError(f"{job_id} has not been coded a first time yet.")
    body = {
        "relation": relation,
        "root_cause": root_cause.strip(),
        "first": {name: first.get(name) or "" for name in CODED},
    }
    return book.put(SECOND_CODING, job_id, body, by=by, expected=0, token=token)


def agreements(book: Book) -> dict[str, Agreement]:
    """Compare first and second codings.

    Returns
    -------
    dict of Agreement
        By :data:`CODED`; a job on which one of the two left the field empty is not counted in it.
    """
    bodies = [record.body for record in book.all_of(SECOND_CODING).values() if record.body]
    return {name: _agreement(bodies, name) for name in CODED}


def _agreement(bodies: Sequence[dict], name: str) -> Agreement:
    pairs = [(body["first"][name], body[name]) for body in bodies]
    told = [pair for pair in pairs if all(pair)]
    return agreement([one for one, _ in told], [other for _, other in told])
