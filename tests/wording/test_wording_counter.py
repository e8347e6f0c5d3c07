"""What is said at the counter."""

from __future__ import annotations

from datetime import date

import pytest

from insights.bench.open_jobs import matching
from insights.history.book.entries import Settings
from insights.history.book.look_up import LookUp
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.wording import counter as wording_counter

ADA, BO = Person("Ada"), Person("Bo")
TODAY = date(2026, 6, 1)
FIRST = {
    "received": "2026-01-02",
    "handed_back": "2026-01-05",
    "model": "grill",
    "unit_serial": "CG-4471",
    "customer": "Cafe Nine",
    "technician": "Bo",
    "root_cause": "contact",
    "upstream_cause": "arcing_switch",
    "cause_removed": "yes",
    "practice_contact_pair": "both",
    "lot_contact": "C17",
}


@pytest.fixture
def book(tmp_path):
    return create_book(tmp_path / "book.db", Settings(decimal=","), ADA)


def found(book, **known):
    return LookUp(book).find({"model": "grill", "unit_serial": "CG4471", **known}, today=TODAY)


@pytest.mark.parametrize(
    ("term_days", "inside", "said"),
    [
        # 147 days lie between 5 January and 1 June 2026 (counted on a calendar).
        ("180", "It is inside its term.", "Day 147 of 180: inside its term."),
        ("147", "It is inside its term.", "Day 147 of 147: inside its term."),
        ("146", "It is outside its term.", "Day 147 of 146: outside its term."),
        ("0", "It is outside its term.", "147 days ago; it had no warranty of ours."),
        (None, "", "147 days ago; no term was recorded."),
    ],
)
def test_a_visit_is_told_with_what_was_done_and_its_term(book, term_days, inside, said):
    book.receive({**FIRST, "term_days": term_days}, by=ADA, today=TODAY)
    answer = found(book)
    wanted = f"This unit was here before, once. {inside}".strip()
    assert wording_counter.of_found(answer).sentence == wanted
    (visit,) = wording_counter.of_unit(answer.units[0])
    assert visit.startswith(
        "Job J000001, received 2 January 2026, handed back 5 January 2026, by Bo: contact; "
        "arcing switch; its cause was put right; contact pair: both; lot of contact: C17."
    )
    assert visit.endswith(said)


def test_what_is_new_or_can_not_be_told_is_said_so(book):
    assert "empty" in wording_counter.of_found(found(book)).sentence
    book.receive(FIRST, by=ADA, today=TODAY)
    other = found(book, unit_serial="ZX-9", model="boiler")
    assert wording_counter.of_found(other).sentence.startswith("New to us: the book's one job")
    serial_only = LookUp(book).find({"unit_serial": "ZX-9"}, today=TODAY)
    assert "Give the model" in wording_counter.of_found(serial_only).sentence


def test_a_unit_still_on_the_bench_is_not_said_to_be_here_before(book):
    still = {name: value for name, value in FIRST.items() if name != "handed_back"}
    book.receive(still, by=ADA, today=TODAY)
    said = wording_counter.of_found(found(book)).sentence
    assert "on the bench now, as job J000001" in said


def test_every_save_is_told_with_what_stood_before(book):
    book.receive(FIRST, by=ADA, today=TODAY)
    book.save("J000001", {"price": "45,5"}, expected=1, by=BO, what="leaving", today=TODAY)
    book.save("J000001", {"price": "40"}, expected=2, by=ADA, what="correction", today=TODAY)
    book.save("J000001", {"price": None}, expected=3, by=BO, what="correction", today=TODAY)
    told = wording_counter.of_saves(book.versions_of("J000001"), Settings(decimal=","))
    ends = [sentence.split(" ", 2)[2] for sentence in told[1:]]
    assert ends == [
        "Bo, leaving: price: 45,50.",
        "Ada, correction: price: 45,50 → 40,00.",
        "Bo, correction: price: 40,00 → taken out.",
    ]
    versions = book.versions_of("J000001")
    later = wording_counter.of_saves(versions, Settings(), since=1, but_not_by="Bo")
    assert len(later) == 1
    assert "Ada, correction" in later[0]


def test_a_job_is_found_by_anything_written_on_it(book):
    for serial, customer in (("CG-1", "Cafe Nine"), ("CG-10", "Cafe Ten"), (None, "Bar Nine")):
        job = {"received": "2026-05-30", "model": "grill", "unit_serial": serial}
        book.receive({**job, "customer": customer}, by=ADA, today=TODAY)
    jobs = book.jobs_on_bench()

    def ids(wanted):
        return [job.job_id[-1] for job in matching(jobs, wanted)]

    assert ids("") == ["1", "2", "3"]
    assert ids("cg 1") == ["1"]  # the whole serial, so CG-10 is not meant
    assert ids("j000003") == ["3"]
    assert ids("nine cafe") == ["1"]
    assert ids("nine") == ["1", "3"]
    assert ids("espresso") == []
    first = wording_counter.of_job(jobs[0], TODAY)
    assert first == "J000001 · grill, CG-1 · Cafe Nine · 2 days here"
