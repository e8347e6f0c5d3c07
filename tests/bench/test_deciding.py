"""A comeback from evidence to decision, step by step, each a version of its own in the book."""

from __future__ import annotations

import pandas as pd
import pytest
from bench_book import ADA, BO, TODAY

from insights.bench.comebacks import comebacks, undecided
from insights.bench.deciding import STEPS, keep_decision, keep_evidence, open_comeback
from insights.bench.summary import summary_page
from insights.errors import ChangedMeanwhile, EntryError, NotAllowed, RequestError
from insights.history.book.entries import new_token
from insights.history.units import link_units
from insights.wording.summary import customer_summary

ANSWERS = {
    "evidence": "as_we_left_it",
    "our_part": "yes",
    "our_site": "unknown",
    "lot": "L7",
    "photos": " ",
}


def found(book) -> pd.DataFrame:
    history = book.history()
    return comebacks(history, link_units(history), pd.Timestamp(TODAY))


def with_evidence(book):
    number = book.job("J000002").number
    keep_evidence(book, "J000002", ANSWERS, expected=number, by=BO, token=new_token())
    return open_comeback(book, "J000002", "J000001")


def with_relation(book):
    job = with_evidence(book).job
    book.save(
        job.job_id,
        {"root_cause": "contact", "relation": "same_fault"},
        today=TODAY,
        expected=job.number,
        by=BO,
        what="cause and relation",
    )
    return open_comeback(book, "J000002", "J000001")


def decide(book, comeback, decision, reason="", by=ADA, **more):
    return keep_decision(
        book,
        comeback,
        decision,
        reason,
        expected=comeback.job.number,
        by=by,
        token=new_token(),
        **more,
    )


def test_each_comeback_stands_beside_the_visit_before_it(book):
    shown = found(book)
    assert shown[["job_id", "index_job_id"]].values.tolist() == [
        ["J000002", "J000001"],
        ["J000004", "J000002"],
    ]
    # 18 February to 1 June 2026 is 10 + 31 + 30 + 31 + 1 days.
    assert shown["waiting_days"].tolist() == [103, 2]
    assert shown["on_bench"].tolist() == [False, True]


def test_the_queue_has_the_bench_first_and_drops_what_is_decided(book):
    assert undecided(found(book))["job_id"].tolist() == ["J000004", "J000002"]
    decide(book, with_relation(book), "covered")
    assert undecided(found(book))["job_id"].tolist() == ["J000004"]


def test_the_steps_follow_each_other(book):
    comeback = open_comeback(book, "J000002", "J000001")
    assert comeback.next_step == STEPS[0]
    assert with_evidence(book).next_step == STEPS[1]
    comeback = with_relation(book)
    assert comeback.next_step == STEPS[2]
    decide(book, comeback, "covered")
    assert open_comeback(book, "J000002", "J000001").next_step == ""


def test_money_comes_after_the_evidence(book):
    comeback = open_comeback(book, "J000002", "J000001")
    with pytest.raises(RequestError, match="evidence first"):
        comeback.propose()
    with pytest.raises(RequestError, match="evidence first"):
        decide(book, comeback, "covered")


def test_the_proposal_is_made_from_the_book_and_stores_nothing(book):
    comeback = with_relation(book)
    before = book.revision()
    claim = comeback.propose()
    # Handed back 5 January, reported 15 February: 26 + 15 days.
    assert (claim.proposal, claim.day, claim.term_days) == ("covered", 41, 180)
    assert book.revision() == before
    assert "decision" not in book.job("J000002").values


def test_every_step_is_kept_with_who_took_it(book):
    decide(book, with_relation(book), "covered", claim_cost="12.50")
    steps = [(job.what, job.saved_by) for job in book.versions_of("J000002")]
    assert steps[-3:] == [("evidence", "Bo"), ("cause and relation", "Bo"), ("decision", "Ada")]
    comeback = open_comeback(book, "J000002", "J000001")
    assert comeback.evidence == {
        "evidence": "as_we_left_it",
        "our_part": "yes",
        "our_site": "unknown",
        "lot": "L7",
    }
    assert comeback.decided["proposal"] == "covered"
    assert comeback.job.values["claim_cost"] == 12.5


def test_another_decision_than_proposed_needs_its_reason(book):
    comeback = with_relation(book)
    with pytest.raises(RequestError, match="write down why"):
        decide(book, comeback, "charged", " ")
    decide(book, comeback, "charged", "owner asked for an upgrade")
    kept = open_comeback(book, "J000002", "J000001").decided
    assert (kept["proposal"], kept["reason"]) == ("covered", "owner asked for an upgrade")


def test_the_customer_never_reads_the_owner_s_own_reason(book):
    comeback = decide(book, with_relation(book), "charged", "slow payer", printed="As agreed.")
    said = {"workshop": "Three Benches", "jurisdiction": "here", "index": book.job("J000001")}
    page = summary_page(customer_summary(comeback, book.settings(), **said))
    assert "As agreed." in page
    assert "slow payer" not in page
    again = decide(book, open_comeback(book, "J000002", "J000001"), "covered")
    page = summary_page(customer_summary(again, book.settings(), **said))
    assert "The fault we repaired came back inside the term." in page
    turned = decide(book, open_comeback(book, "J000002", "J000001"), "goodwill", "my cousin")
    page = summary_page(customer_summary(turned, book.settings(), **said))
    assert "came back inside the term" not in page


def test_what_it_cost_stays_unless_said_anew(book):
    decide(book, with_relation(book), "covered", claim_cost="12.50")
    for told, cost in ((None, 12.5), ("3", 3.0), ("", None)):
        decide(book, open_comeback(book, "J000002", "J000001"), "covered", claim_cost=told)
        assert book.job("J000002").values.get("claim_cost") == cost


def test_a_decision_may_wait(book):
    decide(book, with_relation(book), "pending")
    assert "J000002" in undecided(found(book))["job_id"].tolist()


def test_only_an_owner_decides_and_nobody_overwrites(book):
    comeback = with_relation(book)
    with pytest.raises(NotAllowed):
        decide(book, comeback, "covered", by=BO)
    decide(book, comeback, "covered")
    with pytest.raises(ChangedMeanwhile):
        decide(book, comeback, "covered")


@pytest.mark.parametrize("name", ["evidence", "our_part", "our_site"])
def test_every_question_of_evidence_is_answered(book, name):
    answers = {**ANSWERS, name: ""}
    with pytest.raises(EntryError, match=f"{name}: not answered"):
        keep_evidence(book, "J000002", answers, expected=2, by=BO, token=new_token())
