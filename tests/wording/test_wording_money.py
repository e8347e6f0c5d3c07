"""Money in sentences: refusals with their reason, an unknown cost said to be unknown."""

from __future__ import annotations

import pytest
from shop import fleet, followed

from insights.money.quote import quote_warranty
from insights.money.reserve import reserve
from insights.wording import money as wording_money


@pytest.fixture(scope="module")
def followup():
    jobs = fleet(300, tuple(range(20, 50)), term_days=365)
    return followed(*jobs, data_date="2026-11-01")


def test_a_quote_names_each_term_its_range_and_what_to_charge(followup):
    quote = quote_warranty(followup, (90, 180), claim_cost=40.0)
    row = quote.table.iloc[0]
    sentence = wording_money.of_quote(quote).sentence
    assert sentence.startswith(
        "Of the next 100 jobs like these, expect claims from "
        f"{row['claims_per_100']:.1f} within 90 days ({row['low']:.1f} to {row['high']:.1f}); "
    )
    charged = ", ".join(f"{loading:.2f}" for loading in quote.table["loading"])
    assert sentence.endswith(f"To be safe, each job's price must carry {charged}.")


def test_a_refused_term_comes_with_its_reason(followup):
    quote = quote_warranty(followup, (90, 3000), claim_cost=40.0)
    sentence = wording_money.of_quote(quote).sentence
    assert "3000 days is not quoted." in sentence
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
