"""The hazard model, standardised and made doubly robust, against libraries and plain sums."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from benches import cells_of, followed_groups, group, mixed_bench, spread, worked_check
from scipy import optimize, special, stats
from sklearn.linear_model import PoissonRegressor
from sources import SCIKIT_LEARN, SCIPY

from insights.evidence import hazards as module
from insights.evidence.compared import AGAINST, LEVEL, Compared
from insights.evidence.estimators import MODEL, PLAIN, ROBUST, STRATA, WEIGHTED, Estimators
from insights.evidence.fitting import Design
from insights.evidence.hazards import add_up, cut, fit_hazards
from insights.evidence.resampling import Draw, draws, whole_record
from insights.evidence.standardise import standardise

COVARIATES = ("model", "technician", "age_band", "condition")


@pytest.fixture(scope="module")
def bench() -> Compared:
    return cells_of(mixed_bench(), COVARIATES)


def on_rows(cells: Compared, edges: np.ndarray) -> tuple[np.ndarray, ...]:
    """Write every job and interval as a row: interval, arm, pattern, days at risk, comeback."""
    rows = []
    for arm, pattern, day, outcome, jobs in zip(
        cells.cell_arm,
        cells.cell_pattern,
        cells.cell_day,
        cells.cell_outcome,
        cells.cell_jobs,
        strict=True,
    ):
        for k, (start, end) in enumerate(itertools.pairwise(edges)):
            if day > start:
                back = outcome == 1 and start < day <= end
                rows += [(k, arm, pattern, min(day, end) - start, back)] * int(jobs)
    return tuple(np.array(column) for column in zip(*rows, strict=True))


def risks_by_sum(rates: np.ndarray, ratios: np.ndarray, widths: np.ndarray) -> np.ndarray:
    return 1 - np.exp(-ratios * (rates * widths).sum())


def test_hazards_equal_a_maximiser_over_rows_with_every_parameter_spelt_out(bench, outside):
    design = Design.of(bench.facts, bench.jobs.sum(axis=0))
    clock = cut(bench)
    data = add_up(bench, clock, whole_record(bench, design.width))
    ours = fit_hazards(design, data)
    interval, arm, pattern, days, back = on_rows(bench, clock.edges)
    X = design.matrix.toarray()[pattern]
    pieces = len(clock.widths)

    def minus_log_posterior(theta: np.ndarray) -> float:
        alpha, tau, beta = theta[:pieces], theta[pieces], theta[pieces + 1 :]
        log_hazard = alpha[interval] + tau * arm + X @ beta
        likelihood = (back * log_hazard - days * np.exp(log_hazard)).sum()
        # log-F(1, 1): density as e^(tau/2) / (1 + e^tau); Normal(0, 1.5^2) for the rest
        prior = tau / 2 - np.logaddexp(0, tau) - (beta**2).sum() / (2 * 1.5**2)
        return -(likelihood + prior)

    begin = np.append(np.full(pieces, -8.0), np.zeros(1 + design.width))
    found = optimize.minimize(minus_log_posterior, begin, method="BFGS", options={"gtol": 1e-6})
    source = f"{SCIPY}; minimize over rows, every parameter spelt out"
    for what, mine, theirs, close in (
        ("coefficients", ours.beta[0][:, 0], found.x[pieces:], {"abs": 1e-3}),
        ("rates", ours.rates[0][:, 0], np.exp(found.x[:pieces]), {"rel": 2e-3}),
    ):
        outside.agrees(f"hazard model of a practice: {what}", mine, theirs, source=source, **close)

    population = bench.jobs[AGAINST][:, None]
    risks = standardise(design, ours, population, np.array([True])).risks[0, :, 0]
    base = design.matrix @ found.x[pieces + 1 :]
    for arm_code in (AGAINST, LEVEL):
        each = risks_by_sum(
            np.exp(found.x[:pieces]), np.exp(base + arm_code * found.x[pieces]), clock.widths
        )
        expected = np.average(each, weights=population[:, 0])
        outside.agrees(
            "hazard model of a practice: risks",
            risks[arm_code],
            expected,
            source=source,
            rel=2e-3,
        )


def test_risks_equal_scikit_learn_where_the_prior_says_nothing(bench, monkeypatch, outside):
    monkeypatch.setattr(module, "PRIOR_SD", 1e3)
    design = Design.of(bench.facts, bench.jobs.sum(axis=0))
    clock = cut(bench)
    record = whole_record(bench, design.width)
    flat = Draw(record.weights, np.zeros((2, 1)), record.prior_rate, record.prior_mean)
    ours = fit_hazards(design, add_up(bench, clock, flat))
    population = bench.jobs.sum(axis=0)[:, None]
    risks = standardise(design, ours, population, np.array([True])).risks[0, :, 0]

    interval, arm, pattern, days, back = on_rows(bench, clock.edges)
    X = design.matrix.toarray()
    intervals = np.eye(len(clock.widths))[interval]
    learnt = PoissonRegressor(alpha=1e-9, fit_intercept=True, tol=1e-10, max_iter=5000)
    learnt.fit(np.column_stack([intervals, arm, X[pattern]]), back / days, sample_weight=days)
    for code in (AGAINST, LEVEL):
        hazard = np.zeros(len(X))
        for k, width in enumerate(clock.widths):
            new = np.column_stack(
                [np.tile(np.eye(len(clock.widths))[k], (len(X), 1)), np.full(len(X), code), X]
            )
            hazard += width * learnt.predict(new)
        expected = np.average(-np.expm1(-hazard), weights=population[:, 0])
        outside.agrees(
            "hazard model without a prior: risks",
            risks[code],
            expected,
            source=f"{SCIKIT_LEARN}; PoissonRegressor on rows",
            rel=1e-5,
        )


def test_parts_add_up_to_all_comebacks_and_days_lost_to_the_area_under_them(bench):
    followup = mixed_bench()
    split = cells_of(followup, COVARIATES, cause="contacts", control=("cord",))
    answer = Estimators(split, "all", (PLAIN, MODEL)).record
    assert answer.risks[MODEL].shape == (3, 2, 1)
    assert split.parts.names == ("contacts", "causes it can't touch", "other causes")

    design = Design.of(split.facts, split.jobs.sum(axis=0))
    clock = cut(split)
    fitted = fit_hazards(design, add_up(split, clock, whole_record(split, design.width)))
    population = split.jobs.sum(axis=0)[:, None]
    found = standardise(design, fitted, population, np.array([True, False, False]))
    # Day by day instead of in closed form: hazards of one day are all but constant inside it.
    steps = 40
    for arm in (AGAINST, LEVEL):
        reached, risk, lost = np.ones(len(population)), np.zeros((3, len(population))), 0.0
        for k, width in enumerate(clock.widths):
            daily = [
                fitted.rates[part][k] * np.exp(design.matrix @ beta[1:, 0] + arm * beta[0, 0])
                for part, beta in enumerate(fitted.beta)
            ]
            for _ in range(int(width * steps)):
                gone = -np.expm1(-sum(daily) / steps)
                lost += np.average(risk[0], weights=population[:, 0]) / steps
                for part, hazard in enumerate(daily):
                    risk[part] += reached * gone * hazard / sum(daily)
                reached = reached * (1 - gone)
        expected = [np.average(each, weights=population[:, 0]) for each in risk]
        assert found.risks[:, arm, 0] == pytest.approx(expected, rel=1e-6)
        everything = np.average(1 - reached, weights=population[:, 0])
        assert found.risks[:, arm, 0].sum() == pytest.approx(everything, rel=1e-9)
        assert found.days_lost[arm, 0] == pytest.approx(lost, rel=2e-3)


def test_doubly_robust_equals_the_plain_augmented_sum_where_everyone_is_followed():
    followup = followed_groups(
        *[
            group(
                jobs,
                practice,
                model=model,
                technician=who,
                back=spread(early, "cord", 60) + spread(late, "seal"),
            )
            for model, who, practice, jobs, early, late in [
                ("old", "Ada", "both", 200, 9, 6),
                ("old", "Ada", "one", 60, 6, 4),
                ("old", "Bo", "both", 80, 3, 2),
                ("old", "Bo", "one", 90, 5, 9),
                ("new", "Ada", "both", 70, 1, 2),
                ("new", "Ada", "one", 150, 4, 5),
                ("new", "Bo", "both", 40, 0, 1),
                ("new", "Bo", "one", 220, 3, 8),
            ]
        ]
    )  # fmt: skip
    cells = cells_of(followup, ("model", "technician"))
    for population in ("all", "not_yet", "done"):
        estimators = Estimators(cells, population, (PLAIN, MODEL, WEIGHTED, ROBUST))
        found = estimators.record.risks[ROBUST][0, :, 0]
        fitted, design = estimators.fits.hazards, estimators.design
        for arm in (AGAINST, LEVEL):
            cumulative = (fitted.rates[0][:, 0] * fitted.widths).sum()
            ratio = np.exp(design.matrix @ fitted.beta[0][1:, 0] + arm * fitted.beta[0][0, 0])
            model = -np.expm1(-cumulative * ratio)
            mine = cells.cell_arm == arm
            back = np.bincount(
                cells.cell_pattern[mine],
                cells.cell_jobs[mine] * (cells.cell_outcome[mine] > 0),
                minlength=cells.pattern_count,
            )
            weight = estimators.weights[arm]
            residual = weight * (back - cells.jobs[arm] * model)
            expected = np.average(model, weights=estimators.pattern_weights)
            expected += residual.sum() / (weight * cells.jobs[arm]).sum()
            # Ends count at the middle of their interval; at 4% that moves risks in the 5th digit.
            assert found[arm] == pytest.approx(expected, rel=5e-3)


def test_every_estimator_finds_the_worked_check():
    # By hand -3.60 points over all jobs; the prior draws the model in by a twentieth.
    cells = cells_of(worked_check(), ("model",))
    names = (PLAIN, MODEL, STRATA, WEIGHTED, ROBUST)
    record = Estimators(cells, "all", names).record.risks
    points = {
        name: float(100 * np.diff(risks.sum(axis=0)[:, 0])[0]) for name, risks in record.items()
    }
    assert points[PLAIN] == pytest.approx(19 / 3.5 - 34 / 6.5, abs=1e-9)
    assert points[MODEL] == pytest.approx(-3.4, abs=0.1)
    assert points[WEIGHTED] == pytest.approx(-3.6, abs=0.05)
    assert points[ROBUST] == pytest.approx(-3.6, abs=0.05)
    drawn = Estimators(cells, "all", names).drawn(600, seed=1).risks[WEIGHTED][0]
    # Standard error by hand: sum over ages of share^2 (p q / n) of both arms, 1.91 points.
    error = np.sqrt(
        0.4**2 * (0.06 * 0.94 / 300 + 0.12 * 0.88 / 100)
        + 0.6**2 * (0.02 * 0.98 / 50 + 0.04 * 0.96 / 550)
    )
    assert error == pytest.approx(0.0191, abs=5e-5)
    assert np.std(drawn[LEVEL] - drawn[AGAINST]) == pytest.approx(error, rel=0.1)


def test_a_level_without_comebacks_has_the_upper_limit_of_jeffreys(outside):
    # 0 of 60 against 6 of 90: one-sided 95% limit of Jeffreys, from Beta(.5, 60.5), 3.2%.
    followup = followed_groups(group(60, "both"), group(90, "one", back=spread(6)))
    drawn = Estimators(cells_of(followup), "all", (PLAIN, MODEL)).drawn(4000, seed=1)
    level = drawn.risks[MODEL][0, LEVEL]
    outside.agrees(
        "no comeback of 60: upper limit",
        np.quantile(level, 0.95),
        stats.beta.ppf(0.95, 0.5, 60.5),
        source=f"{SCIPY}; beta, Jeffreys' prior",
        abs=0.004,
    )
    assert np.isfinite(drawn.risks[MODEL]).all()


def test_draws_have_the_bootstraps_moments_and_keep_units_together():
    cells = cells_of(mixed_bench(), ("model",))
    blocks = list(draws(cells, 1, 3000, 1, 50 * len(cells.cell_jobs)))
    weights = np.concatenate([block.weights for block in blocks], axis=1)
    assert weights.shape == (len(cells.cell_jobs), 3000)
    assert weights.mean(axis=1) == pytest.approx(cells.cell_jobs, rel=0.2)
    often = np.bincount(cells.repeat_cell, minlength=len(cells.cell_jobs))
    alone = often == 0
    assert weights[alone].var(axis=1) == pytest.approx(cells.cell_jobs[alone], rel=0.35)
    # A unit with two jobs in two cells of nothing else: both carry its one weight.
    single = np.flatnonzero((often == 1) & (cells.cell_jobs == 1))
    unit_of = dict(zip(cells.repeat_cell, cells.repeat_unit, strict=True))
    by_unit: dict[int, list[int]] = {}
    for cell in single:
        by_unit.setdefault(unit_of[cell], []).append(cell)
    together = [found for found in by_unit.values() if len(found) > 1]
    assert together
    for first, second, *_ in together:
        assert (weights[first] == weights[second]).all()


def test_draws_refit_to_the_same_place_as_a_fit_of_their_own(bench):
    design = Design.of(bench.facts, bench.jobs.sum(axis=0))
    clock = cut(bench)
    start = fit_hazards(design, add_up(bench, clock, whole_record(bench, design.width)))
    block = next(draws(bench, design.width, 20, 1, 1))
    together = fit_hazards(design, add_up(bench, clock, block), start)
    population = bench.jobs.sum(axis=0)[:, None] * np.ones(20)
    risks = standardise(design, together, population, np.array([True])).risks[0]
    spread = (risks[LEVEL] - risks[AGAINST]).std()
    for b in range(20):
        one = Draw(
            block.weights[:, [b]],
            block.prior_events[:, [b]],
            block.prior_rate[[b]],
            block.prior_mean[:, [b]],
        )
        alone = fit_hazards(design, add_up(bench, clock, one))
        own = standardise(design, alone, population[:, [b]], np.array([True])).risks[0, :, 0]
        # The draws stop within a hundredth of a standard error of the maximum.
        assert risks[:, b] == pytest.approx(own, abs=0.01 * spread)


def test_the_shape_of_the_prior():
    tau = np.linspace(-30, 30, 200_001)
    density = np.sqrt(special.expit(tau) * special.expit(-tau))
    density /= density.sum()
    inside = density[(np.exp(tau) > 1 / 648) & (np.exp(tau) < 648)].sum()
    assert inside == pytest.approx(0.95, abs=1e-3)
