"""The first morning: what is done is said to be done, what is left is counted."""

from __future__ import annotations

from pathlib import Path

import pytest
from shop import fleet, followed

from insights import wording
from insights.first_steps import TOUR, first_steps, of_steps
from insights.standing import standing
from insights.survival.curves import return_curves


def steps(jobs: list[dict], *, own: bool = True, book: bool = False):
    followup = followed(*jobs, data_date="2026-12-31")
    curves = return_curves(followup)
    counted = standing(followup)
    return first_steps(counted, curves, jobs=len(jobs), source="jobs.csv", own=own, book=book), (
        wording.of_curves(curves).sentence
    )


def test_a_clean_record_of_ones_own_leaves_only_the_book_to_do():
    found, answer = steps(fleet(60, (20, 30, 40), term_days=365))
    assert [step.done for step in found] == [True, True, True, True, False]
    assert found[0].says == "63 jobs load from jobs.csv."
    assert found[1].says == "No rows were refused. No dates contradict each other."
    assert found[3].says == answer
    assert of_steps(found).sentence == "4 of 5 steps are done. Next: record the next jobs here."
    assert of_steps(found[:4]).sentence.startswith("All is done.")


def test_the_invented_workshop_is_not_ones_own_and_a_contradiction_is_counted():
    jobs = [
        *fleet(60, (20,)),
        {"job_id": "X", "unit": -1, "received": "2026-05-02", "handed_back": "2026-05-01"},
    ]
    found, _ = steps(jobs, own=False, book=True)
    assert [step.done for step in found] == [False, False, True, True, True]
    assert "1 date contradicts another." in found[1].says
    assert found[2].page == "same-unit"


@pytest.mark.parametrize("book", [True, False])
def test_every_step_and_stop_leads_to_a_page_there_is(book):
    app = Path(__file__).parents[1]
    pages = (app / "dashboards" / "app.py").read_text("utf-8")
    found, _ = steps(fleet(60, (20,)), book=book)
    for address in [step.page for step in found] + [page for page, _, _ in TOUR if page]:
        assert f'url_path="{address}"' in pages
