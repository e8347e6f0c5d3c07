"""The claims curve on hand-counted shops: what informs a term, what counts, which mix."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from quick_shop import START, day, followed_shop, jobs, lifetimes, truth
from shop import fleet, followed

from insights.errors import RequestError
from insights.money.claims import check_terms, claims_by_term, claims_curve, share_draws
from insights.survival.curves import return_curves


def test_inside_the_follow_up_it_is_the_curve_of_comebacks():
    rng = np.random.default_rng(2)
    followup = followed_shop(lifetimes(500, rng), rng)
    claims = claims_curve(followup)
    curves = return_curves(followup, at=(30, 90, 180))
    assert claims.share([30, 90, 180]) == pytest.approx(curves.at["share"].to_numpy(), rel=1e-12)
    assert [claims.at_risk(term) for term in (30, 90, 180)] == curves.at["at_risk"].tolist()
    assert (claims.jobs, claims.claims) == (500, followup.return_count)


def test_a_longer_term_is_informed_only_by_jobs_that_had_one():
    followup = followed(
        *jobs(100, 90, {"after": 50}, {"after": 50}),
        *jobs(40, 365, {"after": 100}, {"after": 200}),
    )
    claims = claims_curve(followup)
    # 2 of 140 by day 50; then 1 of the 40 with a long term on day 100, 1 of 39 on day 200. A
    # curve that kept the short terms at risk in their 14 days of grace would have 1 of 138.
    by_hand = 1 - (1 - 2 / 140) * (1 - 1 / 40) * (1 - 1 / 39)
    assert claims.share([90, 100, 200]) == pytest.approx(
        [2 / 140, 1 - (1 - 2 / 140) * (39 / 40), by_hand]
    )
    assert (claims.at_risk(90), claims.at_risk(91)) == (138, 40)


def test_a_term_nobody_ever_had_is_not_quoted_from_the_grace():
    backs = [{"after": 4 * number} for number in range(1, 13)]
    claims = claims_curve(followed(*jobs(100, 90, *backs)))
    assert claims.is_seen(90)
    assert not claims.is_seen(91)
    assert claims.longest_term == 135
    assert "carries to day 135" in claims.why_not(136)
    assert np.isnan(claims.share([136]))[0]


def test_late_arrivals_count_where_the_term_covers_them():
    claims = claims_curve(
        followed(
            *jobs(
                50,
                90,
                {"after": 95, "notified": day(95)},
                {"after": 95},
                {"after": 95, "decision": "covered"},
                {"after": 104, "notified": day(90), "decision": "pending"},
            )
        ),
        arrival_days=0,
    )
    # Reported after the term, or nobody knows when: not owed. Covered all the same: a claim.
    assert claims.claims == 2
    assert claims.share([89, 90]) == pytest.approx([0, 2 / 50])
    assert "2 claims arrived later" in next(
        note.text for note in claims.notes if note.code == "late_arrivals"
    )


def test_the_time_a_unit_takes_to_arrive_is_measured():
    backs = [
        {"after": 30, "notified": day(20)},
        {"after": 96, "notified": day(90)},
        {"after": 60},
    ]
    claims = claims_curve(followed(*jobs(50, 180, *backs)))
    assert claims.arrival_days == 8
    # By day 90 three have reported; on the clock of arrivals only two are in.
    assert claims.share([90]) == pytest.approx([3 / 50])
    assert claims_curve(followed(*jobs(50, 180, *backs)), arrival_days=0).share(
        [90]
    ) == pytest.approx([2 / 50])


def test_a_fraction_of_a_day_is_no_reason_to_leave_the_follow_up():
    backs = [{"after": 30, "notified": day(28)}, {"after": 60, "notified": day(57)}]
    backs += [{"after": 61, "notified": day(58)}]
    claims = claims_curve(followed(*jobs(50, 90, *backs)))
    assert claims.arrival_days == 2.5  # of 2.67
    assert claims.is_seen(90)
    assert claims.at_risk(90) == 47


def test_measured_arrivals_give_back_what_was_reported_in_the_term():
    # 30,000 jobs, terms of 90 and 365 days, arriving 2 to 12 days after the report.
    rng = np.random.default_rng(7)
    size = 30_000
    reported = lifetimes(size, rng)
    term = rng.choice([90, 365], size)
    lag = rng.integers(2, 13, size)
    back = np.flatnonzero((reported <= term) & (reported + lag <= 800))
    rows = pd.DataFrame(
        {
            "unit": np.append(np.arange(size), back),
            "received": START
            + pd.to_timedelta(np.append(np.full(size, -2), (reported + lag)[back]), "D"),
            "handed_back": np.append(
                np.full(size, START.to_datetime64()), np.full(len(back), "NaT", "M8[ns]")
            ),
            "term_days": np.append(term.astype(float), np.full(len(back), np.nan)),
            "notified": START
            + pd.to_timedelta(np.append(np.full(size, np.nan), reported[back]), "D"),
        }
    )
    followup = followed(*rows.to_dict("records"), data_date="2028-06-30")
    found = claims_curve(followup).share([60, 90, 365])
    # Binomial standard errors: .0007, .0008, .0018.
    assert found == pytest.approx(truth(np.array([60, 90, 365])), abs=0.004)
    # Without it the claims of the last days are missed: 8% of a 60-day term's.
    missed = claims_curve(followup, arrival_days=0).share([60])[0]
    assert missed < 0.95 * truth(60)


def test_leaving_service_competes_and_is_no_claim():
    rows = jobs(50, 365, {"after": 100})
    for row in rows[2:12]:
        row |= {"ended_on": day(40), "ended_how": "scrapped"}
    claims = claims_curve(followed(*rows))
    assert claims.share([120]) == pytest.approx([1 / 50])


def test_a_mix_weighs_the_groups():
    rows = [
        *fleet(60, (10, 20, 30), model="boiler"),
        *fleet(40, (15,), model="grinder"),
    ]
    followup = followed(*rows)
    even = claims_curve(followup, by="model", mix={"boiler": 1, "grinder": 1})
    assert even.share([90]) == pytest.approx([(3 / 60 + 1 / 40) / 2])
    assert claims_curve(followup, by="model").share([90]) == pytest.approx([4 / 100])
    only = claims_curve(followup, where={"model": ("grinder",)})
    assert only.share([90]) == pytest.approx([1 / 40])
    assert (only.jobs, only.mix) == (40, "model = grinder")
    draws = share_draws(even, [90], 4000)[:, 0]
    parts = [
        share_draws(claims_curve(followup, where={"model": (model,)}), [90], 4000)[:, 0]
        for model in ("boiler", "grinder")
    ]
    assert draws.mean() == pytest.approx(np.mean([part.mean() for part in parts]), rel=0.01)
    assert draws.var() == pytest.approx(sum(part.var() for part in parts) / 4, rel=0.08)


def test_one_poor_group_stops_the_mix_and_is_named():
    rows = [*fleet(60, (10, 20), model="boiler"), *fleet(4, (), model="grinder")]
    claims = claims_curve(followed(*rows), by="model")
    assert claims.why_not(90).startswith("grinder: Too few jobs are followed: 4,")
    assert np.isnan(claims.longest_term)


def test_draws_are_kept_and_can_not_be_spoilt():
    rng = np.random.default_rng(2)
    claims = claims_curve(followed_shop(lifetimes(200, rng), rng))
    first = share_draws(claims, [90, 180], 500, seed=3)
    assert share_draws(claims, [90, 180], 500, seed=3) is first
    assert not np.array_equal(share_draws(claims, [90, 180], 500, seed=4), first)
    with pytest.raises(ValueError, match="read-only"):
        first[0, 0] = 1


def test_the_curve_to_be_drawn():
    rng = np.random.default_rng(6)
    claims = claims_curve(followed_shop(lifetimes(2000, rng), rng, since_days=300))
    table = claims_by_term(claims, [100, 290, 400, 700]).set_index("term_days")
    assert table["seen"].tolist() == [True, True, False, False]
    assert table["models_low"].notna().tolist() == [False, False, True, False]
    assert table.loc[700, ["share", "low", "high"]].isna().all()
    stated = table.loc[[100, 290, 400]]
    assert ((stated["low"] < stated["share"]) & (stated["share"] < stated["high"])).all()
    # Of 2,000 jobs some 1,300 are followed so far: 1.96 standard errors of 2.2% are 0.8%.
    half = (table.loc[100, "high"] - table.loc[100, "low"]) / 2
    share = table.loc[100, "share"]
    assert half == pytest.approx(1.96 * np.sqrt(share * (1 - share) / 1650), rel=0.1)


def test_jobs_followed_past_their_terms_are_said_to_be():
    rng = np.random.default_rng(2)
    followup = followed_shop(lifetimes(100, rng), rng, follow="all")
    assert "terms_ignored" in [note.code for note in claims_curve(followup).notes]


@pytest.mark.parametrize("terms", [[-90], [0], [90.5], [4000], [np.nan], [np.inf], []])
def test_absurd_terms_are_refused(terms):
    with pytest.raises(RequestError, match="term"):
        check_terms(terms)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"mix": {"boiler": 1}}, "Name the column"),
        ({"by": "model", "mix": {"kettle": 1}}, "No job has model = kettle"),
        ({"by": "model", "mix": {"boiler": -1}}, "zero or more"),
        ({"by": "model", "mix": {"boiler": 0}}, "not all zero"),
        ({"by": "notes"}, "Can't group by"),
        ({"where": {"model": ("kettle",)}}, "No job has model = kettle"),
        ({"arrival_days": -1}, "arrival_days is -1"),
    ],
)
def test_impossible_mixes_are_refused(asked, words):
    with pytest.raises(RequestError, match=words):
        claims_curve(followed(*fleet(30, (10,))), **asked)
