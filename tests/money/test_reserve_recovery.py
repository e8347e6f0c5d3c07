"""Reserves on invented shops: how often what came lay inside, and how fast."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from insights.followup import follow_up
from insights.history.asof import known_then
from insights.history.units import Links
from insights.money.backtest import backtest
from insights.money.reserve import reserve
from synthetic import presets
from synthetic.generate import generate

TERM_DAYS = 180
STAND_AT = 536


def stands(shop: int, jobs: int) -> tuple[bool, bool, bool]:
    """Reserve in the middle of a shop's time; was it enough, with and without what is unsure?"""
    scenario = presets.simple_shop(0.04, jobs, shop, days=730, term_days=TERM_DAYS)
    history, truth = generate(scenario)
    day = truth.data_date - pd.Timedelta(days=730 - STAND_AT)
    known = known_then(history, day)
    links = Links(truth.unit_of_job[known.rows], pd.DataFrame())
    held = reserve(
        follow_up(known.history, data_date=day, links=links), claim_cost=30, size=500, seed=shop
    )
    now = follow_up(
        history, data_date=truth.data_date, links=Links(truth.unit_of_job, pd.DataFrame())
    )
    handed_back = history.jobs["handed_back"].take(now.episodes["job"]).to_numpy()
    back = (now.episodes["end"] == "return").to_numpy()
    visit = history.jobs.take(now.episodes["return_job"])
    arrived = visit["received"].to_numpy()
    # Owed is what fails inside the term; some of what fails just after it arrives in the grace.
    owed = (visit["notified"].to_numpy() - handed_back) / np.timedelta64(1, "D") <= TERM_DAYS
    open_then = (handed_back <= day.to_datetime64()) & (arrived > day.to_datetime64())
    came = int((back & owed & open_then).sum())
    count = held.claims
    return (
        count.low <= came <= count.high,
        count.plug_in_low <= came <= count.plug_in_high,
        30 * came <= held.p90,
    )


@pytest.mark.slow
@pytest.mark.parametrize("jobs", [300, 2000])
def test_what_comes_lies_inside(jobs, measured):
    results = np.array([stands(shop, jobs) for shop in range(300)])
    covered, plug_in, enough = results.mean(axis=0)
    measured.row(
        "Reserve: 90% interval of the claims still to come",
        past_jobs=jobs,
        shops=300,
        covered_share=covered,
        plug_in_covered_share=plug_in,
        money_90th_percentile_enough_share=enough,
    )
    # Whole counts cover a little more than stated; 300 shops: standard error 1.7 points.
    assert 0.86 <= covered <= 0.98
    assert plug_in < covered
    assert 0.86 <= enough <= 0.97


@pytest.fixture(scope="module")
def hundred_thousand():
    history, truth = generate(presets.simple_shop(0.04, 100_000, 1, days=1460))
    return follow_up(
        history, data_date=truth.data_date, links=Links(truth.unit_of_job, pd.DataFrame())
    )


@pytest.mark.bench
def test_speed_of_a_reserve(benchmark, hundred_thousand, measured):
    held = benchmark.pedantic(lambda: reserve(hundred_thousand, claim_cost=30), rounds=3)
    measured.seconds("a reserve", benchmark, jobs=100_000)
    assert held.jobs > 20_000


@pytest.mark.bench
def test_speed_of_a_backtest(benchmark, measured):
    history, truth = generate(presets.cafe_workshop())
    followup = follow_up(history, data_date=truth.data_date)
    result = benchmark.pedantic(lambda: backtest(followup), rounds=2)
    measured.seconds("backtest of the invented workshop's ten years", benchmark)
    assert len(result.scores) == 4
