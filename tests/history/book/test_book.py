"""The job book keeps what was entered, tells of clashes, and never overwrites."""

from __future__ import annotations

from datetime import date

import pytest

from insights.errors import ChangedMeanwhile, EntryError, NotAllowed
from insights.history.book.book import Book
from insights.history.book.entries import new_token
from insights.history.book.people import Person

ADA = Person("Ada", "owner")
BO = Person("Bo", "bench")
EVE = Person("Eve", "reader")
ARRIVAL = {"received": "2026-03-02", "model": "boiler", "unit_serial": "WB 12-34"}


def test_a_job_grows_by_versions_and_each_change_is_kept(book: Book) -> None:
    arrived = book.receive(ARRIVAL, by=BO)
    done = book.save(
        arrived.job_id,
        {"price": "45.50", "handed_back": date(2026, 3, 4)},
        expected=1,
        by=ADA,
        what="handed back",
    )
    book.save(arrived.job_id, {"price": "40"}, expected=2, by=ADA, what="correction")
    changed = book.changes(arrived.job_id)
    prices = changed[changed["column"] == "price"]
    assert done.values["price"] == 45.5
    assert prices[["before", "after"]].to_numpy().tolist() == [[None, 45.5], [45.5, 40.0]]
    assert changed["saved_by"].tolist()[0] == "Bo"


def test_the_same_token_stores_once(book: Book) -> None:
    token = new_token()
    first = book.receive(ARRIVAL, by=BO, token=token)
    assert book.receive(ARRIVAL, by=BO, token=token) == first
    assert len(book.history().jobs) == 1


def test_two_people_on_one_job_are_told(book: Book) -> None:
    job = book.receive(ARRIVAL, by=BO)
    book.save(job.job_id, {"root_cause": "contact"}, expected=1, by=ADA, what="findings")
    with pytest.raises(ChangedMeanwhile, match=r"by Ada \(findings\).*root_cause"):
        book.save(job.job_id, {"root_cause": "cord"}, expected=1, by=BO, what="findings")
    assert book.job(job.job_id).values["root_cause"] == "contact"


@pytest.mark.parametrize(
    ("entered", "told"),
    [
        ({"price": "12.345"}, "more than 2 decimals"),
        ({"price": "12,5"}, "decimal mark"),
        ({"condition": 9}, "above 5"),
        ({"received": ""}, "the field is empty"),
        ({"handed_back": "2026-03-01"}, "handed back before received"),
        ({"relation": "nonsense"}, "not one of the choices"),
        ({"colour": "red"}, "not a field of the book"),
    ],
)
def test_what_cannot_be_stored_is_refused_with_its_field(
    book: Book, entered: dict[str, object], told: str
) -> None:
    job = book.receive(ARRIVAL, by=BO)
    with pytest.raises(EntryError, match=told) as refused:
        book.save(job.job_id, entered, expected=1, by=BO, what="findings")
    assert refused.value.problems[0][0] == next(iter(entered))
    assert book.job(job.job_id).number == 1


def test_a_reader_cannot_write(book: Book) -> None:
    with pytest.raises(NotAllowed, match="Eve has the role 'reader'"):
        book.receive(ARRIVAL, by=EVE)
    with pytest.raises(NotAllowed):
        book.put("checklist", "boiler", [], by=EVE)
