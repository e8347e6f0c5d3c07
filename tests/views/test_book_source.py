"""The pages answer from an open job book, and see each save at once."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from screen import answers, turn_to

from insights import wording
from insights.followup import follow_up
from insights.history.book.entries import Settings
from insights.history.book.kinds import SAME_UNIT
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.history.units import link_units
from insights.standing import standing
from synthetic.cafe import cafe_workshop
from synthetic.generate import generate

ADA = Person("Ada")


@pytest.fixture
def book(tmp_path):
    made, _ = generate(cafe_workshop(jobs=600, seed=4))
    book = create_book(tmp_path / "book.db", Settings(currency="EUR"), ADA)
    book.add_history(made, by=ADA)
    return book


def test_a_save_is_seen_on_the_page(open_app, book):
    app = open_app(book.name)
    assert not app.exception
    assert answers(app)[0] == wording.of_standing(standing(follow_up(book.history()))).sentence
    before = answers(app)[0]
    book.receive({"received": "2025-10-01", "model": "water boiler"}, by=ADA)
    app = turn_to(app, "Where we stand")
    assert answers(app)[0] == wording.of_standing(standing(follow_up(book.history()))).sentence
    assert answers(app)[0] != before


def test_what_a_person_decided_on_a_pair_counts(open_app, book):
    history = book.history()
    units = link_units(history).unit_of_job
    earlier, later = np.flatnonzero(units == np.argmax(np.bincount(units)))[:2]
    ids = history.jobs["job_id"]
    app = open_app(book.name)
    before = answers(app)[0]
    body = {"job_id": ids[later], "earlier_job_id": ids[earlier], "same": False}
    book.put(SAME_UNIT, "a pair", body, by=ADA)
    app = turn_to(app, "Where we stand")
    decided = link_units(history, decisions=pd.DataFrame([body]))
    followed = follow_up(history, links=decided)
    assert answers(app)[0] == wording.of_standing(standing(followed)).sentence != before
