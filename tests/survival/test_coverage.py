"""Do 95% bounds hold the truth? Five hundred seeded shops a cell, on demand (-m slow)."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from small_tables import stretches_of

from insights.followup import Followup, follow_up
from insights.history.units import Links
from insights.survival.curves import return_curves
from insights.survival.intervals import mean_bounds
from insights.survival.service import mean_returns
from synthetic.generate import generate
from synthetic.presets import simple_shop

SHOPS = 500
DAY = 180
SHAPE = 0.8


def shop(seed: int, jobs: int, risk: float) -> Followup:
    """Hand back over two years; truly ``1 - (1 - risk) ** ((t / 180) ** .8)`` are back by t."""
    history, truth = generate(simple_shop(risk, jobs, seed, shape=SHAPE))
    links = Links(truth.unit_of_job, pd.DataFrame())
    return follow_up(history, data_date=truth.data_date, links=links)


def lost_days(risk: float, until: float) -> float:
    """Integrate the true share, which rises day by day, from day 0 to ``until``."""
    day = np.arange(1, int(until))
    return float(-np.expm1(np.log1p(-risk) * (day / DAY) ** SHAPE).sum())


@pytest.mark.slow
@pytest.mark.parametrize("jobs", [40, 150, 600])
@pytest.mark.parametrize("risk", [0.01, 0.03, 0.08])
def test_bounds_of_the_180_day_share_and_of_the_mean_hold_the_truth(risk, jobs, measured):
    held = mean_held = above = below = 0
    for seed in range(SHOPS):
        curves = return_curves(shop(seed, jobs, risk), at=(DAY,))
        at, group = curves.at.iloc[0], curves.groups.iloc[0]
        held += int(at["low"] <= risk <= at["high"])
        above += int(at["low"] > risk)
        below += int(at["high"] < risk)
        until = group["restricted_to_days"]
        truth = until - lost_days(risk, until)
        mean_held += int(group["restricted_mean_low"] <= truth <= group["restricted_mean_high"])
    measured.row(
        "95% bounds of the 180-day share",
        risk_share=risk,
        jobs=jobs,
        shops=SHOPS,
        held_share=held / SHOPS,
        above_truth_share=above / SHOPS,
        below_truth_share=below / SHOPS,
        mean_held_share=mean_held / SHOPS,
    )
    assert held + above + below == SHOPS
    assert 0.93 <= held / SHOPS <= 0.99
    assert 0.93 <= mean_held / SHOPS <= 0.995


@pytest.mark.slow
@pytest.mark.parametrize(("units", "yearly"), [(100, 0.05), (500, 0.05), (500, 0.5)])
def test_bounds_of_mean_returns_hold_the_truth_where_units_differ(units, yearly, measured):
    # Each unit has its own constant rate, gamma with variance of its square: some come again
    # and again. Counting returns as independent would be too sure of itself.
    errors, means, held = [], [], 0
    for seed in range(SHOPS):
        draw = np.random.default_rng(seed)
        rate = yearly * draw.gamma(1.0, 1.0, units)
        years = draw.uniform(0.5, 2.0, units)
        record = [
            (sorted(draw.uniform(0, end * 365, draw.poisson(each * end))), end * 365)
            for each, end in zip(rate, years, strict=True)
        ]
        curve, variance = mean_returns(stretches_of(record))
        place = curve.place(365)
        mean, spread = curve.share[[place]], variance[[place]]
        low, high = mean_bounds(mean, spread, np.array([float(units)]), np.ones(1))
        held += int(low[0] <= yearly <= high[0])
        means.append(mean[0])
        errors.append(np.sqrt(spread[0]))
    ratio = np.mean(errors) / np.std(means)
    measured.row(
        "95% bounds of mean returns per unit, where units differ",
        units=units,
        returns_a_year=yearly,
        shops=SHOPS,
        held_share=held / SHOPS,
        error_of_true=ratio,
    )
    assert 0.93 <= held / SHOPS <= 0.99
    assert ratio == pytest.approx(1, abs=0.1)
