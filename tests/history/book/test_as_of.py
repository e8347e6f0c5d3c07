"""The book as it was known on a day is what was written out on that day, whatever came later."""

from __future__ import annotations

import shutil
import tempfile
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pandas as pd
import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    precondition,
    rule,
    run_state_machine_as_test,
)

from insights.errors import EvidenceError, RequestError
from insights.followup import follow_up
from insights.history.book import engines
from insights.history.book.book import Book
from insights.history.book.decisions import unit_decisions
from insights.history.book.entries import Settings
from insights.history.book.kinds import SAME_UNIT
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.history.intake import read_history
from insights.history.schema import History
from insights.history.units import link_units
from insights.history.written import write_history
from insights.survival.curves import return_curves

ADA = Person("Ada")
FIRST = date(2026, 1, 5)
SERIALS = ("WB-1", "WB-2", "WB-3")


class Clock:
    """Stands in for this machine's clock: moves on when told."""

    def __init__(self) -> None:
        self.now = datetime(FIRST.year, FIRST.month, FIRST.day, 8, tzinfo=UTC)

    @property
    def today(self) -> date:
        return self.now.date()

    def ns(self) -> int:
        self.now += timedelta(microseconds=1)
        return (self.now - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1) * 1000


class Workshop(RuleBasedStateMachine):
    """Days of saves; at the end of each the jobs are written out and kept."""

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp())
        self.book = create_book(self.folder / "book.db", Settings("EUR"), ADA)
        self.patch = pytest.MonkeyPatch()
        self.clock = Clock()
        self.patch.setattr(engines, "time", SimpleNamespace(time_ns=self.clock.ns))
        self.jobs: list[str] = []
        self.kept: dict[date, tuple[Path, pd.DataFrame]] = {}

    @rule(serial=st.sampled_from(SERIALS), back=st.booleans())
    def receive(self, serial: str, back: bool) -> None:
        arrival = {"received": self.clock.today, "model": "boiler", "unit_serial": serial}
        if back:
            arrival |= {"handed_back": self.clock.today, "price": "45.50", "term_days": 180}
        job = self.book.receive(arrival, by=ADA, today=self.clock.today)
        self.jobs.append(job.job_id)

    @precondition(lambda self: self.jobs)
    @rule(
        data=st.data(),
        change=st.sampled_from(
            [
                {"root_cause": "contact"},
                {"price": "12"},
                {"price": ""},
                {"unit_serial": "WB-3"},
                {"model": "grill"},
                {"reading_plate_c": 228.5},
            ]
        ),
    )
    def correct(self, data: st.DataObject, change: dict) -> None:
        job = self.book.job(data.draw(st.sampled_from(self.jobs)))
        self.book.save(
            job.job_id,
            change,
            expected=job.number,
            by=ADA,
            what="correction",
            today=self.clock.today,
        )

    @precondition(lambda self: len(self.jobs) > 1)
    @rule(data=st.data(), same=st.sampled_from([True, False, None]))
    def decide(self, data: st.DataObject, same: bool | None) -> None:
        pair = data.draw(st.lists(st.sampled_from(self.jobs), min_size=2, max_size=2, unique=True))
        earlier, later = sorted(pair)
        body = {"job_id": later, "earlier_job_id": earlier, "same": same}
        key = f"{earlier} {later}"
        self.book.put(SAME_UNIT, key, None if same is None else body, by=ADA)

    @rule(days=st.integers(1, 40))
    def days_pass(self, days: int) -> None:
        if self.jobs:
            file = self.folder / f"{self.clock.today}.csv"
            history = self.book.history()
            write_history(history, file)
            self.kept[self.clock.today] = (file, unit_decisions(self.book, history))
        self.clock.now = self.clock.now.replace(hour=8) + timedelta(days=days)

    def teardown(self) -> None:
        try:
            self.what_was_known_stands()
        finally:
            self.patch.undo()
            self.book.engine.dispose()
            shutil.rmtree(self.folder)

    def what_was_known_stands(self) -> None:
        for day, (file, decided) in self.kept.items():
            known = self.book.history(as_of=day)
            written = read_history(file, today=self.clock.today)
            pd.testing.assert_frame_equal(written.jobs, known.jobs)
            pd.testing.assert_frame_equal(unit_decisions(self.book, known, day), decided)
            assert answer(known, decided) == answer(written, decided)


def answer(history: History, decided: pd.DataFrame) -> object:
    """The analysis of a history: its curve as a table, or why there is none."""
    try:
        links = link_units(history, decisions=decided)
        return return_curves(follow_up(history, links=links), at=(30, 90)).at.to_json()
    except (EvidenceError, RequestError) as error:
        return str(error)


def test_the_book_as_it_was_known_is_what_was_written_out_then():
    run_state_machine_as_test(
        Workshop, settings=settings(max_examples=4, stateful_step_count=20, deadline=None)
    )


@pytest.mark.slow
def test_the_same_over_many_workshops():
    run_state_machine_as_test(
        Workshop, settings=settings(max_examples=40, stateful_step_count=40, deadline=None)
    )


def test_a_day_ends_at_midnight_utc(book: Book, monkeypatch):
    saved = datetime(2026, 3, 2, 23, 59, 59, 999_999, tzinfo=UTC)
    clock = Clock()
    monkeypatch.setattr(engines, "time", SimpleNamespace(time_ns=clock.ns))
    clock.now = saved - timedelta(microseconds=1)  # it moves on when read
    job = book.receive({"received": "2026-03-02", "model": "boiler", "price": "1"}, by=ADA)
    book.save(job.job_id, {"price": "2"}, expected=1, by=ADA, what="correction")
    assert book.history(date(2026, 3, 1)).jobs.empty
    assert book.history(date(2026, 3, 2)).jobs["price"].tolist() == [1.0]
    assert book.history(date(2026, 3, 3)).jobs["price"].tolist() == [2.0]
    assert book.history(saved).jobs.empty  # just before the moment
    with pytest.raises(RequestError, match="time zone"):
        book.history(datetime(2026, 3, 2))
