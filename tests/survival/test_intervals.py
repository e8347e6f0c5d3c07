"""Bounds against published values and other implementations."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from sources import GARWOOD, SCIPY

from insights.errors import RequestError
from insights.survival.intervals import (
    effective_jobs,
    exact_bounds,
    log_log_bounds,
    mean_bounds,
    normal_quantile,
    share_bounds,
)


def one(*values: float) -> list[np.ndarray]:
    return [np.array([value], dtype=float) for value in values]


def test_none_of_forty_is_bounded_at_nearly_nine_percent():
    # 1 - .025 ** (1/40) = 8.81%: never 0 to 0.
    low, high = share_bounds(*one(0, 0, 40, 0))
    assert (low[0], high[0]) == pytest.approx((0, 1 - 0.025 ** (1 / 40)), abs=1e-12)
    assert high[0] == pytest.approx(0.0881, abs=5e-5)


@pytest.mark.parametrize(("back", "jobs"), [(1, 40), (5, 17), (17, 17), (0, 9), (30, 90)])
def test_exact_bounds_are_clopper_and_pearsons(back, jobs, outside):
    theirs = stats.binomtest(back, jobs).proportion_ci(0.9, method="exact")
    low, high = exact_bounds(*one(back / jobs, jobs), 0.9)
    outside.agrees(
        "exact bounds of a share",
        [low[0], high[0]],
        [theirs.low, theirs.high],
        source=f"{SCIPY}; binomtest, Clopper-Pearson",
        abs=1e-10,
    )


def test_log_log_bounds_by_hand():
    # F = .2, se .1: -log(.8) = .22314; exp(+-1.95996 * .1 / (.8 * .22314)) = 2.997945, .333562.
    low, high = log_log_bounds(*one(0.2, 0.01))
    assert low[0] == pytest.approx(1 - 0.8**0.333562, abs=1e-6)
    assert high[0] == pytest.approx(1 - 0.8**2.997945, abs=1e-6)


@pytest.mark.parametrize(
    ("count", "low", "high"), [(0, 0, 3.6889), (1, 0.0253, 5.5716), (5, 1.6235, 11.6683)]
)
def test_mean_bounds_are_garwoods_for_a_plain_count(count, low, high, outside):
    found = mean_bounds(*one(count / 50, count / 50**2, 50, count))
    outside.agrees(
        "bounds of a count, for 50 units",
        [found[0][0] * 50, found[1][0] * 50],
        [low, high],
        source=f"{GARWOOD}; as tabulated by Ulm 1990, Am. J. Epidemiol. 131:373, from memory",
        abs=5e-5,
    )


def test_kind_of_bounds_follows_the_number_of_returns():
    share, variance, at_risk = np.full(3, 0.05), np.full(3, 0.05 * 0.95 / 40), np.full(3, 7.0)
    low, high = share_bounds(share, variance, at_risk, np.array([1, 2, 30]))
    few = exact_bounds(share[:1], np.full(1, 40.0))
    many = log_log_bounds(share[1:], variance[1:])
    assert np.append(few[0], many[0]) == pytest.approx(low)
    assert np.append(few[1], many[1]) == pytest.approx(high)


def test_everyone_back_is_bounded_below_one():
    low, high = share_bounds(*one(1, 0, 12, 12))
    assert (low[0], high[0]) == pytest.approx((0.025 ** (1 / 12), 1))


def test_no_variance_at_all_does_not_narrow_the_bounds_to_a_point():
    low, high = share_bounds(*one(0.5, 0, 20, 10))
    theirs = stats.binomtest(10, 20).proportion_ci(0.95, method="exact")
    assert (low[0], high[0]) == pytest.approx((theirs.low, theirs.high))


def test_effective_jobs_of_a_plain_share_are_the_jobs():
    assert effective_jobs(*one(0.1, 0.1 * 0.9 / 70, 5))[0] == pytest.approx(70)


def test_a_mean_counts_the_units_that_its_variance_is_worth():
    # 5 returns as sure as among 50, though 7 are at risk: Garwood's 1.6235 and 11.6683 of 50.
    low, high = mean_bounds(*one(5 / 50, 5 / 50**2, 7, 5))
    assert (low[0] * 50, high[0] * 50) == pytest.approx((1.6235, 11.6683), abs=5e-5)


def test_a_mean_without_a_return_is_bounded_by_those_at_risk():
    # -ln(0.025) = 3.6889 of those at risk, whole numbers of them included; of nobody, nothing.
    at_risk = np.array([40, 1, 0])
    low, high = mean_bounds(np.zeros(3), np.zeros(3), at_risk, np.zeros(3))
    assert low.tolist() == [0, 0, 0]
    assert high[:2] == pytest.approx([-np.log(0.025) / 40, -np.log(0.025)])
    assert high[2] == np.inf
    assert high.dtype == float
    _, at_80 = mean_bounds(np.zeros(1), np.zeros(1), at_risk[:1], np.zeros(1), 0.8)
    assert at_80[0] == pytest.approx(-np.log(0.1) / 40)


def test_shares_are_bounded_by_whole_numbers_at_risk_as_by_any():
    low, high = share_bounds(np.zeros(2), np.zeros(2), np.array([40, 0]), np.zeros(2))
    assert low.tolist() == [0, 0]
    assert high == pytest.approx([1 - 0.025 ** (1 / 40), 1])
    assert effective_jobs(
        np.array([0.0, 0.1]), np.array([0.0, 0.1 * 0.9 / 70]), np.array([9, 5])
    ) == (pytest.approx([9, 70]))


def test_each_kind_of_bounds_has_the_level_asked_for():
    few = share_bounds(*one(0.025, 0.025 * 0.975 / 40, 7, 1), 0.8)
    theirs = stats.binomtest(1, 40).proportion_ci(0.8, method="exact")
    assert (few[0][0], few[1][0]) == pytest.approx((theirs.low, theirs.high))
    # exp(1.281552 * .1 / (.8 * .223144)) = 2.050116, and one over it .487777.
    many = share_bounds(*one(0.2, 0.01, 7, 9), 0.8)
    assert (many[0][0], many[1][0]) == pytest.approx((1 - 0.8**0.487777, 1 - 0.8**2.050116))


def test_a_share_a_rounding_error_above_one_is_one():
    low, high = exact_bounds(*one(1 + 1e-12, 12))
    assert (low[0], high[0]) == pytest.approx((0.025 ** (1 / 12), 1))
    low, high = exact_bounds(*one(-1e-12, 12))
    assert (low[0], high[0]) == pytest.approx((0, 1 - 0.025 ** (1 / 12)))


def test_less_than_one_job_not_back_still_leaves_room_above():
    # Clopper and Pearson's upper bound is the 97.5% point of Beta(back + 1, jobs - back).
    _, high = exact_bounds(*one(11.5 / 12, 12))
    assert high[0] == pytest.approx(stats.beta.ppf(0.975, 12.5, 0.5), rel=1e-9)
    assert high[0] < 1


def test_the_refusal_of_a_level_says_what_was_given():
    with pytest.raises(RequestError) as refused:
        normal_quantile(95)
    assert str(refused.value) == "The confidence level is 95. Give one between 0 and 1, like 0.95."
    assert normal_quantile(0.95) == pytest.approx(1.959964, abs=5e-7)
    assert normal_quantile(0.8) == pytest.approx(1.281552, abs=5e-7)


def test_a_rounding_error_is_no_spread_and_a_small_share_is():
    low, high = share_bounds(*one(1 - 1e-13, 1e-9, 12, 12))
    assert (low[0], high[0]) == pytest.approx((0.025 ** (1 / 12), 1))
    # 20 of two million: log-log bounds of so small a share are it times exp(+-1.95996 / sqrt(20)).
    low, high = share_bounds(*one(1e-5, 1e-5 / 2e6, 7, 20))
    factor = np.exp(1.959964 / np.sqrt(20))
    assert (low[0], high[0]) == pytest.approx((1e-5 / factor, 1e-5 * factor), rel=1e-4)


@pytest.mark.parametrize("level", [0, 1, 95])
def test_level_must_be_a_fraction(level):
    with pytest.raises(RequestError, match=r"like 0\.95"):
        normal_quantile(level)


@settings(max_examples=60, derandomize=True, deadline=None)
@given(
    st.integers(1, 400),
    st.floats(0, 1),
    st.floats(0.3, 3),
    st.floats(0.5, 0.99),
)
def test_bounds_hold_the_share_and_widen_with_the_level(jobs, part, design, level):
    back = round(part * jobs)
    share = back / jobs
    variance = design * share * (1 - share) / jobs
    low, high = share_bounds(*one(share, variance, jobs, back), level)
    wider = share_bounds(*one(share, variance, jobs, back), level + 0.009)
    assert 0 <= wider[0][0] <= low[0] <= share + 1e-12
    assert share - 1e-12 <= high[0] <= wider[1][0] <= 1
