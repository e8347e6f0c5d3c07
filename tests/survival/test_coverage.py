"""Do 95% bounds hold the truth? Five hundred seeded shops a cell, on demand (-m slow)."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from insights.followup import Followup, follow_up
from insights.history.schema import History, to_schema
from insights.history.units import Links
from insights.survival.curves import return_curves

SHOPS = 500
DAY = 180
OPENED, DATA_DATE = np.datetime64("2024-01-01"), np.datetime64("2025-12-31")
BENCH_DAYS = 3
SHAPE = 0.7  # comebacks are likeliest early
VISITS = 6


def shop(seed: int, units: int, risk: float) -> Followup:
    """Hand units back over two years; each comeback is repaired and starts anew.

    Whole days to a comeback are a Weibull time rounded up, so exactly ``risk`` of all
    hand-backs would be back by day 180.
    """
    draw = np.random.default_rng(seed)
    scale = DAY / (-np.log1p(-risk)) ** (1 / SHAPE)
    period = int((DATA_DATE - OPENED).astype(int))
    out = OPENED + draw.integers(0, period, units)
    unit = np.arange(units)
    visits = []
    for _ in range(VISITS):
        visits.append(
            pd.DataFrame({"unit": unit, "received": out - BENCH_DAYS, "handed_back": out})
        )
        days = np.maximum(np.ceil(scale * draw.weibull(SHAPE, len(unit))), 1).astype(int)
        again = out + days + BENCH_DAYS
        back = again <= DATA_DATE
        out, unit = again[back], unit[back]
    assert len(unit) == 0
    jobs = pd.concat(visits, ignore_index=True)
    link = Links(jobs.pop("unit").to_numpy(), pd.DataFrame())
    jobs["job_id"], jobs["model"] = jobs.index.astype(str), "boiler"
    return follow_up(History(to_schema(jobs)), data_date=pd.Timestamp(DATA_DATE), links=link)


@pytest.mark.slow
@pytest.mark.parametrize("jobs", [40, 150, 600])
@pytest.mark.parametrize("risk", [0.01, 0.03, 0.08])
def test_bounds_of_the_180_day_share_hold_the_truth(risk, jobs):
    held = stated = above = below = 0
    for seed in range(SHOPS):
        at = return_curves(shop(seed, jobs, risk), at=(DAY,)).at.iloc[0]
        stated += int(at["share"] == at["share"])
        held += int(at["low"] <= risk <= at["high"])
        above += int(at["low"] > risk)
        below += int(at["high"] < risk)
    print(f"risk {risk:.0%}, {jobs} jobs: {held / stated:.1%} held ({above} above, {below} below)")
    assert stated == SHOPS
    assert 0.93 <= held / stated <= 0.99
