"""Firth's penalty against a plain rewriting with loops and numerical derivatives."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from insights.survival.cox import fit_cox
from insights.survival.firth import penalised
from insights.survival.slots import prepare


def slow_value(beta, days, event, X, ties):
    """Penalised log likelihood, one event at a time, straight from the definition."""
    risk = np.exp(X @ beta)
    value, information = 0.0, np.zeros((X.shape[1],) * 2)
    for day in np.unique(days[event == 1]):
        tied = np.flatnonzero((days == day) & (event == 1))
        for taken in range(len(tied)):
            weight = np.where(days >= day, risk, 0.0)
            if ties == "efron":
                weight[tied] *= 1 - taken / len(tied)
            value += X[tied[taken]] @ beta - np.log(weight.sum())
            information += np.cov(X.T, aweights=weight / weight.sum(), bias=True).reshape(
                information.shape
            )
    return value + np.linalg.slogdet(information)[1] / 2


def small_shop(seed=2, n=40):
    """Give two covariates; no job at the first one's upper level comes back."""
    rng = np.random.default_rng(seed)
    X = np.column_stack([rng.integers(0, 2, n), rng.integers(0, 3, n)]).astype(float)
    days = rng.integers(1, 12, n)
    event = np.where(X[:, 0] == 1, 0, rng.integers(0, 2, n))
    return days, event, X


def test_three_rows_whose_plain_likelihood_rises_for_ever(outside):
    fit = fit_cox([1, 2, 3], [1, 1, 1], np.array([[1], [1], [0]]), ties="breslow", firth=True)
    outside.agrees(
        "three rows: coefficient, error (Breslow)",
        [fit.coef[0], fit.se[0]],
        [1.32910386, 1.92907199],
        source="R coxphf 1.13; Heinze and Schemper's method, three rows",
        rel=1e-7,
    )


@pytest.mark.parametrize("ties", ["efron", "breslow"])
def test_estimate_limits_and_p_agree_with_the_slow_way(ties):
    days, event, X = small_shop()
    assert event[X[:, 0] == 1].sum() == 0
    fit = fit_cox(days, event, X, ties=ties, firth=True)

    def loss(beta):
        return -slow_value(np.asarray(beta), days, event, X, ties)

    best = optimize.minimize(loss, [0.0, 0.0], method="BFGS", options={"gtol": 1e-7})
    np.testing.assert_allclose(fit.coef, best.x, atol=2e-5)
    assert fit.log_likelihood == pytest.approx(-best.fun, abs=1e-8)

    def profile(value, held):
        def inner(other):
            return loss([value, other] if held == 0 else [other, value])

        return -optimize.minimize_scalar(inner, bounds=(-12, 12), method="bounded").fun

    drop = stats.chi2.ppf(0.95, 1) / 2
    for held in (0, 1):
        for limit in (fit.low[held], fit.high[held]):
            assert profile(limit, held) == pytest.approx(-best.fun - drop, abs=1e-5)
        assert fit.low[held] < fit.coef[held] < fit.high[held]
        fall = 2 * (-best.fun - profile(0.0, held))
        assert fit.p[held] == pytest.approx(stats.chi2.sf(fall, 1), abs=1e-5)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(st.integers(0, 10_000), st.sampled_from(["efron", "breslow"]))
def test_gradient_is_the_slope_of_the_slow_value(seed, ties):
    days, event, X = small_shop(seed, 25)
    event[0], X[0] = 1, (1.0, 2.0)
    beta = np.random.default_rng(seed).normal(size=2)
    value, gradient, _ = penalised(prepare(days, event, X, ties=ties))(beta)
    assert value == pytest.approx(slow_value(beta, days, event, X, ties), rel=1e-9)
    slope = optimize.approx_fprime(beta, slow_value, 1e-6, days, event, X, ties)
    np.testing.assert_allclose(gradient, slope, rtol=1e-4, atol=1e-4)


def test_units_of_a_covariate_only_rescale_its_coefficient():
    days, event, X = small_shop(n=60)
    plain = fit_cox(days, event, X, firth=True)
    scaled = fit_cox(days, event, 5 + 100 * X, firth=True)
    for name in ("coef", "low", "high"):
        np.testing.assert_allclose(getattr(scaled, name) * 100, getattr(plain, name), rtol=1e-5)


def test_with_many_events_the_penalty_hardly_matters():
    rng = np.random.default_rng(4)
    X = rng.integers(0, 2, (4000, 1))
    days = np.ceil(rng.exponential(100 / np.exp(0.7 * X[:, 0])))
    plain = fit_cox(days, np.ones(4000), X)
    firth = fit_cox(days, np.ones(4000), X, firth=True)
    assert firth.coef[0] == pytest.approx(plain.coef[0], abs=1e-3)
    wald = plain.coef[0] + 1.959964 * np.array([-1, 1]) * plain.se[0]
    np.testing.assert_allclose([firth.low[0], firth.high[0]], wald, atol=3e-3)
