"""Money in sentences: refusals with their reason, an unknown cost said to be unknown."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shop import fleet, followed

from insights.money.costs import ComebackCost, Costs
from insights.money.payback import payback
from insights.money.quote import quote_warranty
from insights.money.reserve import reserve
from insights.reviewing.recall import recall_list
from insights.tables import money as tables_money
from insights.tables import practice as tables_practice
from insights.tables import watch as tables_watch
from insights.wording import amount_of, in_currency
from insights.wording import money as wording_money
from insights.wording import practice as wording_practice
from insights.wording import watch as wording_watch


@pytest.fixture(scope="module")
def followup():
    jobs = fleet(300, tuple(range(20, 50)), term_days=365)
    return followed(*jobs, data_date="2026-11-01")


def test_a_quote_names_each_term_its_range_and_what_to_charge(followup):
    quote = quote_warranty(followup, (90, 180), claim_cost=40.0)
    row = quote.table.iloc[0]
    sentence = wording_money.of_quote(quote).sentence
    assert sentence.startswith(
        "Of each 100 of the next 1,000 jobs like these, expect claims from "
        f"{row['claims_per_100']:.1f} within 90 days ({row['low']:.1f} to {row['high']:.1f}); "
    )
    charged = ", ".join(f"{loading:.2f}" for loading in quote.table["loading"])
    assert sentence.endswith(f"To be safe, each job's price must carry {charged}.")


def test_a_refused_term_comes_with_its_reason(followup):
    quote = quote_warranty(followup, (90, 3000), claim_cost=40.0)
    sentence = wording_money.of_quote(quote).sentence
    assert "3000 days is not quoted." in sentence
    more = wording_money.of_quote(quote_warranty(followup, (90, 3000, 3500))).sentence
    assert "3000, 3500 days are not quoted." in more
    assert quote.table["why_not"].iloc[1] in sentence


def test_without_costs_nothing_is_charged(followup):
    sentence = wording_money.of_quote(quote_warranty(followup, (90,))).sentence
    assert "To be safe" not in sentence
    held = wording_money.of_reserve(reserve(followup)).sentence
    assert "give the cost of a claim" in held


def test_a_target_is_answered(followup):
    met = quote_warranty(followup, (90,), target_rate=0.5, claim_cost=40.0)
    assert wording_money.target_met(met).startswith("The longest term that meets the target is")
    missed = quote_warranty(followup, (90,), target_rate=1e-6, claim_cost=40.0)
    assert "arget" in wording_money.target_met(missed)


def test_a_reserve_in_a_sentence(followup):
    held = reserve(followup, claim_cost=40.0)
    sentence = wording_money.of_reserve(held).sentence
    assert sentence.startswith(f"Set aside {held.p90:,.0f}: nine times in ten that is enough")


def test_what_a_range_and_a_price_promise_is_said(followup):
    quote = wording_money.of_quote(quote_warranty(followup, (90,), claim_cost=40.0))
    assert "The range is for the next 1,000 jobs, 90% likely to hold" in quote.caveats[0]
    assert quote.caveats[1] == (
        "What each price must carry keeps a pool of 100 such jobs from falling short 90% of the "
        "time."
    )
    held = wording_money.of_reserve(reserve(followup, claim_cost=40.0))
    assert held.caveats[0] == "The range of claims is 90% likely to hold."


def test_money_held_only_as_far_as_the_record_carries_is_not_said_to_be_all():
    young = reserve(followed(*fleet(60, term_days=180), data_date="2026-01-06"), claim_cost=40.0)
    assert "past_evidence" in [note.code for note in young.notes]
    assert wording_money.of_reserve(young).sentence.startswith(
        "Set aside at least 0: nine times in ten that is enough for what the record can tell of, "
        "which is not all, and 0 is expected. 60 hand-backs are open to a claim"
    )


def test_nothing_open_is_said_in_words():
    over = fleet(60, (20,), term_days=90)
    over[1] |= {"handed_back": "2026-01-23", "decision": "covered", "term_days": 90}
    none = wording_money.of_reserve(reserve(followed(*over), claim_cost=40.0))
    assert none.sentence == (
        "No hand-back is open to a claim and no comeback is unsettled: nothing need be held."
    )
    waits = wording_money.of_reserve(
        reserve(followed(*fleet(60, (20,), term_days=90)), claim_cost=40.0)
    )
    assert waits.sentence.startswith(
        "Set aside 40: nine times in ten that is enough, and 40 is expected. No hand-back is open "
        "to a claim; 1 comeback is not settled."
    )


def test_amounts_bear_the_currency_where_the_record_states_one(followup):
    in_euro = replace(followup, history=replace(followup.history, currency="EUR"))
    quote = quote_warranty(in_euro, (90, 180), claim_cost=40.0)
    charged = ", ".join(f"{loading:.2f} EUR" for loading in quote.table["loading"])
    assert f"must carry {charged}." in wording_money.of_quote(quote).sentence
    assert {"Cost a job, EUR", "Charge to be safe, EUR"} <= set(tables_money.of_quote(quote))
    held = reserve(in_euro, claim_cost=40.0)
    assert f"Set aside {held.p90:,.0f} EUR: nine" in wording_money.of_reserve(held).sentence
    assert "Money, EUR" in tables_money.of_months(held)
    pays = payback(
        (0.05, 0.01),
        Costs(0.6, 1, 42, ComebackCost(45)),
        risk_without=0.1,
        currency=in_euro.history.currency,
    )
    earns = f"It earns {pays.net_per_job:.2f} EUR a job ("
    assert earns in wording_practice.of_money(pays)
    assert f"under {pays.break_even_part_cost:.2f} EUR" in wording_practice.of_money(pays)
    assert tables_practice.of_payback(pays)["How much"].iloc[0].endswith(" EUR")
    found = recall_list(
        in_euro, "all jobs", since="2000-01-01", call_in_cost=5.0, comeback_cost=40.0
    )
    said = wording_watch.of_recall(found).sentence
    assert f"Calling all in costs {found.call_in_cost:,.0f} EUR, waiting about" in said
    assert {"Call in, EUR", "Wait, EUR"} <= set(tables_watch.of_recall(found))


def test_where_no_currency_is_stated_none_is_invented():
    assert amount_of(1234.5, "", 2) == "1,234.50"
    assert amount_of(1234.5, "EUR", 2) == "1,234.50 EUR"
    assert in_currency("Cost", "") == "Cost"


def test_a_blank_in_the_table_of_terms_says_why(followup):
    table = tables_money.of_quote(quote_warranty(followup, (90, 3000)))
    assert list(table["Claims of 100 jobs"] == "not quoted") == [False, True]
    assert list(table["Cost a job"]) == ["not known", "not quoted"]
    assert list(table["Charge to be safe"]) == ["not known", "not quoted"]
