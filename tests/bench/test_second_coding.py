"""A second person codes blind: not their own, never the job itself, and compared as it stood."""

from __future__ import annotations

import pandas as pd
import pytest
from bench_book import ADA, BO, TODAY

from insights.bench.comebacks import comebacks
from insights.bench.second_coding import (
    agreements,
    first_coder,
    keep_second_coding,
    keep_share,
    share_coded_twice,
    to_code,
)
from insights.errors import ChangedMeanwhile, NotAllowed, RequestError
from insights.history.book.entries import new_token
from insights.history.units import link_units


def waiting(book, person) -> tuple[str, ...]:
    history = book.history()
    found = comebacks(history, link_units(history), pd.Timestamp(TODAY))
    return to_code(book, found, person)


def code(book, relation="new_fault", by=ADA, cause="contact"):
    return keep_second_coding(book, "J000002", relation, cause, by=by, token=new_token())


@pytest.fixture
def coded(book):
    keep_share(book, 1, by=ADA)
    changes = {"relation": "same_fault", "root_cause": "contact"}
    book.save("J000002", changes, expected=2, by=BO, what="cause and relation", today=TODAY)
    return book


def test_nothing_waits_before_it_is_coded_once(book):
    assert waiting(book, ADA) == ()
    with pytest.raises(RequestError, match="not been coded a first time"):
        code(book)


def test_how_many_are_coded_twice_is_the_owner_s_to_say(coded):
    assert share_coded_twice(coded) == 1
    keep_share(coded, 1e-9, by=ADA)
    assert waiting(coded, ADA) == ()
    with pytest.raises(NotAllowed):
        keep_share(coded, 0.5, by=BO)
    with pytest.raises(RequestError, match="share to code twice"):
        keep_share(coded, 0, by=ADA)


def test_fifteen_of_a_hundred_unless_said(book):
    assert share_coded_twice(book) == 0.15


def test_it_waits_for_everyone_but_the_first_coder(coded):
    assert waiting(coded, ADA) == ("J000002",)
    assert waiting(coded, BO) == ()
    with pytest.raises(RequestError, match="Ask someone else"):
        code(coded, by=BO)


def test_who_coded_first_is_who_set_the_relation(coded):
    coded.save("J000002", {"notes": "looked again"}, expected=3, by=ADA, what="notes")
    assert first_coder(coded, "J000002") == "Bo"
    assert first_coder(coded, "J000001") == ""


def test_a_coding_that_came_with_the_job_is_nobody_s_here(book):
    keep_share(book, 1, by=ADA)
    job = {"model": "boiler", "unit_serial": "MS-9", "received": "2026-05-02"}
    book.receive({**job, "relation": "new_fault"}, by=BO, today=TODAY)
    assert first_coder(book, "J000007") == ""
    assert waiting(book, ADA) == ()


def test_a_second_coding_is_kept_beside_the_first_and_changes_nothing(coded):
    code(coded)
    assert coded.job("J000002").values["relation"] == "same_fault"
    assert waiting(coded, ADA) == ()
    coded.save("J000002", {"relation": "new_fault"}, expected=3, by=BO, what="correction")
    found = agreements(coded)
    assert (found["relation"].jobs, found["relation"].alike) == (1, 0)
    assert (found["root_cause"].jobs, found["root_cause"].alike) == (1, 1)


def test_a_job_is_coded_twice_only(coded):
    code(coded)
    with pytest.raises(ChangedMeanwhile):
        code(coded)


def test_a_cause_left_empty_is_not_counted(coded):
    code(coded, cause="")
    assert agreements(coded)["root_cause"].jobs == 0


@pytest.mark.parametrize("relation", ["pending", "", "other"])
def test_what_is_no_coding_is_refused(coded, relation):
    with pytest.raises(RequestError, match="Choose one of: same_fault"):
        code(coded, relation)
