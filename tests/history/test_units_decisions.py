"""A person's decisions move the linker's weights: counted by hand, and on a shop of known units."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from invented_shop import invented_shop, same_unit_pairs

from insights.history.matching import CONFIRMED_WEIGHT, FIELDS
from insights.history.schema import History, to_schema
from insights.history.serials import END_SLIP, ONE_SLIP, SAME
from insights.history.units import link_units


def history(*rows: tuple[str, str]) -> History:
    """Jobs a year apart, each back after a week, from serial and customer."""
    days = pd.Timestamp("2020-01-01") + pd.to_timedelta(np.arange(len(rows)) * 30, unit="D")
    frame = pd.DataFrame(
        {
            "job_id": [f"J{place}" for place in range(len(rows))],
            "received": days,
            "handed_back": days + pd.Timedelta(days=7),
            "model": "boiler",
            "unit_serial": [serial for serial, _ in rows],
            "customer": [customer for _, customer in rows],
        }
    )
    return History(to_schema(frame))


def decided(*pairs: tuple[str, str, bool]) -> pd.DataFrame:
    return pd.DataFrame(pairs, columns=["job_id", "earlier_job_id", "same"])


def test_confirmed_pairs_are_counted_by_level():
    # Two equal pairs and, confirmed, two one slip apart: four pairs in all.
    jobs = history(
        ("447100B", "K1"),
        ("447100B", "K1"),
        ("558200C", "K2"),
        ("558200C", "K2"),
        ("669300D", "K3"),
        ("696300D", "K4"),
        ("770400E", "K5"),
        ("770400F", "K6"),
    )
    said = decided(("J5", "J4", True), ("J7", "J6", True))
    m = link_units(jobs, decisions=said).evidence.ratios.m["serial"]
    start, weight = FIELDS["serial"].m, CONFIRMED_WEIGHT
    for level, count in ((SAME, 2), (ONE_SLIP, 2), (END_SLIP, 0)):
        assert m[level] == pytest.approx((weight * start[level] + count) / (weight + 4))
    assert m.sum() == pytest.approx(1)


@pytest.mark.parametrize("said", [None, decided(("J1", "J0", False))])
def test_without_a_confirmed_pair_the_weights_stay(said):
    jobs = history(("447100B", "K1"), ("441700B", "K2"), ("558200C", "K3"))
    m = link_units(jobs, decisions=said).evidence.ratios.m["serial"]
    assert m == pytest.approx(FIELDS["serial"].m)


def test_a_pair_of_equal_serials_is_not_counted_twice():
    jobs = history(("447100B", "K1"), ("447100B", "K2"), ("558200C", "K3"))
    m = link_units(jobs, decisions=decided(("J1", "J0", True))).evidence.ratios.m["serial"]
    assert m == pytest.approx(FIELDS["serial"].m)


def test_where_serials_are_mistyped_often_decisions_find_more_units():
    # One serial in four is mistyped, five times what is taken to begin with.
    jobs, truth = invented_shop(3000, 2, mistyped=0.25)
    unit_of = dict(zip(jobs.jobs["job_id"], truth, strict=True))
    before = link_units(jobs)
    open_pairs = before.pairs[before.pairs["status"] == "doubtful"].iloc[::2]
    pairs = zip(open_pairs["job_id"], open_pairs["earlier_job_id"], strict=True)
    said = decided(*((one, two, unit_of[one] == unit_of[two]) for one, two in pairs))
    after = link_units(jobs, decisions=said)
    slip = [links.evidence.ratios.m["serial"][ONE_SLIP] for links in (before, after)]
    assert slip[1] > 3 * slip[0]
    others = after.pairs[after.pairs["status"] == "doubtful"]
    assert len(others) < len(before.pairs[before.pairs["status"] == "doubtful"]) - len(said)
    both = pd.factorize(pd.Series(list(zip(after.unit_of_job, truth, strict=True))))[0]
    assert same_unit_pairs(both) / same_unit_pairs(after.unit_of_job) > 0.99
