"""Whose bill a comeback is: every case gets one answer, and the answers are the trade's.

What is covered follows the promise on our own warranty page (the fault repaired, our work, a part
we fitted); the rest is common practice, no source.
"""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest
from shop import followed

from insights.bench.claim_table import (
    ANY,
    FACTS,
    PROPOSALS,
    TABLE,
    ClaimFacts,
    decision_table,
    every_combination,
)
from insights.bench.claims import Visits, propose
from insights.errors import RequestError
from insights.history.schema import DECISIONS, RELATIONS
from insights.wording import STATUTORY
from insights.wording import bench as wording_bench

HANDED_BACK = pd.Timestamp("2026-01-01")


def facts(**changed) -> ClaimFacts:
    return ClaimFacts(**({"in_term": "yes", "relation": "same_fault"} | changed))


def by_reading_the_table(case: ClaimFacts) -> list[int]:
    """Answer a case from the table as it is shown, by text alone."""
    shown = decision_table()
    fits = np.ones(len(shown), dtype=bool)
    for name in FACTS:
        fits &= [cell == ANY or getattr(case, name) in cell.split(" or ") for cell in shown[name]]
    return shown.loc[fits, "row"].tolist()


def test_every_combination_has_exactly_one_answer():
    answered = [(case, propose(case)) for case in every_combination()]
    assert len({case for case, _ in answered}) == len(answered) == 7 * 3**5
    assert {claim.proposal for _, claim in answered} == set(PROPOSALS)
    assert {claim.row for _, claim in answered} == set(range(1, len(TABLE) + 1))
    for case, claim in answered[::7]:
        assert claim.row == by_reading_the_table(case)[0]


def test_the_facts_are_the_history_s_own():
    assert FACTS["relation"] == RELATIONS
    assert set(PROPOSALS) - {"undetermined"} <= set(DECISIONS)


@pytest.mark.parametrize(
    ("case", "proposal"),
    [
        ({"same_cause": "yes"}, "covered"),
        ({"our_part": "yes"}, "covered"),
        ({"our_site": "yes"}, "covered"),
        ({}, "undetermined"),
        ({"same_cause": "no", "our_part": "yes"}, "undetermined"),
        ({"same_cause": "yes", "evidence": "opened_since"}, "undetermined"),
        ({"same_cause": "yes", "in_term": "no"}, "charged"),
        ({"our_part": "yes", "in_term": "no", "evidence": "as_we_left_it"}, "goodwill"),
        ({"same_cause": "yes", "in_term": "unknown"}, "undetermined"),
        ({"relation": "pending"}, "undetermined"),
        ({"relation": "workmanship"}, "covered"),
        ({"relation": "workmanship", "in_term": "no"}, "undetermined"),
        ({"relation": "consequential", "our_part": "yes"}, "covered"),
        ({"relation": "consequential", "our_part": "no", "our_site": "no"}, "goodwill"),
        ({"relation": "consequential"}, "undetermined"),
        ({"relation": "consequential", "in_term": "no"}, "charged"),
        ({"relation": "new_fault", "our_part": "yes"}, "covered"),
        ({"relation": "new_fault", "our_part": "no", "our_site": "no"}, "charged"),
        ({"relation": "new_fault", "our_site": "yes"}, "undetermined"),
        ({"relation": "new_fault"}, "undetermined"),
        ({"relation": "new_fault", "same_cause": "yes"}, "undetermined"),
        ({"relation": "new_fault", "in_term": "no"}, "charged"),
        ({"relation": "no_fault_found"}, "goodwill"),
        ({"relation": "no_fault_found", "in_term": "no"}, "charged"),
        ({"relation": "misuse", "evidence": "opened_since"}, "charged"),
        ({"relation": "misuse", "evidence": "as_we_left_it"}, "undetermined"),
        ({"relation": "misuse"}, "undetermined"),
    ],
)
def test_what_is_proposed(case, proposal):
    assert propose(facts(**case)).proposal == proposal


def test_nothing_outside_the_term_is_called_covered_and_nothing_pending_decided():
    for case in every_combination():
        claim = propose(case)
        if claim.proposal == "covered":
            assert case.in_term == "yes"
        if case.relation == "pending" or case.in_term == "unknown":
            assert claim.proposal == "undetermined"


