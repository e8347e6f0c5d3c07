"""Payback against closed forms, published tables and simulation."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats
from sources import SCIPY

from insights.errors import EvidenceError, RequestError
from insights.followup import follow_up
from insights.history.schema import History, to_schema
from insights.history.units import Links
from insights.money.costs import (
    ComebackCost,
    Costs,
    comeback_cost_from_parts,
    comeback_cost_from_record,
)
from insights.money.payback import payback, unit_normal_loss

# The example worked below by hand: 3.6 in 100 avoided (standard error 1.91), 7.2 without;
# a comeback costs 45, the part 0.60 and one minute 0.70.
EXAMPLE = Costs(0.60, 1, 42, ComebackCost(45))
EFFECT = (0.036, 0.0191)


def test_the_worked_example():
    result = payback(EFFECT, EXAMPLE, risk_without=0.072)
    mean, sd = 0.036 * 45 - 1.30, 0.0191 * 45
    assert result.net_per_job == pytest.approx(mean, abs=1e-9)  # 0.32
    assert result.probability == pytest.approx(stats.norm.cdf(mean / sd), abs=5e-4)  # 0.645
    assert result.low == pytest.approx(mean - 1.959964 * sd, abs=2e-3)
    assert result.high == pytest.approx(mean + 1.959964 * sd, abs=2e-3)
    assert result.break_even_part_cost == pytest.approx(0.036 * 45 - 0.70, abs=1e-9)  # 0.92
    assert result.break_even_part_cost_low == pytest.approx(result.low + 0.60, abs=1e-9)
    assert result.break_even_difference == pytest.approx(1.30 / 45, abs=1e-9)  # 2.9 in 100
    u = mean / sd
    evpi = 1000 * sd * (stats.norm.pdf(u) - u * stats.norm.sf(u))
    assert evpi == pytest.approx(206.4, abs=0.1)
    assert result.evpi_per_1000_jobs == pytest.approx(evpi, rel=2e-3)
    assert result.verdict == "not_clear"


def test_the_worked_example_looks_ahead():
    # By hand for 800 each way: v = 45^2 (.072 x .928 + .036 x .964) / 800 = .2570,
    # tau = .7387 / sqrt(.7387 + .2570) = .7404, and so 163 and .376; also 97.6 at 200.
    result = payback(EFFECT, EXAMPLE, risk_without=0.072)
    ahead = result.table.set_index("jobs_per_arm")
    assert ahead.loc[200, "evsi_per_1000_jobs"] == pytest.approx(97.6, abs=0.1)
    assert ahead.loc[800, "evsi_per_1000_jobs"] == pytest.approx(163.0, abs=0.5)
    np.testing.assert_allclose(
        ahead.loc[[400, 800, 1600], "chance_clear"], [0.219, 0.376, 0.527], atol=2e-3
    )
    enough = payback(
        EFFECT, EXAMPLE, risk_without=0.072, jobs_per_arm=[int(result.jobs_per_arm_to_clear)]
    )
    assert enough.table["chance_clear"].iloc[0] == pytest.approx(0.80, abs=1e-3)


def test_look_ahead_agrees_with_playing_it_out():
    rng = np.random.default_rng(8)
    n, plays = 600, 400_000
    truth = rng.normal(*EFFECT, plays)
    noise = np.sqrt((0.072 * 0.928 + 0.036 * 0.964) / n)
    seen = truth + noise * rng.normal(size=plays)
    weight = EFFECT[1] ** 2 / (EFFECT[1] ** 2 + noise**2)
    mean = 45 * (EFFECT[0] + weight * (seen - EFFECT[0])) - 1.30
    sd = 45 * EFFECT[1] * np.sqrt(1 - weight)
    gain = 1000 * (np.where(mean > 0, 45 * truth - 1.30, 0).mean() - 0.32)
    sure = stats.norm.cdf(mean / sd)
    result = payback(EFFECT, EXAMPLE, risk_without=0.072, jobs_per_arm=[n]).table.iloc[0]
    assert result["evsi_per_1000_jobs"] == pytest.approx(gain, abs=4)
    assert result["chance_clear"] == pytest.approx(((sure > 0.95) | (sure < 0.05)).mean(), abs=4e-3)


@pytest.mark.parametrize(
    ("u", "loss"),
    [(0.0, 0.3989), (0.5, 0.1978), (1.0, 0.0833), (1.5, 0.0293), (2.0, 0.0085)],
)
def test_unit_normal_loss(u, loss, outside):
    printed = "Tables of decision analysis and stock-keeping; to four digits, from memory"
    direct = integrate.quad(lambda x: (x - u) * stats.norm.pdf(x), u, np.inf)[0]
    found = unit_normal_loss(u)
    outside.agrees("unit normal loss", found, loss, source=printed, abs=5e-5)
    outside.agrees("unit normal loss", found, direct, source=f"{SCIPY}; quad", abs=1e-8)


def test_a_spread_in_the_bill_widens_the_answer():
    sure = payback(EFFECT, EXAMPLE, risk_without=0.072)
    bill = Costs(0.60, 1, 42, ComebackCost(45, se=9, sd=30, comebacks=11))
    unsure = payback(EFFECT, bill, risk_without=0.072)
    assert unsure.net_per_job == pytest.approx(sure.net_per_job, abs=0.02)
    # Variance of a product of independent numbers: m1^2 v2 + m2^2 v1 + v1 v2.
    variance = 0.036**2 * 81 + 45**2 * 0.0191**2 + 81 * 0.0191**2
    assert unsure.high - unsure.low == pytest.approx(2 * 1.96 * np.sqrt(variance), rel=0.03)
    assert (unsure.table["chance_clear"] < sure.table["chance_clear"]).all()


def test_verdicts_at_the_ends():
    pays = payback((0.05, 0.01), EXAMPLE, risk_without=0.08)
    assert pays.verdict == "pays"
    assert pays.jobs_per_arm_to_clear == 0
    harms = payback((-0.02, 0.01), EXAMPLE, risk_without=0.08)
    assert harms.verdict == "does_not_pay"
    assert harms.break_even_part_cost < 0
    free = payback((0.0, 0.01), Costs(0.6, 1, 42, ComebackCost(45), 2.0), risk_without=0.08)
    assert free.break_even_difference < 0
    assert "price_carries" in {note.code for note in free.notes}


def test_an_even_chance_that_more_jobs_cannot_settle_is_said_so():
    balanced = Costs(45 * 0.036, 0, 0, ComebackCost(45, se=20, sd=60, comebacks=9))
    result = payback((0.036, 0.0001), balanced, risk_without=0.072)
    assert np.isnan(result.jobs_per_arm_to_clear)
    assert "never_clear" in {note.code for note in result.notes}


def test_jobs_to_a_clear_answer_in_closed_form():
    # With no gain on average it is clear in 80% of cases when 1.645 sqrt(v / sigma^2) = .2533,
    # so n = (p0 q0 + p1 q1) / sigma^2 / (.2533 / 1.645)^2.
    even = Costs(45 * 0.036, 0, 0, ComebackCost(45))
    noise = 0.072 * 0.928 + 0.036 * 0.964
    needed = noise / 0.002**2 / (stats.norm.isf(0.4) / stats.norm.ppf(0.95)) ** 2
    result = payback((0.036, 0.002), even, risk_without=0.072)
    assert result.jobs_per_arm_to_clear == pytest.approx(needed, rel=1e-4)  # about 1.1 million
    # Ten times as sharp already: a hundred times as many, more than any workshop sees.
    assert np.isnan(payback((0.036, 0.0002), even, risk_without=0.072).jobs_per_arm_to_clear)


@settings(max_examples=30, deadline=None, derandomize=True)
@given(
    st.floats(-0.05, 0.08),
    st.floats(0.002, 0.04),
    st.floats(0, 5),
    st.floats(1, 100),
    st.floats(0.001, 0.3),
)
def test_what_must_always_hold(effect, se, part, bill, risk):
    costs = Costs(part, 2, 30, ComebackCost(bill))
    result = payback((effect, se), costs, risk_without=risk)
    assert result.low <= result.net_per_job <= result.high
    assert 0 <= result.probability <= 1
    evsi = result.table["evsi_per_1000_jobs"].to_numpy()
    assert (np.diff(evsi) >= -1e-9).all()
    assert evsi[-1] <= result.evpi_per_1000_jobs * 1.02 + 0.01
    dearer = payback((effect, se), Costs(part + 1, 2, 30, ComebackCost(bill)), risk_without=risk)
    assert dearer.net_per_job == pytest.approx(result.net_per_job - 1)
    assert dearer.break_even_part_cost == pytest.approx(result.break_even_part_cost)
    in_pence = Costs(100 * part, 2, 3000, ComebackCost(100 * bill))
    scaled = payback((effect, se), in_pence, risk_without=risk)
    assert scaled.net_per_job == pytest.approx(100 * result.net_per_job)
    assert scaled.probability == result.probability
    # At the break-even part price the mean gain is nil.
    if result.break_even_part_cost >= 0:
        at = Costs(result.break_even_part_cost, 2, 30, ComebackCost(bill))
        assert payback((effect, se), at, risk_without=risk).net_per_job == pytest.approx(0)


def test_draws_and_an_estimate_with_its_error_agree():
    draws = np.random.default_rng(1).normal(*EFFECT, 200_000)
    by_draws = payback(draws, EXAMPLE, risk_without=0.072)
    by_error = payback(EFFECT, EXAMPLE, risk_without=0.072)
    assert by_draws.net_per_job == pytest.approx(by_error.net_per_job, abs=0.01)
    assert by_draws.probability == pytest.approx(by_error.probability, abs=0.005)
    assert by_draws.evpi_per_1000_jobs == pytest.approx(by_error.evpi_per_1000_jobs, rel=0.02)
    assert "few_draws" in {
        note.code for note in payback(draws[:50], EXAMPLE, risk_without=0.072).notes
    }


def test_what_is_refused():
    with pytest.raises(RequestError, match="safety work"):
        payback(EFFECT, EXAMPLE, risk_without=0.072, safety=True)
    with pytest.raises(RequestError, match="part_cost is -1"):
        Costs(-1, 1, 42, ComebackCost(45))
    with pytest.raises(RequestError, match="mean is nan"):
        ComebackCost(float("nan"))
    with pytest.raises(RequestError, match="risk_without is 7"):
        payback(EFFECT, EXAMPLE, risk_without=7)
    with pytest.raises(RequestError, match="standard error above zero"):
        payback((0.1, 0.0), EXAMPLE, risk_without=0.1)
    with pytest.raises(RequestError, match="none missing"):
        payback(np.array([0.1, np.nan]), EXAMPLE, risk_without=0.1)
    with pytest.raises(RequestError, match="jobs_per_arm holds 0"):
        payback(EFFECT, EXAMPLE, risk_without=0.1, jobs_per_arm=[0])


def test_cost_of_a_comeback_from_its_parts():
    cost = comeback_cost_from_parts(
        minutes=30, rate_per_hour=42, parts=4, post_both_ways=11, goodwill=5, lost_custom=4
    )
    assert cost.mean == pytest.approx(45)
    assert cost.se == 0
    with pytest.raises(RequestError, match="zero or more"):
        comeback_cost_from_parts(parts=-4, goodwill=10)


def record(bills: list[float]):
    """Give one unit per bill, repaired on 1 January and back on 1 February at that cost."""
    n = len(bills)
    first = pd.DataFrame({"received": pd.Timestamp("2024-01-01"), "claim_cost": [99.0] * n})
    again = pd.DataFrame({"received": pd.Timestamp("2024-02-01"), "claim_cost": bills})
    jobs = pd.concat([first, again], ignore_index=True)
    jobs["handed_back"] = jobs["received"]
    jobs["root_cause"] = ["cord", "seal"] * n
    jobs = jobs.assign(job_id=np.arange(2 * n).astype(str), model="grill")
    return follow_up(
        History(to_schema(jobs)), links=Links(np.tile(np.arange(n), 2), pd.DataFrame())
    )


def test_cost_of_a_comeback_from_the_record():
    cost = comeback_cost_from_record(record([30, 40, 50, 60, 20, float("nan")]))
    assert cost.mean == pytest.approx(40)
    assert cost.sd == pytest.approx(np.sqrt(250))  # by hand
    assert cost.se == pytest.approx(np.sqrt(250 / 5))
    assert cost.comebacks == 5
    with pytest.raises(EvidenceError, match="Only 3 counted comebacks for cord"):
        comeback_cost_from_record(record([30, 40, 50, 60, 20, float("nan")]), "cord")
