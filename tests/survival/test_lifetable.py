"""Counting: episodes to cells, patterns, repeats and units, and back to risk sets, by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from shop import fleet, followed

from insights.followup import Followup
from insights.survival.lifetable import life_table, risk_sets, several

FIRST = pd.Timestamp("2026-01-01")


def visit(unit: int, day: int, back: int | None = None, **facts) -> dict:
    """Receive a unit and hand it back on day ``back`` after 1 January."""
    job = {"job_id": f"{unit}-{day}", "unit": unit, "received": FIRST + pd.Timedelta(days=day)}
    if back is not None:
        job["handed_back"] = FIRST + pd.Timedelta(days=back)
    return job | facts


@pytest.fixture(scope="module")
def shop() -> Followup:
    """Give three grills and two mills, followed to day 100.

    Unit 0, a grill of Ada's: back on day 10 (cord), handed back that day and again there on day
    10 (contacts). Unit 1, a grill of Ben's, not back; unit 2, one of Ada's, scrapped on day 40.
    Unit 3, a mill of Ben's, back on day 10 (cord); unit 4, one of Ben's, refunded on day 40.
    """
    return followed(
        visit(0, 0, 0, model="grill", technician="Ada"),
        visit(0, 10, 10, model="grill", technician="Ada", root_cause="cord"),
        visit(0, 10, None, model="grill", technician="Ada", root_cause="contacts", job_id="x"),
        visit(1, 0, 0, model="grill", technician="Ben"),
        visit(2, 0, 0, model="grill", technician="Ada", ended_how="scrapped")
        | {"ended_on": FIRST + pd.Timedelta(days=40)},
        visit(3, 0, 0, model="mill", technician="Ben"),
        visit(3, 10, None, model="mill", technician="Ben", root_cause="cord"),
        visit(4, 0, 0, model="mill", technician="Ben", ended_how="refunded")
        | {"ended_on": FIRST + pd.Timedelta(days=40)},
        data_date="2026-04-11",
    )


def test_all_jobs_are_counted_by_day_and_outcome(shop):
    table = life_table(shop)
    assert (table.by, table.labels, len(table.patterns)) == ((), ("all jobs",), 1)
    assert table.causes == ("contacts", "cord")
    assert table.endings == ("scrapped", "refunded")
    # Outcomes: 0 censored, 1 contacts, 2 cord, 3 scrapped, 4 refunded.
    assert table.cells.to_dict("split")["data"] == [
        [0, 0.5, 1, 1],
        [0, 10.0, 2, 2],
        [0, 40.0, 3, 1],
        [0, 40.0, 4, 1],
        [0, 100.0, 0, 1],
    ]
    assert table.cells.columns.tolist() == ["pattern", "days", "outcome", "jobs"]
    assert table.job_count == 6
    assert table.units.tolist() == [5]
    assert table.repeats.to_dict("list") == {"unit": [0, 0], "cell": [1, 0]}


def test_every_combination_seen_is_a_pattern_in_the_order_of_the_columns(shop):
    table = life_table(shop, ["technician", "model"])
    assert table.by == ("technician", "model")
    assert table.patterns.columns.tolist() == ["technician", "model"]
    assert table.labels == ("Ada / grill", "Ben / grill", "Ben / mill")
    assert all(isinstance(one, pd.CategoricalDtype) for one in table.patterns.dtypes)
    assert table.cells.to_dict("split")["data"] == [
        [0, 0.5, 1, 1],
        [0, 10.0, 2, 1],
        [0, 40.0, 3, 1],
        [1, 100.0, 0, 1],
        [2, 10.0, 2, 1],
        [2, 40.0, 4, 1],
    ]
    assert table.units.tolist() == [2, 1, 2]
    assert table.repeats.to_dict("list") == {"unit": [0, 0], "cell": [1, 0]}


def test_a_unit_with_jobs_of_two_patterns_counts_in_each():
    jobs = [
        visit(0, 0, 0, technician="Ada"),
        visit(0, 10, 10, technician="Ben"),
        visit(0, 20, 20, technician="Ben"),
        visit(1, 0, 0, technician="Ada"),
        visit(2, 0, 0, technician="Ada"),
        visit(2, 5, 5, technician="Ada"),
    ]
    table = life_table(followed(*jobs, data_date="2026-04-11"), ["technician"])
    assert table.labels == ("Ada", "Ben")
    assert table.units.tolist() == [3, 1]
    assert table.repeats["unit"].tolist() == [0, 0, 0, 2, 2]


def test_who_is_at_risk_by_hand(shop):
    table = life_table(shop, ["model"])
    risk = risk_sets(table, 0)
    assert risk.days.tolist() == [0.5, 10, 40, 100]
    assert risk.at_risk.tolist() == [4, 3, 2, 1]
    assert risk.outcomes.tolist() == [
        [0, 1, 0, 0, 0],
        [0, 0, 1, 0, 0],
        [0, 0, 0, 1, 0],
        [1, 0, 0, 0, 0],
    ]
    assert risk.returns.tolist() == [1, 1, 0, 0]
    assert risk.ended.tolist() == [0, 0, 1, 0]
    together = risk_sets(table)
    assert together.days.tolist() == [0.5, 10, 40, 100]
    assert together.at_risk.tolist() == [6, 5, 3, 1]
    assert together.returns.tolist() == [1, 2, 0, 0]
    assert together.ended.tolist() == [0, 0, 2, 0]
    mills = risk_sets(table, 1)
    assert mills.days.tolist() == [10, 40]
    assert mills.at_risk.tolist() == [2, 1]


@pytest.mark.parametrize("kinds", [3, 700])
def test_many_combinations_are_counted_like_few(kinds):
    # 700 models by 700 technicians are more combinations than are worth an array.
    jobs = [
        visit(unit, 0, 0, model=f"m{unit % kinds:03d}", technician=f"t{(unit * 7) % kinds:03d}")
        for unit in range(700)
    ]
    table = life_table(followed(*jobs, data_date="2026-04-11"), ["model", "technician"])
    seen = {(f"m{u % kinds:03d}", f"t{(u * 7) % kinds:03d}") for u in range(700)}
    expected = sorted(" / ".join(pair) for pair in seen)
    assert list(table.labels) == expected
    assert table.cells["pattern"].tolist() == list(range(len(expected)))
    assert table.cells["jobs"].sum() == 700
    assert table.units.sum() == 700
    assert (table.cells["days"] == 100).all()


def test_entries_that_occur_more_than_once_are_marked():
    assert several(np.array([1, 1, 2, 3, 3, 3, 4])).tolist() == [
        True, True, False, True, True, True, False,
    ]  # fmt: skip
    assert several(np.array([5])).tolist() == [False]
    assert several(np.array([], dtype=int)).tolist() == []


def test_without_comebacks_there_is_no_cause_and_nothing_ends():
    table = life_table(followed(*fleet(3)))
    assert (table.causes, table.endings) == ((), ())
    assert table.cells.to_dict("list") == {
        "pattern": [0],
        "days": [364.0],
        "outcome": [0],
        "jobs": [3],
    }
    assert table.repeats.empty
    assert risk_sets(table).returns.tolist() == [0]
