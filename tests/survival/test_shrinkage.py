"""Shrunk ratios against published counts, a general library, and the truth they were drawn from."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, special, stats
from sources import SCIPY, STATSMODELS
from statsmodels.discrete.discrete_model import NegativeBinomial

from insights.survival.shrinkage import (
    known_spread,
    log_likelihood,
    most_likely_alpha,
    shrunk_ratios,
)

# Failures of ten pumps of a power plant and thousands of hours of running.
PUMPS = (
    "Gaver and O'Muircheartaigh 1987, Technometrics 29:1-15; also George, Makov and Smith 1993, "
    "Scandinavian Journal of Statistics 20:147-156, and many public model files"
)
HOURS = np.array([94.3, 15.7, 62.9, 126.0, 5.24, 31.4, 1.05, 1.05, 2.1, 10.5])
FAILURES = np.array([5, 1, 5, 14, 3, 19, 1, 1, 4, 22])
# Their gamma prior, most likely shape and rate, as published to two digits.
SHAPE, RATE = 0.82, 1.26


def test_the_most_likely_spread_of_the_pumps_is_the_published_one(outside):
    # At the published mean, the most likely shape is the published shape.
    found = most_likely_alpha(FAILURES, HOURS * SHAPE / RATE)
    outside.agrees("pumps: most likely shape", found, SHAPE, source=PUMPS, abs=0.005)


def test_the_pumps_rates_are_the_gamma_prior_updated():
    found = known_spread(FAILURES, HOURS * SHAPE / RATE, SHAPE).mean * SHAPE / RATE
    assert found == pytest.approx((FAILURES + SHAPE) / (HOURS + RATE))


def test_the_likelihood_is_the_negative_binomial_one(outside):
    expected = HOURS / 10
    for alpha in (0.3, 2.0, 50.0):
        law = stats.nbinom(alpha, alpha / (alpha + expected))
        rest = FAILURES * np.log(expected) - special.gammaln(FAILURES + 1)
        found = log_likelihood(FAILURES, expected, np.array(alpha)) + rest
        theirs = law.logpmf(FAILURES)
        outside.agrees("negative binomial likelihood", found, theirs, source=SCIPY, rel=1e-6)


def test_statsmodels_finds_the_same_spread(outside):
    rng = np.random.default_rng(4)
    expected = rng.uniform(2, 20, 300)
    seen = rng.poisson(expected * rng.gamma(5, 1 / 5, 300))
    # A constant whose estimate is taken into the expectation makes the two models one.
    fit = NegativeBinomial(seen, np.ones((300, 1)), exposure=expected).fit(disp=0)
    ours = most_likely_alpha(seen, expected * np.exp(fit.params[0]))
    theirs = 1 / fit.params[1]
    outside.agrees("most likely spread", ours, theirs, source=STATSMODELS, rel=1e-3)


def test_six_for_two_expected_shrinks_to_five_thirds():
    # Worked by hand: Gamma(4, 4) and 6 seen for 2 expected give Gamma(10, 6).
    ratios = known_spread([6], [2], 4.0)
    assert ratios.mean == pytest.approx([10 / 6])
    law = stats.gamma(10, scale=1 / 6)
    assert ratios.quantile(0.025) == pytest.approx([law.ppf(0.025)])
    assert ratios.chance_above(1.5) == pytest.approx([law.sf(1.5)])


def test_each_group_is_set_against_the_others_only():
    found = shrunk_ratios(np.array([40, 10, 10]), np.array([5.0, 5.0, 5.0]))
    # The others of the first saw 20 for 10, with half a comeback of prior: 2.05 for each.
    assert found.expected == pytest.approx([5 * 20.5 / 10, 5 * 50.5 / 10, 5 * 50.5 / 10])


def test_a_common_factor_of_the_expectation_does_not_matter():
    seen, expected = np.array([3, 8, 0, 12]), np.array([4.0, 5.0, 1.0, 9.0])
    one, other = shrunk_ratios(seen, expected), shrunk_ratios(seen, 7 * expected)
    assert one.mean == pytest.approx(other.mean)
    assert one.quantile(0.9) == pytest.approx(other.quantile(0.9))


def test_more_comebacks_on_the_same_work_never_look_better():
    expected = np.full(9, 6.0)
    found = shrunk_ratios(np.arange(9) * 2, expected)
    assert (np.diff(found.mean) > 0).all()
    assert (np.diff(found.chance_above(1.0)) > 0).all()


def test_a_group_with_next_to_nothing_expected_stays_at_one_with_wide_bounds():
    found = shrunk_ratios(np.array([0, 30, 25, 40]), np.array([0.001, 30.0, 28.0, 37.0]))
    assert found.mean[0] == pytest.approx(1.0, abs=0.02)
    wide = found.quantile(0.975) - found.quantile(0.025)
    assert (wide[0] > wide[1:]).all()
    assert 0.3 < found.chance_above(1.0)[0] < 0.7


def test_a_group_alone_has_nothing_to_be_compared_with():
    found = shrunk_ratios(np.array([5]), np.array([4.0]))
    assert np.isnan(found.expected).all()
    assert np.isnan(found.mean).all()


def test_no_comeback_at_all_tells_nothing():
    found = shrunk_ratios(np.zeros(5), np.full(5, 0.01))
    assert ((found.chance_above(1.0) > 0.05) & (found.chance_above(1.0) < 0.95)).all()


def test_intervals_are_those_of_ratios_drawn_by_brute_force():
    # Draw the spread from its posterior on the same grid, then each ratio.
    seen, expected = np.array([2, 9, 4, 30]), np.array([5.0, 5.0, 5.0, 20.0])
    found = shrunk_ratios(seen, expected)

    def posterior(spread: float) -> float:
        alpha = spread**-2.0
        prior = np.log(spread) - (spread / 0.35) ** 2 / 2
        return prior + 0.75 * log_likelihood(seen, found.expected, np.array(alpha)).sum()

    grid = np.linspace(0.005, 2.5, 2000)
    weight = np.exp([posterior(spread) for spread in grid])
    assert found.spread == pytest.approx(grid @ weight / weight.sum(), rel=0.005)
    rng = np.random.default_rng(7)
    alpha = rng.choice(grid, 400_000, p=weight / weight.sum()) ** -2.0
    others = seen.sum() - seen + 0.5
    for group in range(4):
        held = alpha + found.expected[group]
        law = stats.gamma(alpha + seen[group], scale=1 / held)
        drawn = np.log(law.rvs(random_state=rng))
        noise = rng.standard_normal(len(drawn)) * np.sqrt(special.polygamma(1, others[group]))
        drawn += noise * found.expected[group] / held
        for chance in (0.025, 0.5, 0.975):
            ours = np.log(found.quantile(chance)[group])
            assert ours == pytest.approx(np.quantile(drawn, chance), abs=0.06)


@pytest.mark.slow
@pytest.mark.parametrize("spread", [0.2, 0.3, 0.5])
@pytest.mark.parametrize(("groups", "each"), [(12, 10), (20, 6), (200, 1)])
def test_intervals_cover_ratios_that_differ(groups, each, spread, measured):
    """Groups whose true ratios are lognormal, not gamma as the method takes them to be."""
    rng = np.random.default_rng(5)
    covered = []
    for _ in range(300):
        true = np.exp(rng.normal(0, spread, groups))
        expected = rng.gamma(4, each / 4, groups)
        found = shrunk_ratios(rng.poisson(expected * true), expected)
        others = ((expected * true).sum() - expected * true) / (expected.sum() - expected)
        ratio = true / others
        covered.append((found.quantile(0.025) < ratio) & (ratio < found.quantile(0.975)))
    measured.row(
        "95% intervals of shrunk ratios",
        groups=groups,
        expected_each=each,
        spread=spread,
        shops=300,
        held_share=np.mean(covered),
    )
    assert 0.92 <= np.mean(covered) <= 0.995


def test_the_search_for_the_spread_finds_what_a_fine_grid_finds():
    seen, expected = np.array([1, 6, 3, 11, 0, 5]), np.full(6, 4.0)
    best = optimize.minimize_scalar(
        lambda log: -log_likelihood(seen, expected, np.exp(log)).sum(), bracket=(0, 1)
    )
    assert most_likely_alpha(seen, expected) == pytest.approx(np.exp(best.x), rel=1e-4)
