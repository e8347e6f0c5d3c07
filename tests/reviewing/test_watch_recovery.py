"""How often the watch sounds in vain, and what it finds, on seeded shops (on demand).

``STAYSFIXED_SHOPS`` sets how many shops (-m study; 137 quiet shops are 300 shop-years).
"""

from __future__ import annotations

import os

import numpy as np
import pandas as pd
import pytest
from watched import attended, bad_lot, followed

from insights.reviewing.watch import watch
from synthetic.presets import lot_shop, null_shop, slip_shop

SHOPS = int(os.environ.get("STAYSFIXED_SHOPS", "24"))
TABLE = "The watch on invented shops"


@pytest.mark.study
def test_false_alarms_are_as_stated(measured):
    kept: dict[str, float] = {}
    counts, years = [], 0.0
    for seed in range(1, SHOPS + 1):
        signals = attended(followed(null_shop(seed=seed)), kept)
        counts.append(len(signals.table))
        years += (signals.data_date - signals.watched_from).days / 365.25
    rate = sum(counts) / years
    error = np.std(counts) * np.sqrt(len(counts)) / years
    measured.row(
        TABLE,
        what="false alarms a year, 1 stated, all charts together",
        shops=SHOPS,
        shop_years=round(years),
        found=round(rate, 3),
        standard_error=round(float(error), 3),
    )
    assert abs(rate - 1) < 0.25 + 2 * error * (SHOPS < 137)


@pytest.mark.study
def test_a_lot_that_fails_three_times_as_often_is_found(measured):
    kept: dict[str, float] = {}
    needed, days = [], []
    for seed in range(1, SHOPS + 1):
        scenario = lot_shop(seed=seed)
        found = watch(followed(scenario), kept=kept).table
        rows = found[found["chart"] == bad_lot(scenario)]
        if len(rows):
            needed.append(rows["seen"].iloc[-1])
            days.append((rows["signalled_on"].iloc[-1] - rows["began_on"].iloc[-1]).days)
    share = len(needed) / SHOPS
    measured.row(
        TABLE,
        what="a lot of 150 units, hazard trebled",
        shops=SHOPS,
        found=round(share, 3),
        comebacks_needed_median=float(np.median(needed)),
        days_from_first_hand_back_median=float(np.median(days)),
    )
    assert share >= 0.8


@pytest.mark.study
def test_a_slipped_habit_is_found_while_it_lasts(measured):
    kept: dict[str, float] = {}
    found_after = []
    for seed in range(1, SHOPS + 1):
        scenario = slip_shop(seed=seed)
        (slip,) = scenario.slips
        start = pd.Timestamp(slip.first_day)
        found = watch(followed(scenario), kept=kept).table
        when = found.loc[found["chart"] == "habit switch=everyone", "signalled_on"]
        when = when[(when >= start) & (when < start + pd.Timedelta(days=slip.days))]
        if len(when):
            found_after.append((when.min() - start).days)
    share = len(found_after) / SHOPS
    measured.row(
        TABLE,
        what="a habit left for 61 days",
        shops=SHOPS,
        found=round(share, 3),
        days_needed_median=float(np.median(found_after)),
    )
    assert share >= 0.5
