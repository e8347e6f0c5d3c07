"""The record as it was known on a past day."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from insights.errors import RequestError
from insights.history.asof import as_known, known_then
from insights.history.schema import History, to_schema

JOBS = [
    # Finished before the day, refunded after it.
    {
        "job_id": "A1",
        "received": "2026-01-02",
        "handed_back": "2026-01-05",
        "root_cause": "contacts",
        "price": 80.0,
        "term_days": 180,
        "ended_on": "2026-06-01",
        "ended_how": "refunded",
        "practice_contacts": "cleaned",
        "condition": 2,
    },
    # A comeback on the bench on the day: what is found and decided there is not known yet.
    {
        "job_id": "A2",
        "received": "2026-03-01",
        "notified": "2026-02-27",
        "handed_back": "2026-03-20",
        "root_cause": "cord",
        "earlier_repair": "elsewhere",
        "earlier_work": "substandard",
        "relation": "same_fault",
        "decision": "covered",
        "claim_cost": 31.5,
        "term_days": 180,
        "practice_contacts": "left",
        "lot_cord": "B7",
        "reading_plate_c": 210.0,
        "condition": 3,
    },
    # Written off on the bench on the day itself: known.
    {
        "job_id": "B1",
        "received": "2026-03-02",
        "ended_on": "2026-03-10",
        "ended_how": "scrapped",
        "root_cause": "element",
        "condition": 5,
    },
    # Still on the bench today, with nothing to tell when its cause was written.
    {"job_id": "C1", "received": "2026-03-09", "root_cause": "switch"},
    # Arrived the day after.
    {"job_id": "D1", "received": "2026-03-11", "handed_back": "2026-03-12", "price": 60.0},
]
DAY = pd.Timestamp("2026-03-10")


def history() -> History:
    return History(to_schema(pd.DataFrame(JOBS).assign(model="grinder")))


def test_what_was_known_on_a_day():
    known = known_then(history(), DAY)
    assert known.rows.tolist() == [0, 1, 2, 3]
    jobs = known.history.jobs.set_index("job_id")
    assert list(jobs.index) == ["A1", "A2", "B1", "C1"]
    finished = jobs.loc["A1"]
    assert finished["handed_back"] == pd.Timestamp("2026-01-05")
    assert (finished["root_cause"], finished["price"], finished["term_days"]) == (
        "contacts",
        80.0,
        180,
    )
    assert finished["practice_contacts"] == "cleaned"
    assert pd.isna(finished["ended_on"])
    assert pd.isna(finished["ended_how"])
    on_bench = jobs.loc["A2"]
    for name in (
        "handed_back",
        "root_cause",
        "earlier_work",
        "relation",
        "decision",
        "claim_cost",
        "term_days",
        "practice_contacts",
        "lot_cord",
        "reading_plate_c",
    ):
        assert pd.isna(on_bench[name]), name
    assert on_bench["notified"] == pd.Timestamp("2026-02-27")
    assert (on_bench["condition"], on_bench["earlier_repair"]) == (3, "elsewhere")
    assert (jobs.loc["B1", "ended_how"], jobs.loc["B1", "root_cause"]) == ("scrapped", "element")
    assert jobs.loc["C1", "root_cause"] == "switch"
    assert known.history.notes[-1].code == "as_known"


def test_a_late_report_is_not_known():
    late = History(
        to_schema(
            pd.DataFrame(
                [{"job_id": "A", "received": "2026-03-01", "notified": "2026-04-01"}]
            ).assign(model="grinder")
        )
    )
    assert as_known(late, DAY).jobs["notified"].isna().all()
    assert late.jobs["notified"].notna().all()


def test_nothing_known_yet():
    with pytest.raises(RequestError, match=r"No job had arrived by 2025-12-31.*2026-01-02"):
        as_known(history(), pd.Timestamp("2025-12-31"))


@settings(max_examples=30, derandomize=True, deadline=None)
@given(st.integers(0, 200), st.integers(0, 200))
def test_looking_back_twice_is_looking_back_once(first, second):
    start = pd.Timestamp("2026-01-02")
    early, late = sorted((start + pd.Timedelta(days=first), start + pd.Timedelta(days=second)))
    once = as_known(history(), early).jobs
    # C1's cause has no date, so it stays however often one looks back.
    pd.testing.assert_frame_equal(as_known(as_known(history(), late), early).jobs, once)
    dates = once.select_dtypes("datetime64")
    assert not (dates > early).any().any()
