"""Chances, weights and weighted shares against published values, hand work and libraries."""

from __future__ import annotations

import causaldata
import numpy as np
import pandas as pd
import pytest
from benches import cells_of, followed_groups, group, mixed_bench, worked_check
from lifelines import KaplanMeierFitter
from lifelines.datasets import load_lung
from sklearn.linear_model import LogisticRegression
from sources import LIFELINES, R_SURVIVAL, SCIKIT_LEARN

from insights.evidence.balance import balance_table, effective_jobs, incomparable, overlap_of
from insights.evidence.compared import AGAINST, LEVEL, Compared, Parts
from insights.evidence.fitting import Design
from insights.evidence.propensity import (
    chances,
    fit_propensity,
    job_weights,
    population_weights,
)
from insights.evidence.weighting import line_up, strata_of, stratified_shares, weighted_shares
from insights.survival.causes import cause_curves

FLAT = 1e4
"""Standard deviation of a prior that says nothing."""


def dense(*columns: np.ndarray) -> Design:
    """Make a design of numeric columns, each standardised."""
    entries = np.column_stack([(column - column.mean()) / column.std() for column in columns])
    width = entries.shape[1]
    return Design(np.tile(np.arange(width), (len(entries), 1)), entries, width)


def one_each(arm: np.ndarray) -> np.ndarray:
    """Count one job a pattern, shape (2, P, 1)."""
    return np.stack([arm == AGAINST, arm == LEVEL])[..., None].astype(float)


def test_weights_of_the_smoking_study_match_the_book(outside):
    # Printed are weights from 1.054 to 16.7, mean 1.996, sd 1.475; effect 3.441 kg; plain 2.541.
    source = (
        "Hernán and Robins, Causal Inference: What If; programs 12.1 and 12.2 (NHEFS, 1566 people)"
    )
    people = causaldata.nhefs.load_pandas().data.dropna(subset=["wt82"])
    numeric = [
        people[name].to_numpy(float) for name in ("age", "smokeintensity", "smokeyrs", "wt71")
    ]
    levels = [
        (people[name] == str(level)).to_numpy(float)
        for name, some in (("education", (2, 3, 4, 5)), ("exercise", (1, 2)), ("active", (1, 2)))
        for level in some
    ]
    binary = [people[name].to_numpy(float) for name in ("sex", "race")]
    design = dense(*numeric, *[column**2 for column in numeric], *levels, *binary)
    arm = people["qsmk"].to_numpy(int)
    chance = chances(design, fit_propensity(design, one_each(arm), prior_sd=FLAT))
    weights = job_weights("all", chance)[..., 0]
    own = weights[arm, np.arange(len(arm))]
    assert len(people) == 1566
    gain = people["wt82_71"].to_numpy(float)
    means = [np.average(gain[arm == a], weights=own[arm == a]) for a in (AGAINST, LEVEL)]
    effect, spread = means[LEVEL] - means[AGAINST], own.std(ddof=1)
    for what, ours, theirs in (
        ("least and largest weight", [own.min(), own.max()], [1.05374163, 16.7000944]),
        ("mean and spread of weights", [own.mean(), spread], [1.99628406, 1.47478698]),
        ("effect, kg", effect, 3.44053543),
    ):
        outside.agrees(f"smoking study: {what}", ours, theirs, source=source, rel=1e-5)


def lung_cells() -> tuple[Compared, Design]:
    lung = load_lung()
    arm = (lung["sex"] == 2).to_numpy(int)
    parts = Parts(("death",), np.zeros(1, int), np.array([True]), np.array([False]))
    rows = len(lung)
    cells = Compared(
        day=1e9,
        facts=pd.DataFrame(index=range(rows)),
        cell_arm=arm,
        cell_pattern=np.arange(rows),
        cell_day=lung["time"].to_numpy(float),
        cell_outcome=lung["status"].to_numpy(int),
        cell_jobs=np.ones(rows),
        parts=parts,
        repeat_unit=np.empty(0, int),
        repeat_cell=np.empty(0, int),
    )
    return cells, dense(lung["age"].to_numpy(float))


def test_weighted_shares_of_the_lung_cancer_record_match_r(outside):
    # Weights from a logistic regression of sex on age.
    source = f"{R_SURVIVAL}; weighted survfit (R 4.2.2), lung of Loprinzi et al. 1994"
    cells, design = lung_cells()
    chance = chances(design, fit_propensity(design, one_each(cells.cell_arm), prior_sd=FLAT))
    weights = job_weights("all", chance)[..., 0]
    own = weights[cells.cell_arm, cells.cell_pattern]
    weight, expected = [own.sum(), own.min(), own.max()], [455.830124, 1.37705767, 3.30900029]
    outside.agrees("lung, weights: sum, least, most", weight, expected, source=source, rel=1e-4)
    male = (0.650664138, 0.341297282, 0.081334805)
    female = (0.840967344, 0.526721761, 0.181368537)
    for day, *expected in zip((180, 365, 730), male, female, strict=True):
        stopped = cells.cell_day > day
        until = Compared(
            **{
                **vars(cells),
                "cell_day": np.minimum(cells.cell_day, day),
                "cell_outcome": np.where(stopped, 0, cells.cell_outcome),
            }
        )
        shares = weighted_shares(line_up(until, until.cell_arm, 2), own[:, None])
        free = 1 - shares[0, :, 0]
        outside.agrees("lung, weighted shares", free, expected, source=source, rel=1e-4)


