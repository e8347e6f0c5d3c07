"""What the bench finds of earlier repairs: as often as stated, and nothing else changes by it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import synthetic.earlier_work
from insights.history.schema import EARLIER_WORK
from synthetic.cafe import cafe_workshop
from synthetic.earlier_work import ELSEWHERE, HERE
from synthetic.generate import generate


@pytest.fixture(scope="module")
def jobs() -> pd.DataFrame:
    return generate(cafe_workshop(jobs=6000))[0].jobs


def test_it_is_written_where_there_was_a_repair_and_the_bench_has_looked(jobs):
    before = jobs["earlier_repair"].isin(["here", "elsewhere"])
    finished = jobs["handed_back"].notna() | jobs["ended_on"].notna()
    assert (jobs["earlier_work"].notna() == (before & finished)).all()


@pytest.mark.parametrize(("where", "shares"), [("elsewhere", ELSEWHERE), ("here", HERE)])
def test_states_are_found_as_often_as_stated(jobs, where, shares):
    assert sum(shares) == pytest.approx(1)
    found = jobs.loc[jobs["earlier_repair"] == where, "earlier_work"].dropna()
    error = np.sqrt(np.multiply(shares, np.subtract(1, shares)) / len(found))
    measured = [(found == state).mean() for state in EARLIER_WORK]
    assert (np.abs(np.subtract(measured, shares)) < 4 * error).all()


def test_nothing_else_hangs_on_it(jobs, monkeypatch):
    monkeypatch.setattr(synthetic.earlier_work, "STREAM", 99)
    again = generate(cafe_workshop(jobs=6000))[0].jobs
    assert (again["earlier_work"].dropna() != jobs["earlier_work"].dropna()).any()
    rest = [name for name in jobs.columns if name != "earlier_work"]
    pd.testing.assert_frame_equal(again[rest], jobs[rest])