@pytest.mark.parametrize("name", ["our_part", "our_site", "same_cause"])
def test_what_speaks_for_the_customer_never_turns_covered_into_charged(name):
    for case in every_combination():
        if case.relation == "same_fault" and getattr(case, name) == "yes":
            without = {key: getattr(case, key) for key in FACTS} | {name: "unknown"}
            if propose(ClaimFacts(**without)).proposal == "covered":
                assert propose(case).proposal == "covered"


@pytest.mark.parametrize(
    ("notified", "received", "in_term", "day"),
    [
        ("2026-06-30", "2026-07-05", "yes", 180),
        ("2026-07-01", "2026-07-05", "no", 181),
        (None, "2026-06-30", "yes", 180),
        (None, "2026-07-01", "no", 181),
        (None, "2026-01-01", "yes", 0),
    ],
)
def test_inside_the_term_as_the_clock_has_it(notified, received, in_term, day):
    # 1 January 2026 and 180 days is 30 June.
    told = None if notified is None else pd.Timestamp(notified)
    visits = Visits(HANDED_BACK, 180, pd.Timestamp(received), told)
    assert (visits.in_term, visits.day) == (in_term, day)
    job = {"received": "2025-12-30", "handed_back": HANDED_BACK, "term_days": 180}
    back = {"received": received, "notified": notified, "root_cause": "contact"}
    counted = followed(job, back, count="covered").return_count
    assert counted == (in_term == "yes")


@pytest.mark.parametrize(
    "missing",
    [
        {"handed_back": None},
        {"handed_back": pd.NaT},
        {"term_days": None},
        {"term_days": np.nan},
        {"notified": pd.Timestamp("2025-12-01")},
    ],
)
def test_what_was_not_recorded_leaves_the_term_open(missing):
    known = {"handed_back": HANDED_BACK, "term_days": 180, "received": pd.Timestamp("2026-02-11")}
    visits = Visits(**(known | missing))
    assert visits.in_term == "unknown"
    claim = visits.propose("same_fault", "yes", "yes", "as_we_left_it")
    assert claim.proposal == "undetermined"


def test_no_term_at_all_covers_the_day_of_hand_back_only():
    assert Visits(HANDED_BACK, 0, pd.Timestamp("2026-01-02")).in_term == "no"


@pytest.mark.parametrize(
    ("then", "now", "same"),
    [
        ("contact", "contact", "yes"),
        ("contact", "cord", "no"),
        (None, "cord", "unknown"),
        ("contact", "", "unknown"),
    ],
)
def test_the_same_cause(then, now, same):
    assert Visits(HANDED_BACK, 180, HANDED_BACK, None, then, now).same_cause == same


def test_the_sentence():
    visits = Visits(
        HANDED_BACK, 180, pd.Timestamp("2026-02-15"), pd.Timestamp("2026-02-11"), *["contact"] * 2
    )
    finding = wording_bench.of_claim(visits.propose("same_fault", "unknown", "yes", "unknown"))
    assert finding.sentence == (
        "Proposed: covered. Same contact, our part, day 41 of 180. The fault we repaired came "
        "back inside the term. The decision is yours."
    )
    assert finding.caveats == (STATUTORY,)


def test_the_sentence_says_nothing_that_is_not_known():
    sentence = wording_bench.of_claim(propose(facts())).sentence
    assert sentence.startswith("Proposed: undetermined. Said to be the same fault")
    sentence = wording_bench.of_claim(
        propose(facts(our_part="no", our_site="no", evidence="opened_since"), day=3, cause="cord")
    ).sentence
    assert "Cord, not our part, not where we worked, opened since, day 3, no term" in sentence


def test_every_case_can_be_said():
    shares = itertools.islice(every_combination(), 0, None, 11)
    assert all(
        wording_bench.of_claim(propose(case, day=1, term_days=90)).sentence.endswith(
            "The decision is yours."
        )
        for case in shares
    )


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"relation": "old"}, "relation is 'old'"),
        ({"in_term": "maybe"}, "in_term is 'maybe'"),
        ({"evidence": "yes"}, "as_we_left_it"),
    ],
)
def test_facts_outside_their_lists_are_refused(wrong, words):
    with pytest.raises(RequestError, match=words):
        facts(**wrong)