def test_weighted_shares_equal_lifelines_on_rows(outside):
    cells = cells_of(mixed_bench(), ("model", "technician"))
    random = np.random.default_rng(3)
    weight = random.uniform(0.2, 3, (2, cells.pattern_count))
    own = (cells.cell_jobs * weight[cells.cell_arm, cells.cell_pattern])[:, None]
    ours = weighted_shares(line_up(cells, cells.cell_arm, 2), own).sum(axis=0)[:, 0]
    for arm in (AGAINST, LEVEL):
        mine = cells.cell_arm == arm
        fitter = KaplanMeierFitter()
        with pytest.warns(Warning, match="weights"):
            fitter.fit(cells.cell_day[mine], cells.cell_outcome[mine] > 0, weights=own[mine, 0])
        theirs = 1 - fitter.predict(180)
        outside.agrees("weighted shares", ours[arm], theirs, source=LIFELINES, rel=1e-9)


def test_plain_shares_equal_the_curves_of_the_record():
    followup = mixed_bench()
    cells = cells_of(followup, cause="contacts", control=("cord",))
    ours = weighted_shares(line_up(cells, cells.cell_arm, 2), cells.cell_jobs[:, None])[..., 0]
    curves = cause_curves(followup, "practice_pair", at=(180,)).at
    for arm, level in enumerate(("one", "both")):
        by_cause = curves[curves["group"] == level].set_index("cause")["share"]
        expected = [by_cause[name] for name in ("contacts", "cord", "seal")]
        assert ours[:, arm] == pytest.approx(expected, rel=1e-9)


def test_shares_by_cause_worked_by_hand():
    # 500 jobs, 450 still followed after day 100, (target, other) comebacks (4, 6) then (3, 5);
    # against 500, 440 still followed, (12, 6) then (9, 5). By hand: target .008 + .98 x 3/450 and
    # .024 + .964 x 9/440, so -2.918 points; others -0.007 points; together -2.925.
    cells = cells_of(
        followed_groups(
            group(
                500,
                "both",
                back=[(50, "contacts", 4), (50, "cord", 6), (150, "contacts", 3), (150, "cord", 5)],
                left=[(100, 40)],
            ),
            group(
                500,
                "one",
                back=[
                    (50, "contacts", 12),
                    (50, "cord", 6),
                    (150, "contacts", 9),
                    (150, "cord", 5),
                ],
                left=[(100, 42)],
            ),
        ),
        cause="contacts",
    )
    shares = weighted_shares(line_up(cells, cells.cell_arm, 2), cells.cell_jobs[:, None])[..., 0]
    difference = 100 * (shares[:, LEVEL] - shares[:, AGAINST])
    assert difference == pytest.approx([-2.9185, -0.0066], abs=1e-4)
    assert difference.sum() == pytest.approx(-2.9251, abs=1e-4)


# Worked by hand from 18/300 and 12/100 old, 1/50 and 22/550 new: -6 and -2 points by age.
@pytest.mark.parametrize(
    ("population", "points"),
    [
        ("all", -(0.4 * 6 + 0.6 * 2)),
        ("done", -(300 * 6 + 50 * 2) / 350),
        ("not_yet", -(100 * 6 + 550 * 2) / 650),
        ("comparable", -(75 * 6 + 550 / 12 * 2) / (75 + 550 / 12)),
    ],
)
def test_every_population_of_the_worked_check(population, points):
    cells = cells_of(worked_check(), ("model",))
    design = Design.of(cells.facts, cells.jobs.sum(axis=0))
    chance = chances(design, fit_propensity(design, cells.jobs[..., None], prior_sd=FLAT))
    weights = job_weights(population, chance)
    own = cells.cell_jobs[:, None] * weights[cells.cell_arm, cells.cell_pattern]
    shares = weighted_shares(line_up(cells, cells.cell_arm, 2), own)[0, :, 0]
    assert 100 * (shares[LEVEL] - shares[AGAINST]) == pytest.approx(points, abs=1e-4)

    counted = population_weights(population, cells.jobs[..., None], chance)
    stratum = strata_of(chance[:, 0], counted[:, 0], 2)
    by_stratum = line_up(cells, cells.cell_arm * 2 + stratum[cells.cell_pattern], 4)
    shares = stratified_shares(by_stratum, cells.cell_jobs[:, None], stratum, counted)[0, :, 0]
    assert 100 * (shares[LEVEL] - shares[AGAINST]) == pytest.approx(points, abs=1e-4)


