"""How fast the comparison is, beside the same work done plainly on rows with libraries."""

from __future__ import annotations

import time

import numpy as np
import pandas as pd
import pytest
from lifelines import KaplanMeierFitter
from sklearn.linear_model import LogisticRegression

from insights.evidence.practice import compare_practice
from insights.followup import Followup, follow_up
from insights.history.units import Links
from synthetic.generate import generate
from synthetic.presets import practice_shop

pytestmark = pytest.mark.bench

FACTS = ("model", "technician", "age_band", "condition", "root_cause", "year")
DAY, PIECES, PLAIN_REFITS = 180, 6, 2


def shop(jobs: int) -> Followup:
    history, truth = generate(practice_shop(jobs=jobs, seed=1))
    links = Links(truth.unit_of_job, pd.DataFrame())
    return follow_up(history, data_date=truth.data_date, links=links)


def refit_on_rows(followup: Followup, random: np.random.Generator) -> float:
    """Resample rows, refit chances, hazards and weighted curves with the libraries; difference."""
    rows = random.integers(0, followup.job_count, followup.job_count)
    facts = pd.DataFrame({name: followup.values(name) for name in FACTS}).take(rows)
    X = pd.get_dummies(facts).to_numpy(float)
    arm = (followup.values("practice_contact_pair") == "both").to_numpy()[rows]
    days = np.minimum(followup.episodes["days"].to_numpy()[rows], DAY)
    back = (followup.episodes["end"] == "return").to_numpy()[rows]
    back &= followup.episodes["days"].to_numpy()[rows] <= DAY
    chance = LogisticRegression(C=2.25, max_iter=200).fit(X, arm).predict_proba(X)[:, 1]
    weight = np.where(arm, (1 - chance) / chance, 1.0)
    width = DAY / PIECES
    at_risk = np.clip(days[:, None] - width * np.arange(PIECES), 0, width)
    row, piece = np.nonzero(at_risk)
    ended = back[row] & (np.ceil(days[row] / width) - 1 == piece)
    long = np.column_stack([np.eye(PIECES)[piece], arm[row], X[row]])
    model = LogisticRegression(C=2.25, max_iter=200).fit(long, ended)
    risks = []
    for code in (0, 1):
        staying = np.ones(len(X))
        for k in range(PIECES):
            pieces = np.tile(np.eye(PIECES)[k], (len(X), 1))
            ahead = np.column_stack([pieces, np.full(len(X), code), X])
            staying *= 1 - model.predict_proba(ahead)[:, 1]
        risks.append(1 - staying[~arm].mean())
    for code in (False, True):
        mine = arm == code
        KaplanMeierFitter().fit(days[mine], back[mine], weights=weight[mine])
    return risks[1] - risks[0]


@pytest.mark.filterwarnings("ignore:It looks like your weights are not integers")
def test_a_hundred_thousand_jobs(benchmark, measured):
    followup = shop(100_000)
    found = benchmark.pedantic(
        compare_practice, (followup, "contact_pair"), rounds=3, warmup_rounds=1
    )
    began = time.perf_counter()
    random = np.random.default_rng(1)
    plain = [refit_on_rows(followup, random) for _ in range(PLAIN_REFITS)]
    seconds = (time.perf_counter() - began) / PLAIN_REFITS * 200
    ratio = seconds / benchmark.stats.stats.min
    measured.seconds(
        "a practice, 200 refits",
        benchmark,
        jobs=100_000,
        libraries_on_rows_seconds=round(seconds),
        times_as_fast=round(ratio),
    )
    print(
        f"\n100,000 jobs, 200 refits: {benchmark.stats.stats.min:.2f} s; on rows with libraries "
        f"{seconds:.0f} s (from {PLAIN_REFITS} refits): {ratio:.0f} times"
    )
    assert np.mean(plain) == pytest.approx(found.adjusted.difference, abs=0.005)


def test_a_million_jobs(benchmark, measured):
    followup = shop(1_000_000)
    benchmark.pedantic(compare_practice, (followup, "contact_pair"), rounds=1)
    measured.seconds("a practice, 200 refits", benchmark, jobs=1_000_000)
    print(f"\n1,000,000 jobs, 200 refits: {benchmark.stats.stats.min:.2f} s")
