"""Reserves: exact counts, chances given age, money by month, what groups share."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from quick_shop import truth
from scipy import optimize, stats
from shop import fleet, followed
from sources import SCIPY

from insights.errors import EvidenceError, RequestError
from insights.money.claims import claims_curve
from insights.money.counts import claim_chances, quantile
from insights.money.exposure import Arrivals
from insights.money.reserve import PARTS, reserve
from insights.money.shared import shared_effect

WORKED_TERM = 180


def batch(name: str, start: str, size: int, back_after: tuple[int, ...] = (), **facts) -> list:
    """Hand back ``size`` units on one day; the first come back after the days given."""
    visit = facts.pop("visit", {})
    jobs = []
    for unit in range(size):
        whole = f"{name}{unit}"
        number = int.from_bytes(whole.encode(), "big") % 1_000_000_007
        jobs.append(
            {
                "job_id": whole,
                "unit": number,
                "received": start,
                "handed_back": start,
                "term_days": WORKED_TERM,
                **facts,
            }
        )
        if unit < len(back_after):
            back = pd.Timestamp(start) + pd.Timedelta(days=back_after[unit])
            paid = {"claim_cost": 40.0, "handed_back": back, "term_days": 0, **visit}
            jobs.append({"job_id": f"{whole}b", "unit": number, "received": back, **paid})
    return jobs


# Exact fractions: 63/125, 199/500, 23/250, 3/500; the second is Binomial(4, 1/2).
@pytest.mark.parametrize(
    ("chances", "exact"),
    [
        ([0.1, 0.2, 0.3], [63 / 125, 199 / 500, 23 / 250, 3 / 500]),
        ([0.5] * 4, [1 / 16, 1 / 4, 3 / 8, 1 / 4, 1 / 16]),
        (
            [k / 11 for k in range(1, 11)],
            np.array(
                [
                    3628800,
                    80627040,
                    654243336,
                    2621068372,
                    5826260758,
                    7565767989,
                    5826260758,
                    2621068372,
                    654243336,
                    80627040,
                    3628800,
                ]
            )
            / 25937424601,
        ),
    ],
)
def test_chances_of_each_number_by_exact_fractions(chances, exact):
    found = claim_chances(np.array(chances), np.ones(len(chances)))
    assert found[: len(exact)] == pytest.approx(exact, abs=1e-12)
    assert found[len(exact) :].sum() == pytest.approx(0, abs=1e-12)


def convolved(chances: np.ndarray) -> np.ndarray:
    found = np.ones(1)
    for chance in chances:
        found = np.convolve(found, [1 - chance, chance])
    return found


@settings(max_examples=30, derandomize=True, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0, 1), st.floats(0, 0.3), st.integers(0, 9)), min_size=1, max_size=8
    )
)
def test_chances_of_each_number_by_convolution_world_by_world(groups):
    worlds = np.array([[one for one, _, _ in groups], [two for _, two, _ in groups]])
    jobs = np.array([count for _, _, count in groups])
    found = claim_chances(worlds, jobs)
    wanted = np.mean([convolved(np.repeat(world, jobs)) for world in worlds], axis=0)
    assert found[: len(wanted)] == pytest.approx(wanted, abs=1e-11)
    assert found.sum() == pytest.approx(1)


def test_many_jobs_are_exact_too():
    rng = np.random.default_rng(0)
    chances, jobs = rng.uniform(0, 0.06, 50), rng.integers(100, 300, 50)
    found = claim_chances(chances, jobs)
    wanted = np.ones(1)
    for chance, count in zip(chances, jobs, strict=True):
        wanted = np.convolve(wanted, stats.binom.pmf(np.arange(count + 1), count, chance))
    assert found == pytest.approx(wanted[: len(found)], abs=1e-12)
    assert quantile(found, 0.9) == np.searchsorted(np.cumsum(wanted), 0.9)


def test_chances_are_chances():
    with pytest.raises(RequestError, match="between 0 and 1"):
        claim_chances(np.array([1.2]), np.array([3]))


def by_curve(share: np.ndarray, delays: tuple[int, ...] = (), arrival_days: float = 0) -> Arrivals:
    days = np.arange(len(share), dtype=float)
    claims = claims_curve(followed(*fleet(30)), arrival_days=arrival_days)
    return Arrivals(claims, np.array(delays, dtype=float), days, share, days, share[None, :])


def test_chance_given_the_age_so_far():
    # A Weibull share of shape 0.7 with 2% by 90 days; term 180; ages 10, 60 and 150 days.
    curve = by_curve(truth(np.arange(181)))
    term, age = np.full(3, 180.0), np.array([10.0, 60.0, 150.0])
    chance = curve.chance(term, age, np.inf)
    assert 100 * chance == pytest.approx([2.81, 1.75, 0.39], abs=0.005)
    assert curve.chance(term, age, np.inf, drawn=True)[0] == pytest.approx(chance)
    found = claim_chances(chance, np.ones(3))
    assert found[0] == pytest.approx(0.951, abs=5e-4)
    assert found @ np.arange(len(found)) == pytest.approx(0.0495, abs=5e-5)
    # The 60-day job, by 30 days ahead at a time.
    reached = [
        curve.chance(term[1:2], age[1:2], days)[0] for days in (0.0, 30.0, 60.0, 90.0, 120.0)
    ]
    assert 100 * np.diff(reached) == pytest.approx([0.50, 0.45, 0.41, 0.39], abs=0.005)
    assert reached[-1] == pytest.approx(chance[1])


def test_claims_in_the_post_at_the_end_of_a_term():
    # Share 0.001 a day; half the claims take 2 days in the post, half 6: 4 days of claims are on
    # their way at the end of the term. Two days on, (2 + 2) / (2 + 6) of them have come; three
    # days on, (2 + 3) / 8; six days on, all.
    curve = by_curve(0.001 * np.arange(121), (2, 6), arrival_days=4)
    term, age = np.full(4, 100.0), np.array([100.0, 102.0, 103.0, 106.0])
    left = 0.004 * np.array([1, 1 / 2, 3 / 8, 0])
    gone = 0.1 + 0.004 - left
    assert curve.chance(term, age, np.inf) == pytest.approx(left / (1 - gone))


def past_and_open(open_on: str = "2026-11-01", size: int = 50) -> list[dict]:
    """One hundred jobs long ago, 10 back after 20 days, 10 after 100; some more still open."""
    old = batch("p", "2026-01-01", 100, (20,) * 10 + (100,) * 10)
    return [*old, *batch("o", open_on, size)]


def test_a_small_shop_by_hand():
    # On 31 December the open jobs are 60 days old. At day 20, 10 of 150; at day 100, 10 of the 90
    # then followed: each open job has 10 / 90 to come, on day 100, 40 days on: in February.
    held = reserve(followed(*past_and_open()))
    assert held.jobs == 50
    assert held.claims.mean == pytest.approx(50 / 9)
    assert held.expected == pytest.approx(50 / 9 * 40)
    assert held.mean_claim_cost == 40
    months = held.months.set_index("month")
    assert list(months.index[:3]) == ["2027-01", "2027-02", "2027-03"]
    assert months.loc["2027-02", "claims"] == pytest.approx(50 / 9)
    assert months["expected"].sum() == pytest.approx(held.expected)
    (row,) = held.open.to_dict("records")
    assert (row["term_days"], row["age_from_days"], row["age_to_days"], row["jobs"]) == (
        180,
        60,
        89,
        50,
    )
    assert held.parts["part"].tolist() == list(PARTS)
    assert held.parts["claims"].tolist() == pytest.approx([50 / 9, 0, 0])
    plug_in = stats.binom(50, 1 / 9)
    assert (held.claims.plug_in_low, held.claims.plug_in_high) == (
        plug_in.ppf(0.05),
        plug_in.ppf(0.95),
    )
    assert held.claims.low <= held.claims.plug_in_low
    assert held.claims.high > held.claims.plug_in_high
    assert held.expected < held.p90 < held.p99


def test_the_drawn_curve_follows_the_seen_one():
    # With thousands of jobs the draws pin the count: what is drawn must be what was estimated.
    days = tuple(int(day) for day in np.ceil(np.linspace(1, 13.4, 600) ** 2))
    start = pd.Timestamp("2026-12-31") - pd.Timedelta(days=20)
    old = batch("p", "2026-01-01", 3000, days)
    followup = followed(*old, *batch("o", f"{start:%Y-%m-%d}", 1000))
    held = reserve(followup, ahead_days=20)
    drawn = held.claims.chances @ np.arange(len(held.claims.chances))
    assert drawn == pytest.approx(held.claims.mean, rel=0.03)


def test_only_what_comes_soon():
    followup = followed(*past_and_open())
    assert reserve(followup, ahead_days=39).claims.mean == pytest.approx(0)
    soon = reserve(followup, ahead_days=40)
    assert soon.claims.mean == pytest.approx(50 / 9)
    assert soon.months["claims"].sum() == pytest.approx(50 / 9)
    assert soon.months["month"].tolist() == ["2027-01", "2027-02"]


def test_new_jobs_have_the_beta_binomial_interval(outside):
    # 24 of 600, the next 1,000; 28-53 with the rate as known.
    source = f"{SCIPY}; betabinom, Jeffreys' prior"
    exact = stats.betabinom(1000, 24.5, 576.5)
    old = batch("p", "2026-01-01", 600, tuple(np.linspace(5, 175, 24).round()))
    new = batch("o", "2026-12-31", 1000)
    held = reserve(followed(*old, *new), level=0.95)
    assert held.claims.mean == pytest.approx(40)
    bounds, theirs = [held.claims.low, held.claims.high], exact.ppf([0.025, 0.975])
    outside.agrees("reserve: claims of 1,000 jobs", bounds, theirs, source=source, abs=1)
    assert (held.claims.plug_in_low, held.claims.plug_in_high) == (28, 53)
    # One claim costs 40 for sure: the 90th percentile is 40 times the count's.
    assert held.p90 == pytest.approx(40 * exact.ppf(0.90), abs=40)
    assert held.p99 == pytest.approx(40 * exact.ppf(0.99), abs=120)


def test_nothing_back_yet_still_holds_something(outside):
    held = reserve(
        followed(*batch("p", "2026-01-01", 60), *batch("o", "2026-12-31", 100)), claim_cost=30
    )
    assert held.expected == 0
    exact = stats.betabinom(100, 0.5, 60.5)
    outside.agrees(
        "reserve: chance of no claim",
        held.claims.none_chance,
        exact.pmf(0),
        source=f"{SCIPY}; betabinom, Jeffreys' prior",
        abs=0.01,
    )
    assert held.claims.high == pytest.approx(exact.ppf(0.95), abs=1)
    assert held.p99 >= 30


def test_comebacks_not_settled_are_held_for():
    unpaid = {"claim_cost": np.nan}
    jobs = [
        *past_and_open(),
        # On the bench; decided by nobody; and three that cost nothing more.
        *batch("a", "2026-12-01", 2, (20, 25), visit={**unpaid, "handed_back": pd.NaT}),
        *batch("b", "2026-12-01", 1, (20,), visit={**unpaid, "decision": "pending"}),
        *batch(
            "c",
            "2026-12-01",
            1,
            (20,),
            visit={**unpaid, "handed_back": pd.NaT, "decision": "declined"},
        ),
        *batch("d", "2026-12-01", 1, (20,), visit={**unpaid, "decision": "covered"}),
        *batch("e", "2026-12-01", 1, (20,)),
    ]
    held = reserve(followed(*jobs))
    parts = held.parts.set_index("part")
    assert parts.loc[PARTS[2], "jobs"] == 3
    assert parts.loc[PARTS[2], "expected"] == 120
    assert held.expected == pytest.approx((held.claims.mean + 3) * 40)
    assert held.months["expected"].sum() == pytest.approx(held.expected)
    assert parts["expected"].sum() == pytest.approx(held.expected)


def test_ways_out_of_the_exposure():
    gone = {"ended_on": "2026-11-20", "ended_how": "scrapped"}
    jobs = [
        *past_and_open(size=20),
        *batch("g", "2026-11-01", 5, **gone),
        *batch("n", "2026-11-01", 5, term_days=0),
        *batch("u", "2026-11-01", 5, term_days=np.nan),
        *batch("r", "2026-11-01", 5, (10,) * 5),
        # 190 days ago: past the term, inside its grace of 14 days; 194 days ago: past both.
        *batch("l", "2026-06-24", 5),
        *batch("x", "2026-06-20", 5),
    ]
    held = reserve(followed(*jobs))
    assert held.jobs == 25
    assert held.parts["jobs"].tolist() == [20, 5, 0]
    assert [note.jobs for note in held.notes if note.code == "no_term_open"] == [5]


def test_a_term_past_the_record_is_held_as_far_as_the_record_goes():
    jobs = [*past_and_open(), *batch("y", "2026-12-01", 7, term_days=1500)]
    held = reserve(followed(*jobs))
    assert [note.jobs for note in held.notes if note.code == "past_evidence"] == [7]
    assert held.claims.mean > 50 / 9


def lots(bad: int, open_lot: str) -> list[dict]:
    """Eight lots of 50 jobs each, 2 back of each, but ``bad`` of the last; 300 jobs open."""
    jobs = batch("o", "2026-12-31", 300, lot_cord=open_lot)
    for number in range(8):
        back = bad if number == 7 else 2
        days = tuple(int(day) for day in np.linspace(10, 150, back))
        jobs += batch(f"p{number}-", "2026-01-01", 50, days, lot_cord=f"L{number}")
    return jobs


def test_a_bad_lot_is_held_for():
    of_bad = reserve(followed(*lots(20, "L7")))
    assert of_bad.shared is not None
    assert of_bad.shared.name == "lot of cord"
    factor = dict(zip(of_bad.shared.groups["group"], of_bad.shared.mean(), strict=True))
    assert factor["L7"] > 2.5
    assert all(factor[f"L{number}"] < 0.9 for number in range(7))
    assert "shared_effect" in [note.code for note in of_bad.notes]
    # By lot, 40% and 4% of the open jobs; all alike, 34 of 400. Shrunk a little towards each other.
    of_good = reserve(followed(*lots(20, "L0")))
    alike = reserve(followed(*lots(20, "L0")), share_groups=False)
    assert alike.claims.mean == pytest.approx(300 * 34 / 400)
    assert 85 < of_bad.claims.mean < 120
    assert 12 < of_good.claims.mean < 18
    # A lot never seen before may be either: as many expected as of all, but far less surely.
    of_new = reserve(followed(*lots(20, "L9")))
    assert of_new.claims.mean == pytest.approx(alike.claims.mean, rel=0.03)
    assert of_new.claims.high > 1.5 * alike.claims.high
    assert of_new.claims.low < alike.claims.low / 1.5
    assert reserve(followed(*lots(3, "L7"))).shared is None


def test_the_spread_between_groups_is_the_likeliest():
    rng = np.random.default_rng(4)
    groups = pd.Series(pd.Categorical(np.repeat(np.arange(40), 100)))
    hazard = np.full(4000, 0.05)
    claims = rng.random(4000) < 0.05 * np.repeat(rng.gamma(4, 1 / 4, 40), 100)
    effect = shared_effect("lot", groups, claims.astype(float), hazard)
    assert effect is not None
    seen = np.bincount(np.repeat(np.arange(40), 100), weights=claims)
    mean = np.full(40, seen.mean())

    def misfit(log_alpha: float) -> float:
        alpha = np.exp(log_alpha)
        return -stats.nbinom.logpmf(seen, alpha, alpha / (alpha + mean)).sum()

    best = optimize.minimize_scalar(misfit, bounds=(-2, 6), method="bounded")
    assert effect.alpha == pytest.approx(np.exp(best.x), rel=1e-3)
    # O = 6, E = 2, alpha = 4: (4 + 6) / (4 + 2) = 1.67.
    drawn = effect.draws(20_000, rng)
    assert drawn.mean(axis=0) == pytest.approx(effect.mean(), rel=0.03)
    alike = shared_effect("lot", groups, (np.arange(4000) % 20 == 0).astype(float), hazard)
    assert alike is None


@settings(max_examples=8, derandomize=True, deadline=None)
@given(st.integers(1, 200), st.integers(5, 30), st.integers(0, 1000))
def test_a_reserve_adds_up(age, back, seed):
    days = tuple(int(day) for day in np.linspace(3, 170, back))
    start = pd.Timestamp("2026-12-31") - pd.Timedelta(days=age)
    followup = followed(*batch("p", "2026-01-01", 80, days), *batch("o", f"{start:%Y-%m-%d}", 30))
    held = reserve(followup, seed=seed, size=200)
    assert held.months["claims"].sum() == pytest.approx(held.claims.mean)
    assert held.open["claims"].sum() == pytest.approx(held.claims.mean)
    assert held.claims.low <= held.claims.mean + 1
    assert held.claims.chances.sum() == pytest.approx(1)
    assert held.p90 <= held.p99
    again = reserve(followup, seed=seed, size=200)
    assert (again.p90, again.claims.low, again.claims.high) == (
        held.p90,
        held.claims.low,
        held.claims.high,
    )


def test_without_costs_no_money_is_stated():
    held = reserve(followed(*batch("p", "2026-01-01", 60, (20, 60)), *batch("o", "2026-12-01", 9)))
    assert np.isnan(held.expected)
    assert np.isnan(held.p90)
    assert held.claims.mean > 0
    assert "no_costs" in [note.code for note in held.notes]


def test_a_record_on_which_every_job_came_back_is_no_accident():
    # 60 comebacks wait on the bench, none is still out: 60 bills of 38, whatever the curve says.
    held = reserve(followed(*fleet(60, (30,) * 60, term_days=180)), claim_cost=38)
    assert (held.expected, held.p90, held.claims.mean) == (60 * 38, 60 * 38, 0)


def test_nothing_open():
    held = reserve(followed(*batch("p", "2025-01-01", 60, (20,) * 6)))
    assert (held.jobs, held.claims.mean, held.claims.high, held.expected) == (0, 0, 0, 0)
    assert held.claims.none_chance == 1


def test_refusals():
    followup = followed(*past_and_open())
    with pytest.raises(RequestError, match="level is 90"):
        reserve(followup, level=90)
    with pytest.raises(RequestError, match="ahead_days is 0"):
        reserve(followup, ahead_days=0)
    with pytest.raises(RequestError, match="cost of a claim is -3"):
        reserve(followup, claim_cost=-3)
    with pytest.raises(EvidenceError, match="Record each job's term"):
        reserve(followed(*fleet(30)))
    with pytest.raises(EvidenceError, match="Too few jobs are followed"):
        reserve(followed(*batch("o", "2026-12-01", 4)))