def test_effective_jobs_of_the_worked_check():
    # (sum w)^2 / sum w^2 of inverse-probability weights: by hand 1000^2 / (300 (4/3)^2 + 50 12^2)
    # = 129.3 and 1000^2 / (100 4^2 + 550 (12/11)^2) = 443.5... of 650.
    cells = cells_of(worked_check(), ("model",))
    design = Design.of(cells.facts, cells.jobs.sum(axis=0))
    chance = chances(design, fit_propensity(design, cells.jobs[..., None], prior_sd=FLAT))
    weights = job_weights("all", chance)[..., 0]
    found = overlap_of(cells.jobs, weights, chance[:, 0], cells.jobs.sum(axis=0))
    assert found.effective_jobs_level == pytest.approx(
        1000**2 / (300 * (4 / 3) ** 2 + 50 * 12**2), rel=1e-6
    )
    assert found.effective_jobs_against == pytest.approx(
        1000**2 / (100 * 4**2 + 550 * (12 / 11) ** 2), rel=1e-6
    )
    assert round(found.effective_jobs_level) == 129
    assert round(found.effective_jobs_against) == 444
    assert found.share_outside == 0


def test_balance_before_and_after_by_hand():
    cells = cells_of(worked_check(), ("model",))
    design = Design.of(cells.facts, cells.jobs.sum(axis=0))
    chance = chances(design, fit_propensity(design, cells.jobs[..., None], prior_sd=FLAT))
    table = balance_table(cells.facts, cells.jobs, job_weights("all", chance)[..., 0])
    old = table[table["value"] == "old"].iloc[0]
    level, against = 300 / 350, 100 / 650
    spread = np.sqrt((level * (1 - level) + against * (1 - against)) / 2)
    assert old["before"] == pytest.approx((level - against) / spread, rel=1e-9)
    assert old["share_level"] == pytest.approx(level)
    assert old["after"] == pytest.approx(0, abs=1e-6)


def test_overlap_weights_balance_every_covariate_exactly():
    # Li, Morgan and Zaslavsky 2018, theorem 3: a logistic model fitted by maximum likelihood.
    cells = cells_of(mixed_bench(600), ("model", "technician", "age_band", "condition"))
    design = Design.of(cells.facts, cells.jobs.sum(axis=0))
    chance = chances(design, fit_propensity(design, cells.jobs[..., None], prior_sd=100.0))
    table = balance_table(cells.facts, cells.jobs, job_weights("comparable", chance)[..., 0])
    assert table["before"].abs().max() > 0.3
    assert table["after"].abs().max() < 1e-3


def test_chances_equal_scikit_learn_on_rows(outside):
    cells = cells_of(mixed_bench(), ("model", "technician", "condition"))
    design = Design.of(cells.facts, cells.jobs.sum(axis=0))
    ours = chances(design, fit_propensity(design, cells.jobs[..., None]))[:, 0]
    X = np.tile(design.matrix.toarray(), (2, 1))
    y = np.repeat([AGAINST, LEVEL], cells.pattern_count)
    # C = 1.5^2: the inverse of the penalty is the variance of the Normal prior.
    theirs = LogisticRegression(C=2.25, tol=1e-10, max_iter=10_000)
    theirs.fit(X, y, sample_weight=cells.jobs.ravel())
    expected = theirs.predict_proba(X[: cells.pattern_count])[:, 1]
    source = f"{SCIKIT_LEARN}; LogisticRegression on rows"
    outside.agrees("chances of a practice", ours, expected, source=source, abs=1e-5)


def test_the_always_and_the_never():
    followup = followed_groups(
        group(40, "both", technician="Ada", back=[(9, "cord", 1)]),
        group(30, "one", technician="Bo"),
        group(20, "both", technician="Cleo"),
        group(20, "one", technician="Cleo"),
    )
    cells = cells_of(followup, ("technician",))
    found = incomparable(cells.facts, cells.jobs)
    assert found.to_dict("records") == [
        {"covariate": "technician", "value": "Ada", "jobs": 40, "share_level": 1.0},
        {"covariate": "technician", "value": "Bo", "jobs": 30, "share_level": 0.0},
    ]


def test_equal_weights_are_worth_every_job():
    assert effective_jobs(np.array([2.0, 2.0]), np.array([3, 4])) == pytest.approx(7)
    assert effective_jobs(np.array([1.0, 0.0]), np.array([3, 4])) == pytest.approx(3)
