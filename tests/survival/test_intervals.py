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
