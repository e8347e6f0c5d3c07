"""What is kept between readings of a book is what reading it whole would give."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

from insights.history.book.book import Book
from insights.history.book.decisions import unit_decisions
from insights.history.book.entries import Settings
from insights.history.book.erasing import erase_customer
from insights.history.book.kept_reading import KeptReading
from insights.history.book.kinds import INSTRUMENT, SAME_UNIT
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.history.cards import READ_BY_CARDS, make_cards
from insights.history.units import link_units
from synthetic.cafe import cafe_workshop
from synthetic.generate import generate

ADA = Person("Ada", "owner")
TODAY = date(2027, 6, 30)


@pytest.fixture
def kept(tmp_path: Path) -> tuple[Book, KeptReading]:
    history, _ = generate(cafe_workshop(300))
    book = create_book(tmp_path / "book.db", Settings(currency=history.currency), ADA)
    book.add_history(history, by=ADA)
    reading = KeptReading(book)
    reading.links()
    return book, reading


def save(book: Book, job_id: str, **changes: object) -> None:
    number = book.job(job_id).number
    book.save(job_id, changes, expected=number, by=ADA, what="findings", today=TODAY)


def holds(book: Book, reading: KeptReading) -> None:
    """Compare with the whole book read and linked."""
    history, links = reading.history(), reading.links()
    whole = book.history()
    assert_frame_equal(history.jobs, whole.jobs)
    assert (history.source, history.currency) == (whole.source, whole.currency)
    drawn = link_units(whole, decisions=unit_decisions(book, whole))
    np.testing.assert_array_equal(links.unit_of_job, drawn.unit_of_job)
    assert_frame_equal(links.pairs, drawn.pairs)


def test_after_saves_of_every_kind(kept) -> None:
    book, reading = kept
    jobs = book.history().jobs["job_id"].tolist()
    save(book, jobs[5], root_cause="a cause of its own", lot_valve="V1", reading_steam_c=99.5)
    holds(book, reading)
    save(book, jobs[5], root_cause="contact", lot_valve="", reading_steam_c="")  # the last to tell
    holds(book, reading)
    new = {"model": "urn", "unit_serial": "UR-55120", "received": "2026-06-01", "customer": "K9"}
    for job_id in ("zz", "aa"):  # in the order of their arrival, not of their numbers
        book.receive({**new, "job_id": job_id}, by=ADA, today=TODAY)
    save(book, jobs[0], unit_serial="UR-55120", model="urn", notes="another plate")
    holds(book, reading)
    save(book, "zz", handed_back="2026-06-03", price="12.50", practice_contact_pair="both")
    save(book, "zz", handed_back="2026-06-04")
    holds(book, reading)


def test_after_decisions_and_their_withdrawal(kept) -> None:
    book, reading = kept
    pair = reading.links().pairs.iloc[0]
    body = {"job_id": pair["job_id"], "earlier_job_id": pair["earlier_job_id"], "same": False}
    book.put(SAME_UNIT, "pair", body, by=ADA)
    holds(book, reading)
    book.put(SAME_UNIT, "pair", None, by=ADA)
    holds(book, reading)


def test_an_erased_customer_is_gone_from_it(kept) -> None:
    book, reading = kept
    customer = str(reading.history().jobs["customer"].dropna().iloc[0])
    erase_customer(book, customer, by=ADA)
    holds(book, reading)
    assert not reading.history().jobs.isin([customer]).any().any()


def test_a_save_that_changes_no_unit_draws_none(kept, monkeypatch) -> None:
    book, reading = kept
    job_id = str(book.history().jobs["job_id"].iloc[3])
    history, links = reading.history(), reading.links()
    book.put(INSTRUMENT, "meter", {"name": "meter"}, by=ADA)
    assert reading.history() is history
    monkeypatch.setattr("insights.history.book.kept_reading.link_units", _refuse)
    save(book, job_id, root_cause="contact", relation="same_fault", decision="covered")
    assert reading.links() is links
    assert reading.history() is not history
    save(book, job_id, unit_serial="QQ-1")
    with pytest.raises(AssertionError, match="drawn"):
        reading.links()


def test_cards_are_made_of_what_is_compared_and_of_nothing_else(kept) -> None:
    book, _ = kept
    jobs = book.history().jobs
    cards = make_cards(jobs[list(READ_BY_CARDS)], np.zeros(0, dtype=np.int64))
    assert len(cards) == len(jobs)
    for name in READ_BY_CARDS:
        with pytest.raises(KeyError, match=name):
            make_cards(jobs.drop(columns=name), np.zeros(0, dtype=np.int64))


def _refuse(*_: object, **__: object) -> pd.DataFrame:
    raise AssertionError("drawn anew")
