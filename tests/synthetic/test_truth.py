"""The truth's sums against counting what really happened, and against closed forms."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from insights.followup import follow_up
from insights.history.units import Links
from synthetic.generate import generate
from synthetic.presets import lot_shop, null_shop, practice_shop, simple_shop
from synthetic.scenario import Leaving, Returning, Scenario
from synthetic.truth import TOTAL, Truth

DAYS = (60, 120, 200)
POST = (0.2, 0.3, 0.3, 0.2)


def real_shop(jobs: int, seed: int) -> Scenario:
    """Everything at once: two causes, a practice, terms, post, no fault found, leaving service."""
    return replace(
        practice_shop(0.4, 0.08, jobs, seed),
        terms={90: 0.4, 180: 0.3, 365: 0.3},
        returning=Returning(
            in_term_share=0.9,
            out_of_term_share=0.4,
            post_days_shares=POST,
            no_fault_found_by_180_days=0.03,
            misuse_by_180_days=0.02,
            write_off_share=1.0,
        ),
        leaving=Leaving(yearly_share=0.10, recorded_share=0.5),
    )


def followed(history, truth: Truth, **rules) -> pd.DataFrame:
    links = Links(truth.unit_of_job, pd.DataFrame())
    return follow_up(history, data_date=truth.data_date, links=links, **rules).episodes


def counted(episodes: pd.DataFrame, cause: str, day: int) -> tuple[float, float]:
    """Count the share back by a day, leaving service competing, with its standard error.

    Aalen–Johansen written out by hand on one row a hand-back; the error is the binomial one on
    those still at risk, a little wide.
    """
    length, end = episodes["days"].to_numpy(), episodes["end"].astype(str).to_numpy()
    mine = end == "return"
    if cause != TOTAL:
        mine &= (episodes["cause"] == cause).to_numpy()
    ends = np.isin(end, ["return", "scrapped", "refunded", "replaced"])
    staying, share = 1.0, 0.0
    for today in np.unique(length[ends & (length <= day)]):
        running = (length >= today).sum()
        share += staying * (mine & (length == today)).sum() / running
        staying *= 1 - (ends & (length == today)).sum() / running
    return share, math.sqrt(share * (1 - share) / (length >= day).sum())


@pytest.fixture(scope="module")
def real():
    return generate(real_shop(20_000, 11))


@pytest.mark.parametrize("count", ["all", "faults", "covered"])
@pytest.mark.parametrize("follow", ["covered", "all"])
def test_the_truth_is_what_the_clock_counts(real, follow, count):
    history, truth = real
    table = truth.table(DAYS, follow=follow, count=count).set_index(["cause", "day"])["share"]
    episodes = followed(history, truth, follow=follow, count=count)
    for cause in (TOTAL, "contact", "cord"):
        for day in DAYS:
            share, error = counted(episodes, cause, day)
            # Four standard errors: one seeded draw in about 16,000 falls outside by chance.
            assert share == pytest.approx(table[cause, day], abs=4 * error), (cause, day)


@pytest.mark.parametrize("count", ["faults", "covered"])
def test_the_truth_is_what_the_clock_counts_where_nearly_all_fail(count):
    """Nine in ten fail by day 180 and half the parcels take a month: every rule weighs in."""
    shop = simple_shop(0.9, 20_000, 9, term_days=90)
    month = (0.5, *[0.0] * 29, 0.5)
    returning = replace(shop.returning, post_days_shares=month, no_fault_found_by_180_days=0.5)
    history, truth = generate(replace(shop, returning=returning))
    episodes = followed(history, truth, follow="all", count=count)
    wanted = truth.table(DAYS, follow="all", count=count)["share"]
    for day, share in zip(DAYS, wanted, strict=False):
        seen, error = counted(episodes, TOTAL, day)
        assert seen == pytest.approx(share, abs=4 * error), day


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(3))
def test_the_truth_is_what_the_clock_counts_on_large_shops(seed):
    history, truth = generate(real_shop(100_000, seed))
    for follow, count in (("covered", "faults"), ("covered", "covered"), ("all", "all")):
        episodes = followed(history, truth, follow=follow, count=count)
        table = truth.table((90, 180), follow=follow, count=count)
        for day, wanted in zip((90, 180), table["share"], strict=False):
            share, error = counted(episodes, TOTAL, day)
            assert share == pytest.approx(wanted, abs=4 * error), (follow, count, day)


@pytest.mark.parametrize("level", ["both", "one"])
def test_a_practice_on_all_jobs_by_force_with_post_and_other_comebacks(level):
    """The same jobs (one seed, choices drawn in the same order) made again, the level forced."""
    scenario = real_shop(40_000, 17)
    _, truth = generate(scenario)
    practice = scenario.practices[0]
    forced = replace(practice, log_odds=200.0 if level == "both" else -200.0)
    history, made = generate(
        replace(
            scenario,
            practices=(forced,),
            terms={3650: 1.0},
            # The standardised risk is of faults, as if nothing else brought units back.
            returning=replace(
                scenario.returning, no_fault_found_by_180_days=0.0, misuse_by_180_days=0.0
            ),
        )
    )
    assert (made.done("contact_pair") == (level == "both")).all()
    np.testing.assert_array_equal(made.facts["age_years"][:50], truth.facts["age_years"][:50])
    episodes = followed(history, made, follow="all")
    for cause in (None, "contact", "cord"):
        share, error = counted(episodes, cause or TOTAL, 180)
        wanted = truth.practice_risk("contact_pair", level, 180, cause=cause)
        assert share == pytest.approx(wanted, abs=4 * error), cause


def test_populations_are_made_of_their_jobs():
    _, truth = generate(practice_shop(0.4, 0.05, 4000, 5))
    done = truth.done("contact_pair") & truth.handed_back
    left = ~truth.done("contact_pair") & truth.handed_back
    parts = {
        population: truth.practice_difference("contact_pair", 180, population=population)
        for population in ("all", "treated", "untreated")
    }
    mixed = (done.sum() * parts["treated"] + left.sum() * parts["untreated"]) / 4000
    assert parts["all"] == pytest.approx(mixed, abs=1e-12)
    # Old and poor units get more done and have more to gain.
    assert parts["treated"] < parts["untreated"] < -0.01
    as_it_was = truth.job_risk(180)
    forced = truth.job_risk(180, levels={"contact_pair": True})
    np.testing.assert_allclose(as_it_was[done], forced[done], rtol=1e-12)
    assert (as_it_was[left] > forced[left]).all()


def test_causes_add_up_to_the_total(real):
    _, truth = real
    table = truth.table(DAYS)
    parts = table[table["cause"] != TOTAL].groupby("day")["share"].sum()
    total = table[table["cause"] == TOTAL].set_index("day")["share"]
    pd.testing.assert_series_equal(parts, total)
    assert truth.cause_share("cord", 120) == pytest.approx(
        table.set_index(["cause", "day"]).loc[("cord", 120), "share"]
    )


def test_all_comebacks_are_faults_and_those_without(real):
    # Constant hazards of shares .03 and .02 by day 180, alone; the faults compete for a few.
    _, truth = real
    table = truth.table([180], count="all", follow="all").set_index("cause")["share"]
    none_found, misuse = table["none_found"], table["misuse"]
    assert none_found / misuse == pytest.approx(math.log(0.97) / math.log(0.98), rel=1e-9)
    assert 0.4 * 0.03 < none_found < 0.9 * 0.03


def test_owners_who_stay_away_scale_the_share():
    shop = simple_shop(0.05, 500, 2)
    shop = replace(shop, returning=replace(shop.returning, in_term_share=0.8))
    _, truth = generate(shop)
    # Nothing competes, so 8 in 10 of the 5% that fail come back: .8 * .05, of all who ever left.
    assert truth.share(180) == pytest.approx(0.04, rel=1e-9)
    assert truth.fault_share(180) == pytest.approx(0.05, rel=1e-9)


def test_days_in_the_post_come_on_top():
    shop = simple_shop(0.05, 500, 2, shape=1.0)
    shop = replace(shop, returning=replace(shop.returning, post_days_shares=POST))
    _, truth = generate(shop)
    failed = [1 - 0.95 ** ((180 - delay) / 180) for delay in range(4)]
    assert truth.share(180) == pytest.approx(float(np.dot(POST, failed)), rel=1e-9)
    assert truth.fault_share(180) == pytest.approx(0.05, rel=1e-9)


def test_nobody_is_followed_past_the_term_and_its_grace():
    _, truth = generate(simple_shop(0.05, 500, 2, term_days=180))
    table = truth.table((180, 194, 195), follow="covered")
    shares = table.loc[table["cause"] == TOTAL, "share"].to_numpy()
    assert (np.isfinite(shares) == [True, True, False]).all()
    assert np.isfinite(truth.share(195, follow="all"))


@pytest.mark.parametrize("recorded", [0.0, 0.5, 1.0])
def test_units_that_leave_service_can_no_longer_come_back(recorded):
    """Two constant hazards: c / (c + e) of all that end, whether or not the shop hears of it."""
    shop = simple_shop(0.05, 500, 2, shape=1.0)
    shop = replace(shop, leaving=Leaving(yearly_share=0.5, recorded_share=recorded))
    _, truth = generate(shop)
    fails, leaves = -math.log(0.95) / 180, math.log(2) / 365
    both = fails + leaves
    expected = fails / both * -math.expm1(-both * 180)
    np.testing.assert_allclose(truth.job_risk(180)[truth.handed_back], expected, rtol=1e-9)


def test_a_bad_lot_multiplies_every_hazard():
    _, truth = generate(lot_shop(3.0, 150, 3000, 7, risk=0.04))
    bad = truth.bad_lot_jobs("contact")
    assert truth.share(180, jobs=bad) == pytest.approx(1 - 0.96**3, rel=1e-9)
    assert truth.share(180, jobs=~bad) == pytest.approx(0.04, rel=1e-9)


def test_nothing_differs_where_nothing_differs():
    _, truth = generate(null_shop(2000, 3, risk=0.04))
    risk = truth.job_risk(180)[truth.handed_back]
    np.testing.assert_allclose(risk, 0.04, rtol=1e-9)


@pytest.mark.parametrize(("age", "chance"), [(10, 0.0281), (60, 0.0175), (150, 0.0039)])
def test_claims_to_come_by_hand(age, chance):
    """Weibull shape .7, 2% by day 90, term 180: (F(180) - F(age)) / (1 - F(age)), worked by hand.

    H(t) = -ln(.98) (t / 90) ** .7 gives H(10) = .00434, H(60) = .01521, H(150) = .02889,
    H(180) = .03282; the chance is 1 - exp(H(age) - H(180)).
    """
    risk_180 = 1 - 0.98 ** (2**0.7)
    _, truth = generate(simple_shop(risk_180, 20_000, 4, shape=0.7, term_days=180))
    days_out = truth.scenario.days - truth.facts["handed_back"]
    to_come = truth.claims_to_come()
    aged = to_come[(days_out == age) & (to_come > 0)]
    assert len(aged) > 5
    np.testing.assert_allclose(aged, chance, atol=5e-5)
    assert (to_come[days_out > 180] == 0).all()


def test_claims_to_come_are_those_that_come():
    """Stand at day 1,100 of 1,460 with what was known then, and count the claims after it."""
    today = 1100
    _, truth = generate(real_shop(30_000, 23))
    facts = truth.facts
    there = facts["received"] <= today
    then = {name: values[there].copy() for name, values in facts.items()}
    for name in ("handed_back", "left_on"):
        then[name][then[name] > today] = np.nan
    known = Truth(replace(truth.scenario, days=today), then, truth.base[there])
    expected = known.claims_to_come().sum()
    in_term = facts["notified"] - facts["before_handed_back"] <= facts["before_term_days"]
    fault = facts["cause"] < len(truth.scenario.causes)
    came = (~there & (facts["before_handed_back"] <= today) & in_term & fault).sum()
    assert expected > 100
    assert came == pytest.approx(expected, abs=4 * math.sqrt(expected))


def test_unknown_names_are_told_with_the_known_ones(real):
    _, truth = real
    for ask, known in (
        (lambda: truth.practice_risk("polish", "both", 180), "contact_pair"),
        (lambda: truth.practice_risk("contact_pair", "three", 180), "both, one"),
        (lambda: truth.cause_share("rust", 180), "cord"),
        (lambda: truth.job_risk(180, cause="rust"), "cord"),
        (lambda: truth.bad_lot_jobs("knob"), "none"),
    ):
        with pytest.raises(KeyError, match=known):
            ask()
