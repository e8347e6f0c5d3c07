"""Months of hand-back as they age, and this year beside last."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from shop import fleet, followed

from insights.reviewing.cohorts import LAST_YEAR, THIS_YEAR, cohorts, year_on_year
from insights.survival.curves import return_curves

RULES = {"follow": "all", "count": "all"}


def handed_back(day: str, size: int, back: tuple[int, ...], tag: str) -> list[dict]:
    """Hand back so many units on a day; some come back after the days given."""
    moved = pd.Timestamp(day) - pd.Timestamp("2026-01-01")
    rows = fleet(size, back, model=tag)
    for row in rows:
        row["model"] = "boiler"
        for name in ("received", "handed_back"):
            if name in row:
                row[name] = pd.Timestamp(row[name]) + moved
    return rows


@pytest.fixture(scope="module")
def two_years():
    return followed(
        *handed_back("2025-02-10", 40, (15, 45, 100), "a"),
        *handed_back("2025-05-10", 30, (20,), "b"),
        *handed_back("2026-02-10", 50, (50,), "c"),
        *handed_back("2026-12-20", 20, (), "d"),
        data_date="2026-12-31",
        **RULES,
    )


def test_a_month_s_share_is_that_of_its_own_curve(two_years):
    found = cohorts(two_years)
    rows = found.table[found.table["month"] == "2025-02"].set_index("day")["share"]
    assert rows[30] == pytest.approx(1 / 40)
    assert rows[60] == pytest.approx(2 / 40)
    assert rows[360] == pytest.approx(3 / 40)
    curves = return_curves(two_years, by="month", at=(30, 60, 360)).at
    wanted = curves[curves["group"] == "2025-02"]
    mine = found.table[(found.table["month"] == "2025-02") & found.table["day"].isin([30, 60, 360])]
    for name in ("share", "low", "high", "at_risk"):
        assert mine[name].to_numpy() == pytest.approx(wanted[name].to_numpy())


def test_ages_that_no_month_has_reached_are_blank(two_years):
    found = cohorts(two_years).table
    young = found[(found["month"] == "2026-12") & (found["day"] > 11)]
    assert young["share"].isna().all()


def test_a_month_without_jobs_stands_among_the_others_with_none(two_years):
    months = cohorts(two_years).months
    assert len(months) == 23
    assert months.loc[months["month"] == "2025-03", ["jobs", "returns"]].to_numpy().sum() == 0
    assert months["jobs"].sum() == 140


def test_this_year_is_set_against_what_last_year_s_ways_would_have_brought(two_years):
    year = cohorts(two_years).year
    assert year.jobs == (70, 70)
    assert year.returns == (1, 4)
    # Jobs all alike: expected of each year by its days at risk, so the ratio is that of rates.
    days = two_years.episodes["days"].to_numpy()
    job = two_years.episodes["job"].to_numpy()
    recent = (two_years.history.jobs["handed_back"].to_numpy()[job]) >= np.datetime64("2026-01-01")
    assert year.ratio == pytest.approx(
        stats.f(3, 9).median() * (1.5 / days[recent].sum()) / (4.5 / days[~recent].sum()), rel=0.02
    )
    assert year.low < year.ratio < year.high
    assert year.curves["year"].unique().tolist() == [THIS_YEAR, LAST_YEAR]


def test_the_ratio_s_interval_is_the_exact_one_of_two_poisson_rates():
    # 8 comebacks on 300 jobs for 100 days against 20 on 300: jobs cut short matter little.
    followup = followed(
        *handed_back("2025-02-10", 300, tuple(range(80, 100)), "a"),
        *handed_back("2026-02-10", 300, tuple(range(80, 88)), "b"),
        data_date="2026-06-30",
        **RULES,
    )
    year = year_on_year(followup)
    exposure = year.expected[1] / year.expected[0]
    # Jeffreys' interval of the share of comebacks that fall into this year, as odds.
    low, high = stats.beta(8.5, 20.5).ppf([0.025, 0.975])
    assert year.low == pytest.approx(low / (1 - low) * exposure)
    assert year.high == pytest.approx(high / (1 - high) * exposure)
    assert year.chance_worse == pytest.approx(
        stats.beta(8.5, 20.5).sf(1 / (1 + exposure)), abs=1e-9
    )


def test_a_first_year_has_nothing_to_be_set_against():
    year = year_on_year(followed(*fleet(30, (20,)), **RULES))
    assert year.jobs == (30, 0)
    assert np.isnan(year.ratio)
    assert year.curves["year"].unique().tolist() == [THIS_YEAR]
