"""Limits of chance against published charts, and the scatter of groups against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from sources import NIST_HANDBOOK, SCIPY

from insights.reviewing.funnel import (
    ACTION_SIGMAS,
    WARNING_SIGMAS,
    dispersion,
    exact_limits,
    sigma_limits,
)

MONTGOMERY = "Montgomery, Introduction to Statistical Quality Control"


def test_a_chart_of_shares_has_the_published_limits(outside):
    # 30 samples of 50, average share .2313, then .215 without two samples. The 30 counts
    # themselves are not copied here; with them the limits agree to eight digits.
    source = f"{MONTGOMERY}; example 7.1, from memory; the average: {NIST_HANDBOOK}, 6.3.3.2"
    for share, limits in ((0.2313, [0.0524, 0.4102]), (0.215, [0.0407, 0.3893])):
        found = np.array(sigma_limits(stats.binom(50, share), 3)) / 50
        outside.agrees("limits of a chart of shares", found, limits, source=source, abs=1e-4)


def test_a_chart_of_counts_has_the_published_limits(outside):
    # Nonconformities on circuit boards, 19.85 on average, then 19.67; and 1.93 a computer in
    # samples of five. The counts themselves are not copied here; with them the limits agree to
    # seven digits.
    what, source = "limits of a chart of counts", f"{MONTGOMERY}; examples 7.3, 7.4, from memory"
    for mean, limits in ((19.85, [6.48, 33.22]), (19.67, [6.36, 32.97])):
        found = sigma_limits(stats.poisson(mean), 3)
        outside.agrees(what, found, limits, source=source, abs=0.01)
    found = np.array(sigma_limits(stats.poisson(5 * 1.93), 3)) / 5
    outside.agrees(what, found, [0.07, 3.79], source=source, abs=0.005)


def test_exact_limits_lie_between_neighbouring_counts():
    # P(8 or more for 2 expected) = 0.0011, P(7 or more) = 0.0045: tables of the Poisson
    # distribution. (On the deaths of twelve hospitals, not copied here, the interpolated limits of
    # the binomial agree with the reference to nine digits.)
    assert stats.poisson.sf([7, 6], 2) == pytest.approx([0.0011, 0.0045], abs=5e-5)
    _, high = exact_limits(stats.poisson(2.0), ACTION_SIGMAS)
    assert 7 < high < 8
    low, high = exact_limits(stats.poisson(20.0), WARNING_SIGMAS)
    assert stats.poisson.cdf(np.floor(low), 20) <= 0.025 < stats.poisson.cdf(np.ceil(low), 20)
    assert stats.poisson.cdf(np.floor(high), 20) <= 0.975 < stats.poisson.cdf(np.ceil(high), 20)


def test_exact_limits_tend_to_the_normal_ones():
    law = stats.poisson(1e6)
    for sigmas in (WARNING_SIGMAS, ACTION_SIGMAS):
        assert exact_limits(law, sigmas) == pytest.approx(sigma_limits(law, sigmas), rel=1e-5)


def test_a_single_comeback_is_never_out_of_limits():
    _, high = exact_limits(stats.poisson(np.array([1e-6, 0.01, 0.2])), WARNING_SIGMAS)
    assert (high >= 1).all()


def test_the_sigmas_are_the_two_sided_95_and_998_of_1000():
    assert stats.norm.sf([WARNING_SIGMAS, ACTION_SIGMAS]) == pytest.approx([0.025, 0.001])


def test_overdispersion_widens_by_its_root():
    law = stats.poisson(25.0)
    assert sigma_limits(law, 2.0, phi=4.0) == pytest.approx((5.0, 45.0))


def test_phi_is_pearson_s_chi_square_over_its_freedom(outside):
    seen, expected = np.array([12, 7, 3, 20, 8]), np.array([10.0, 10.0, 5.0, 12.0, 13.0])
    found = dispersion(seen, 3 * expected)
    scaled = expected * seen.sum() / expected.sum()
    theirs = stats.chisquare(seen, scaled).statistic / 4
    outside.agrees("scatter of groups", found.phi, theirs, source=SCIPY, rel=1e-6)


def test_chance_alone_is_rarely_called_overdispersed():
    rng = np.random.default_rng(3)
    for mean in (0.5, 3.0, 30.0):
        expected = rng.uniform(0.5, 1.5, 40) * mean
        over = [dispersion(rng.poisson(expected), expected).is_over for _ in range(2000)]
        assert 0.025 < np.mean(over) < 0.075


@pytest.mark.parametrize("seen", [[4], [0, 0, 0]])
def test_without_groups_or_comebacks_nothing_is_overdispersed(seen):
    assert not dispersion(np.array(seen), np.full(len(seen), 2.0)).is_over
