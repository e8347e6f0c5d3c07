"""What comebacks cost by cause: added up by hand, nothing invented for what is not recorded."""

from __future__ import annotations

import numpy as np
import pytest
from shop import fleet, followed

from insights.errors import RequestError
from insights.reviewing.dearest import costs_by_cause

DAYS = tuple(range(10, 70, 10))


def shop(costs, causes, relations=None, data_date="2027-01-01"):
    rows = fleet(40, DAYS[: len(costs)])
    back = [row for row in rows if row["job_id"].endswith("-2")]
    for place, row in enumerate(back):
        row["claim_cost"], row["root_cause"] = costs[place], causes[place]
        if relations:
            row["relation"] = relations[place]
    return followed(*rows, follow="all", data_date=data_date)


def test_causes_are_added_up_the_dearest_first():
    found = costs_by_cause(shop([30, 50, 20, 100], ["cord", "contact", "cord", "contact"]))
    assert found.table["cause"].tolist() == ["contact", "cord"]
    assert found.table["cost"].tolist() == [150, 50]
    assert found.table["mean_cost"].tolist() == [75, 25]
    assert found.table["cumulative_share"].tolist() == [0.75, 1.0]
    # One year (365 days of 365.25): half of 150 and of 50.
    year = 365 / 365.25
    assert found.table["halved_saves_a_year"].tolist() == pytest.approx([75 / year, 25 / year])
    assert found.dearest_save_a_year == pytest.approx(100 / year)
    # Compound Poisson: the variance of a total is the sum of squares.
    wide = 1.959964 * 0.5 * np.sqrt(50**2 + 100**2) / year
    assert found.table["saves_high"].iloc[0] == pytest.approx(75 / year + wide, rel=1e-5)
    assert found.table["saves_low"].iloc[0] == pytest.approx(max(75 / year - wide, 0), rel=1e-5)


def test_only_the_ten_dearest_are_halved():
    rows = fleet(40, tuple(range(10, 22)))
    back = [row for row in rows if row["job_id"].endswith("-2")]
    for place, row in enumerate(back):
        row["claim_cost"], row["root_cause"] = 10.0 + place, f"cause {place}"
    found = costs_by_cause(followed(*rows, follow="all", data_date="2027-01-01"))
    assert len(found.table) == 12
    dearest = sum(10 + place for place in range(2, 12)) / 2
    assert found.dearest_save_a_year == pytest.approx(dearest * 365.25 / 365)


def test_what_has_no_bill_is_counted_and_not_invented():
    found = costs_by_cause(shop([30, None, None], ["cord", "cord", "seal"]))
    table = found.table.set_index("cause")
    assert table.loc["cord", ["comebacks", "billed", "cost"]].tolist() == [2, 1, 30]
    assert np.isnan(table.loc["seal", "mean_cost"])
    (note,) = [note for note in found.notes if note.code == "no_cost"]
    assert note.jobs == 2


def test_no_cost_at_all_saves_nothing_known():
    found = costs_by_cause(shop([None], ["cord"]))
    assert found.billed == 0
    assert np.isnan(found.dearest_save_a_year)
    assert found.table["cost_share"].isna().all()


def test_arrivals_that_show_no_failure_stand_apart():
    relations = ["no_fault_found", "same_fault", "misuse", "no_fault_found"]
    found = costs_by_cause(shop([12, 40, 0, 8], ["none_found", "cord", "misuse", "x"], relations))
    assert found.comebacks == 1
    assert found.cost == 40
    assert found.apart.to_numpy().tolist() == [["no_fault_found", 2, 2, 20], ["misuse", 1, 1, 0]]


def test_a_shop_without_comebacks_has_an_empty_table():
    found = costs_by_cause(followed(*fleet(5), follow="all"))
    assert found.table.empty
    assert found.cost == 0


def test_a_level_that_can_not_be_is_refused():
    with pytest.raises(RequestError, match="between 0 and 1"):
        costs_by_cause(shop([1], ["cord"]), level=2)
