"""What a quote says and carries: refusals, remarks, counts; targets and offers at their edges."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from quick_shop import followed_shop, lifetimes
from shop import fleet, followed

from insights.errors import RequestError
from insights.money.assumptions import Assumptions, Offer
from insights.money.claims import Claims, claims_curve
from insights.money.quote import METHOD, quote_warranty

BACK_ON = (10, 20, 30, 40)


@pytest.fixture(scope="module")
def claims() -> Claims:
    """Give 200 units followed for 364 days, of which four came back on days 10 to 40."""
    return claims_curve(followed(*fleet(200, BACK_ON, term_days=365)))


@pytest.fixture(scope="module")
def none_back() -> Claims:
    return claims_curve(followed(*fleet(40, term_days=365)))


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        (
            {"colour": "red", "claim_cost": 3},
            "Unknown assumption 'colour'. Known: claim_cost, batch, kind, price, pool_jobs, "
            "short_pool_chance, admin_cost, level, seed.",
        ),
        (
            {"target_rate": 1},
            "The target rate is 1. Give a share between 0 and 1, like 0.05.",
        ),
        ({"target_rate": 0}, "The target rate is 0. Give a share between 0 and 1, like 0.05."),
        ({"target_cost": 0}, "The target cost is 0. Give an amount above zero."),
        (
            {"target_cost": float("inf")},
            "The target cost is inf. Give an amount above zero.",
        ),
    ],
)
def test_what_can_not_be_assumed_or_aimed_at_is_refused(claims, asked, text):
    with pytest.raises(RequestError) as refused:
        quote_warranty(claims, [90], **asked)
    assert str(refused.value) == text


def test_without_terms_named_the_usual_days_are_quoted(claims):
    assert quote_warranty(claims).table["term_days"].tolist() == [90, 180, 365]


def test_counts_days_and_assumptions_behind_a_quote_are_carried(claims):
    quote = quote_warranty(claims, [35, 180], claim_cost=[20, 60], batch=50, level=0.8)
    assert (quote.mix, quote.jobs, quote.units, quote.claims) == ("all jobs", 200, 200, 4)
    assert quote.data_date == pd.Timestamp("2026-12-31")
    assert (quote.mean_claim_cost, quote.bills) == (40, 0)
    assert quote.assumptions == Assumptions(claim_cost=(20.0, 60.0), batch=50, level=0.8)
    assert quote.method == METHOD
    assert quote.notes == ()
    assert quote.longest_term == claims.longest_term
    table = quote.table
    assert table["term_days"].tolist() == [35, 180]
    assert table["claims_per_100"].tolist() == pytest.approx([100 * 3 / 200, 100 * 4 / 200])
    assert table["at_risk"].tolist() == [197, 196]
    assert table["supported"].tolist() == [True, True]
    assert table["why_not"].tolist() == ["", ""]
    assert table[["models_low", "models_high"]].isna().all(axis=None)
    # Whole jobs of 50 are steps of two in a hundred, of 1,000 steps of a tenth.
    assert (table[["low", "high"]] % 2 == 0).all(axis=None)
    tenths = 10 * quote_warranty(claims, [180]).table[["low", "high"]].iloc[0]
    assert tenths.tolist() == pytest.approx(tenths.round().tolist(), abs=1e-9)
    assert (tenths > 0).all()


def test_assumptions_by_name_stand_over_those_given_whole(claims):
    whole = Assumptions(claim_cost=38, admin_cost=2, kind="renewing")
    quote = quote_warranty(claims, [90], assumptions=whole, admin_cost=3)
    assert quote.assumptions == Assumptions(claim_cost=38, admin_cost=3, kind="renewing")
    assert quote_warranty(claims, [90]).assumptions == Assumptions()
    several = quote_warranty(claims, [90], claim_cost=np.array([1, 2])).assumptions
    assert several.claim_cost == (1.0, 2.0)


def test_what_is_remarked_is_said_in_full(none_back):
    notes = quote_warranty(none_back, [180]).notes
    assert [(note.code, note.text) for note in notes] == [
        (
            "no_claims",
            "No claim was ever seen. The estimate is zero, but the intervals and the loading "
            "reach as far as so few jobs leave open.",
        ),
        (
            "no_costs",
            "Fewer than 5 claims have their cost on record, so no costs are stated. Give the cost "
            "of a claim.",
        ),
    ]
    refund = quote_warranty(none_back, [180], kind="pro_rata", price=50)
    assert [note.code for note in refund.notes] == ["no_claims"]
    assert refund.table["loading"].notna().all()
    assert quote_warranty(none_back, [180], claim_cost=5).notes == notes[:1]


def test_what_the_record_and_the_claims_remark_stands_before_the_quotes_own():
    rows = [dict(job, term_days=90) for job in fleet(40)]
    record = followed(*rows, follow="all")
    codes = [note.code for note in quote_warranty(record, [90], claim_cost=5).notes]
    assert codes == ["terms_ignored", "no_claims"]


def test_terms_past_what_was_seen_are_named():
    rng = np.random.default_rng(6)
    claims = claims_curve(followed_shop(lifetimes(2000, rng), rng, since_days=300))
    past = int(claims.longest_term)
    quote = quote_warranty(claims, [180, past - 1, past], claim_cost=38)
    assert [(note.code, note.text) for note in quote.notes[len(claims.notes) :]] == [
        (
            "past_follow_up",
            f"Day {past - 1}, {past} lies past what was seen; curves that fit the record are "
            "carried on. A longer term itself brings more claims, which no record of shorter "
            "terms shows.",
        )
    ]
    seen, *carried_on = quote.table.to_dict("records")
    assert np.isnan(seen["models_low"])
    for row in carried_on:
        assert row["models_low"] <= row["claims_per_100"] <= row["models_high"]
        single = 100 * np.array(claims.model_spread([row["term_days"]]))[:, 0]
        assert [row["models_low"], row["models_high"]] == pytest.approx(single.tolist())
    other = quote_warranty(claims, [past], batch=1_000_000, seed=1).table.iloc[0]
    assert other["high"] != quote_warranty(claims, [past], batch=1_000_000).table["high"][0]
    refused = quote_warranty(claims, [180, past + 1], claim_cost=38)
    assert refused.notes == claims.notes
    assert refused.table["why_not"][1].endswith(
        f". The longest term that can be quoted is {past} days."
    )


def test_nothing_is_named_as_the_longest_where_no_term_can_be_quoted():
    alone = quote_warranty(followed(*fleet(1)), [90], target_rate=0.5)
    assert "longest" not in alone.table["why_not"][0]
    assert alone.table["why_not"][0] != ""
    assert np.isnan([alone.longest_term, alone.longest_term_for_target]).all()


def longest(claims: Claims, **asked) -> float:
    return quote_warranty(claims, [90], **asked).longest_term_for_target


def test_the_longest_term_for_a_target_by_hand(claims):
    # 1, 2, 3, 4 of 200 are back from days 10, 20, 30 and 40 on.
    assert longest(claims, target_rate=0.001) == 9
    assert longest(claims, target_rate=0.005) == 19
    assert longest(claims, target_rate=0.0149) == 29
    assert longest(claims, target_rate=0.9) == claims.longest_term
    # A claim costs 38; repeats within the term are few, so 38 x 0.0101 pays for two a hundred.
    assert longest(claims, target_cost=38 * 0.0102, claim_cost=38) == 29
    assert longest(claims, target_cost=38 * 0.0049, claim_cost=38) == 9
    both = {"target_rate": 0.0149, "target_cost": 38 * 0.0049, "claim_cost": 38}
    assert longest(claims, **both) == 9
    assert longest(claims, **both | {"target_rate": 0.005, "target_cost": 1}) == 19
    on_the_first_day = claims_curve(followed(*fleet(40, (1,))))
    assert longest(on_the_first_day, target_rate=0.01) == 0


def test_a_target_cost_met_exactly_is_met(claims):
    # Refunds end the warranty: no repeats, so the cost is the share times the bill.
    by_bill = quote_warranty(claims, [25], kind="minimal_repair", claim_cost=38)
    exact = by_bill.table["cost_per_job"][0]
    assert exact == pytest.approx(38 * -np.log1p(-0.01))
    assert longest(claims, kind="minimal_repair", claim_cost=38, target_cost=exact) == 29


def test_a_target_cost_counts_repeats_by_kind():
    # n of 40 back by day 10 n: under a term that starts anew each time n / (40 - n) claims a job.
    claims = claims_curve(followed(*fleet(40, tuple(range(10, 90, 10)), term_days=365)))
    asked = {"claim_cost": 1, "target_cost": 0.2}
    assert longest(claims, kind="renewing", **asked) == 69
    # Refunds of a price of 1 shrink with time: 8 of 40 cost less than 0.2, to the end.
    assert longest(claims, kind="pro_rata", price=1, target_cost=0.2) == claims.longest_term


def test_a_target_cost_where_all_claims_arrive_at_once():
    # Arriving 8 days after the report, both first claims are reported by the first day.
    back = followed(*fleet(200, (5, 5, 40), term_days=365))
    claims = claims_curve(back, arrival_days=8)
    assert longest(claims, claim_cost=38, target_cost=0.4) == 31


def test_a_target_cost_of_refunds_needs_no_bills(claims):
    # With 100 refunded in line with time: 0.005 x 100 x (1 - 9.5/T) by day T from 10 to 19.
    found = longest(claims, kind="pro_rata", price=100, target_cost=0.15)
    assert found == max(day for day in range(10, 20) if 0.5 * (1 - 9.5 / day) <= 0.15)
    assert np.isnan(longest(claims, target_cost=0.15))
    assert np.isnan(longest(claims, target_cost=0.15, target_rate=0.01))


def test_offers_earn_their_price_less_admin_and_claims(claims):
    asked = [Offer(180, 5.0, 0.4), Offer(90, 3.0, 0.5), Offer(3650, 9.0, 0.1)]
    given = {"claim_cost": [20, 60], "admin_cost": 0.25}
    quote = quote_warranty(claims, [90, 180, 3650], offers=asked, **given)
    costs = quote.table.set_index("term_days")
    offers = quote.offers
    assert offers["term_days"].tolist() == [180, 90, 3650]
    assert offers["price"].tolist() == [5, 3, 9]
    assert offers["uptake"].tolist() == [0.4, 0.5, 0.1]
    for row, uptake, price, term in ((0, 0.4, 5, 180), (1, 0.5, 3, 90)):
        for margin, cost in (
            ("margin_per_100", "cost_per_job"),
            ("margin_low", "cost_high"),
            ("margin_high", "cost_low"),
        ):
            earned = price - 0.25 - costs.loc[term, cost]
            assert offers[margin][row] == pytest.approx(100 * uptake * earned)
    assert offers[["margin_per_100", "margin_low", "margin_high"]].iloc[2].isna().all()
    assert quote.best_term_for_margin == 180
    only_refused = quote_warranty(claims, [90], offers=asked[2:], **given)
    assert np.isnan(only_refused.best_term_for_margin)


def test_without_offers_there_are_none_and_columns_keep_their_kinds(claims):
    offers = quote_warranty(claims, [90], claim_cost=38).offers
    assert offers.empty
    assert dict(offers.dtypes.astype(str)) == {
        "term_days": "int64",
        "price": "float64",
        "uptake": "float64",
        "margin_per_100": "float64",
        "margin_low": "float64",
        "margin_high": "float64",
    }


def test_seed_level_and_batch_reach_the_draws(claims):
    def row(**asked):
        return quote_warranty(claims, [180], claim_cost=[20, 60], **asked).table.iloc[0]

    plain = row()
    assert row(seed=0).equals(plain)
    assert not row(seed=1).equals(plain)
    for narrow in (row(level=0.5), row(batch=100_000)):
        for low, high in (("low", "high"), ("cost_low", "cost_high")):
            assert narrow[high] - narrow[low] < plain[high] - plain[low]
    assert row(pool_jobs=10_000)["loading"] < plain["loading"] < row(pool_jobs=10)["loading"]
    assert row(short_pool_chance=0.01)["loading"] > plain["loading"]
    assert row(admin_cost=1.5)["loading"] == pytest.approx(plain["loading"] + 1.5)
