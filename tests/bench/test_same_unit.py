"""Doubtful pairs: shown side by side, decided once, followed by the linker, taken back."""

from __future__ import annotations

import pytest
from bench_book import BO

from insights.bench.same_unit import decide, doubtful, pair_key, side_by_side
from insights.errors import RequestError
from insights.history.book.decisions import unit_decisions
from insights.history.units import link_units


def linked(book):
    history = book.history()
    return history, link_units(history, decisions=unit_decisions(book, history))


def test_a_doubtful_pair_is_shown_with_what_is_alike(book):
    history, links = linked(book)
    pairs = doubtful(links)
    assert pairs[["job_id", "earlier_job_id"]].values.tolist() == [["J000006", "J000005"]]
    assert "swapped" in pairs["reasons"].iloc[0]
    shown = side_by_side(history, "J000005", "J000006").set_index("field")
    assert shown.loc["model", "alike"]
    assert not shown.loc["customer", "alike"]
    assert shown.loc["customer", ["earlier", "later"]].tolist() == ["Cafe Nine", "Cafe Ten"]
    assert shown.loc["phone", "alike"] is None
    assert shown.loc["unit_age_years", "alike"] is None
    assert shown.loc["received", "earlier"] == "2026-03-01"


@pytest.mark.parametrize("same", [True, False])
def test_a_decision_is_followed_and_can_be_taken_back(book, same):
    history, before = linked(book)
    decide(book, history, "J000006", "J000005", same, by=BO)
    _, links = linked(book)
    units = links.unit_of_job
    assert (units[4] == units[5]) == same
    assert doubtful(links).empty
    decide(book, history, "J000005", "J000006", None, by=BO)
    _, again = linked(book)
    assert again.unit_of_job.tolist() == before.unit_of_job.tolist()
    assert len(doubtful(again)) == 1


def test_a_decision_can_be_turned_round(book):
    history, _ = linked(book)
    decide(book, history, "J000006", "J000005", True, by=BO)
    decide(book, history, "J000006", "J000005", False, by=BO)
    assert linked(book)[1].pairs["probability"].tolist() == [0.0]


def test_a_contradiction_is_refused_and_not_stored(book):
    history, _ = linked(book)
    decide(book, history, "J000003", "J000001", True, by=BO)
    with pytest.raises(RequestError, match="contradict"):
        # Jobs 1 and 2 have one serial and stay one unit by it, so 3 is with 2 as well.
        decide(book, history, "J000003", "J000002", False, by=BO)
    linked(book)


def test_a_pair_is_one_whichever_comes_first():
    assert pair_key("J2", "J1") == pair_key("J1", "J2")


def test_an_unknown_job_is_named(book):
    with pytest.raises(RequestError, match="no job J9"):
        side_by_side(book.history(), "J9", "J000001")
