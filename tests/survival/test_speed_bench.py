"""Speed on a million jobs, against lifelines on rows in the same run (-m bench -s)."""

from __future__ import annotations

import time

import lifelines
import numpy as np
import pandas as pd
import pytest
from lifelines.statistics import multivariate_logrank_test

from insights.followup import Followup, follow_up
from insights.history.schema import History, to_schema
from insights.history.units import Links
from insights.survival.causes import cause_curves
from insights.survival.curves import return_curves

JOBS = 1_000_000
CAUSES = {
    "contacts": 0.35,
    "cord": 0.25,
    "element": 0.2,
    "seal": 0.12,
    "switch": 0.07,
    "thermostat": 0.01,
}
PRACTICE = "practice_descale"


def million_jobs() -> tuple[History, Links]:
    """Nine in ten units come once; the others a second time, for one of six causes."""
    draw = np.random.default_rng(20)
    first = JOBS * 9 // 10
    again = JOBS - first
    one_day = np.timedelta64(1, "D")
    received = np.datetime64("2018-01-01", "ns") + draw.integers(0, 2500, first) * one_day
    unit = draw.choice(first, again, replace=False)
    later = received[unit] + (4 + draw.integers(0, 500, again)) * one_day
    jobs = pd.DataFrame({"received": np.append(received, later)})
    jobs["handed_back"] = jobs["received"] + draw.integers(0, 4, JOBS) * one_day
    jobs["job_id"] = np.arange(JOBS).astype(str)
    jobs["model"] = draw.choice(["boiler", "grill", "mill", "steamer"], JOBS)
    jobs["root_cause"] = draw.choice(list(CAUSES), JOBS, p=list(CAUSES.values()))
    jobs["term_days"] = draw.choice([90, 180, 365], JOBS)
    jobs[PRACTICE] = draw.choice(["both", "left", "one", "two"], JOBS)
    links = Links(np.append(np.arange(first), unit), pd.DataFrame())
    return History(to_schema(jobs)), links


@pytest.fixture(scope="module")
def shop() -> tuple[History, Links]:
    return million_jobs()


@pytest.fixture(scope="module")
def followup(shop) -> Followup:
    history, links = shop
    return follow_up(history, links=links)


def on_rows(followup: Followup) -> None:
    """Do the same with lifelines: four curves, their test, and six causes each, with variance.

    It moves tied days apart at random where a day saw a single return of one cause, as a record
    with a rare cause has, and then works through every return; that is most of its time.
    """
    episodes = followup.episodes
    days, cause = episodes["days"].to_numpy(), episodes["cause"].cat.codes.to_numpy() + 1
    group = followup.values(PRACTICE).cat.codes.to_numpy()
    multivariate_logrank_test(days, group, cause > 0)
    for code in range(4):
        own_days, own_cause = days[group == code], cause[group == code]
        lifelines.KaplanMeierFitter().fit(own_days, own_cause > 0)
        for root in range(1, 1 + len(CAUSES)):
            lifelines.AalenJohansenFitter(seed=0).fit(own_days, own_cause, event_of_interest=root)


@pytest.mark.bench
def test_follow_up_curves_and_causes(benchmark, shop, measured):
    history, links = shop

    def everything() -> None:
        cause_curves(follow_up(history, links=links), PRACTICE)

    benchmark.pedantic(everything, rounds=5, warmup_rounds=1)
    measured.seconds("follow-up, curves and causes of 4 groups", benchmark, jobs=JOBS)


@pytest.mark.bench
def test_curves(benchmark, followup, measured):
    benchmark.pedantic(return_curves, (followup, PRACTICE), rounds=5, warmup_rounds=1)
    measured.seconds("curves of 4 groups", benchmark, jobs=JOBS)


@pytest.mark.bench
@pytest.mark.filterwarnings("ignore:Tied event times")
def test_curves_and_causes_against_rows(benchmark, followup, measured):
    benchmark.pedantic(cause_curves, (followup, PRACTICE), rounds=5, warmup_rounds=1)
    start = time.perf_counter()
    on_rows(followup)
    rows_seconds = time.perf_counter() - start
    ratio = rows_seconds / benchmark.stats.stats.median
    measured.seconds(
        "curves and causes of 4 groups",
        benchmark,
        jobs=JOBS,
        lifelines_on_rows_seconds=float(f"{rows_seconds:.3g}"),
        times_as_fast=round(ratio),
    )
    print(f"\nlifelines on rows {rows_seconds:.1f} s, ours on counts {ratio:.0f} times as fast")
