"""Units to call in: who is out with the part, what is to come of them, and what it costs."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from shop import followed
from watched import bad_lot
from watched import followed as shop_of

from insights.errors import EvidenceError, RequestError
from insights.report.recall_page import recall_page
from insights.reviewing.recall import CALL_IN, STATUSES, WAIT, can_be_suspect, recall_list
from synthetic.presets import lot_shop

TERM = 365


def job(unit: int, handed_back: str | None, **facts) -> dict:
    received = pd.Timestamp(handed_back or "2026-06-01") - pd.Timedelta(days=1)
    return {
        "unit": unit,
        "received": received,
        "handed_back": handed_back,
        "term_days": TERM,
        "customer": f"C{unit}",
        **facts,
    }


@pytest.fixture(scope="module")
def small():
    """Lot B on units 1 to 7 with seven fates; lot A on the rest."""
    jobs = [
        job(1, "2026-01-01", lot_contact="B", job_id="out"),
        job(2, "2026-01-01", lot_contact="B", job_id="failed"),
        job(2, "2026-02-01", lot_contact="A", job_id="renewed"),
        job(3, "2026-01-01", lot_contact="B", job_id="other fault"),
        job(3, "2026-03-01", job_id="still has it"),
        job(4, "2026-01-01", lot_contact="B", job_id="on the bench"),
        job(4, None, job_id="here"),
        job(5, "2026-01-01", lot_contact="B", job_id="gone", ended_on="2026-02-01"),
        job(6, "2024-06-01", lot_contact="B", job_id="=term over"),
        job(7, "2025-12-01", lot_contact="B", job_id="back, out again"),
    ]
    jobs += [job(100 + n, "2026-01-01", lot_contact="A", job_id=f"A{n}") for n in range(40)]
    return followed(*jobs, data_date="2026-07-01")


def test_those_still_out_with_the_part_and_nobody_else(small):
    found = recall_list(small, "lot_contact=B")
    assert set(found.table["job_id"]) == {"out", "still has it", "=term over", "back, out again"}
    rows = found.table.set_index("job_id")
    assert rows.loc["still has it", "age_days"] == 181  # since the part was fitted
    assert rows.loc["still has it", "term_left_days"] == TERM - 122  # of the later job
    assert rows.loc["=term over", "term_left_days"] == 0
    assert rows.loc["=term over", "chance"] == 0
    assert rows.loc["out", "customer"] == "C1"
    assert (rows["status"] == STATUSES[0]).all()
    assert rows["cheaper"].isna().all()
    assert "term_over" in [note.code for note in found.notes]
    assert found.jobs == 7


def test_only_the_days_meant(small):
    found = recall_list(small, "lot_contact=B", since="2026-01-01")
    assert "=term over" not in set(found.table["job_id"])
    assert set(
        recall_list(small, "all jobs", since="2025-11-01", until="2025-12-31").table["job_id"]
    ) == {"back, out again"}


def test_only_where_all_are_suspect_it_is_said_so(small, monkeypatch):
    def not_to_be_told(*_, **__):
        raise EvidenceError("What is usual can't be told.")

    everyone = recall_list(small, "all jobs", since="2000-01-01")
    assert "all_suspect" in [note.code for note in everyone.notes]
    some = recall_list(small, "lot_contact=B")
    assert "all_suspect" not in [note.code for note in some.notes]
    monkeypatch.setattr("insights.reviewing.recall.case_mix", not_to_be_told)
    with pytest.raises(EvidenceError, match="usual"):
        recall_list(small, "lot_contact=B")


def test_status_and_costs(small):
    told = pd.DataFrame({"job_id": ["out", "out"], "status": ["called", "answered"]})
    found = recall_list(small, "lot_contact=B", status=told, call_in_cost=5.0, comeback_cost=50.0)
    rows = found.table.set_index("job_id")
    assert rows.loc["out", "status"] == "answered"
    assert rows["wait_cost"].to_numpy() == pytest.approx(50 * rows["chance"].to_numpy())
    assert found.call_in_cost == 20
    assert set(rows["cheaper"]) <= {CALL_IN, WAIT}
    assert (rows["cheaper"] == np.where(rows["wait_cost"] > 5, CALL_IN, WAIT)).all()
    hurt = recall_list(small, "lot_contact=B", call_in_cost=500.0, dangerous=True)
    assert (hurt.table["cheaper"] == CALL_IN).all()


@pytest.mark.parametrize(
    ("chart", "more", "words"),
    [
        ("lot_contact=Z", {}, "No job has lot_contact = Z"),
        ("lot_contact", {}, "No job has"),
        ("dangerous=arcing", {}, "column=value"),
        ("all jobs", {}, "needs a first or last day"),
        ("lot_contact=B", {"since": "2027-01-01"}, "Widen them"),
        ("lot_contact=B", {"call_in_cost": -1.0}, "zero or more"),
        (
            "lot_contact=B",
            {"status": pd.DataFrame({"job_id": ["x"], "status": ["lost"]})},
            "no status",
        ),
        ("lot_contact=B", {"status": pd.DataFrame({"job_id": ["x"]})}, "lacks status"),
    ],
)
def test_questions_that_can_t_be_answered(small, chart, more, words):
    with pytest.raises(RequestError, match=words):
        recall_list(small, chart, **more)


def test_chances_are_those_of_the_truth():
    scenario = lot_shop(jobs=4000, seed=7)
    followup = shop_of(scenario)
    found = recall_list(followup, bad_lot(scenario))
    assert found.low < scenario.parts[0].multiplier < found.high
    # The truth: both causes are Weibull of shape .9 with 4% back by 180 days, trebled here.
    out = found.table[found.table["term_left_days"] > 0]
    age = out["age_days"].to_numpy(dtype=float)

    def hazard(days):
        return -np.log(0.96) * (days / 180) ** 0.9

    true = -np.expm1(-3.0 * (hazard(age + out["term_left_days"]) - hazard(age)))
    assert out["chance_low"].sum() < true.sum() < out["chance_high"].sum()
    assert np.corrcoef(true, out["chance"])[0, 1] > 0.8
    assert len(out) > 20


def test_a_page_to_print_holds_every_unit_and_no_markup_of_theirs(small):
    page = recall_page(recall_list(small, "lot_contact=B"), small.data_date)
    assert page.count("☐") == 4 * 3
    assert "still has it" in page
    assert "<script" not in page
    assert "statutory rights" in page


def test_what_can_be_suspect_comes_lots_first(small):
    charts = can_be_suspect(small)
    # The latest lot first: one of A was fitted in February.
    assert charts[:2] == ("lot_contact=A", "lot_contact=B")
    assert "model=boiler" in charts
