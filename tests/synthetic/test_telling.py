"""The words of the invented workshop: about the fault as often as stated, beside all else."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from synthetic.cafe import cafe_workshop
from synthetic.generate import generate
from synthetic.scenario import Telling

JOBS = 12_000


@pytest.fixture(scope="module")
def told():
    return generate(cafe_workshop(jobs=JOBS))


def causes_of_symptoms(scenario) -> np.ndarray:
    """Number the cause each symptom belongs to."""
    many = [len(scenario.telling.complaints[name]) for name in scenario.cause_names]
    return np.repeat(np.arange(len(many)), many)


def test_complaints_speak_of_the_fault_as_often_as_stated(told):
    _, truth = told
    scenario, symptom, cause = truth.scenario, truth.facts["symptom"], truth.facts["cause"]
    fault = (symptom >= 0) & (cause < len(scenario.causes))
    right = causes_of_symptoms(scenario)[symptom[fault]] == cause[fault]
    # 85% on purpose, and of the other 15% those that hit the cause's own symptoms by chance.
    hits = np.array([4, 4, 3, 3, 3, 3])[cause[fault]].mean() / 20
    assert right.mean() == pytest.approx(0.85 + 0.15 * hits, abs=0.014)  # four standard errors
    assert (symptom < 0).mean() == pytest.approx(1 - 0.92 * 0.96, abs=0.012)


def test_an_untold_complaint_is_empty_and_many_are_mistyped(told):
    history, truth = told
    complaint = history.jobs["complaint"]
    assert complaint.isna().mean() == pytest.approx(0.04, abs=0.008)
    ways = [
        way for some in truth.scenario.telling.complaints.values() for way in sum(some, start=())
    ]
    clean = complaint.str.contains("|".join(map(re.escape, ways)))[truth.facts["symptom"] >= 0]
    assert clean.mean() == pytest.approx(0.85, abs=0.03)


def test_notes_are_written_by_a_bench_that_has_worked_on_the_job(told):
    history, truth = told
    jobs = history.jobs
    finished = jobs["handed_back"].notna() | jobs["ended_on"].notna()
    assert jobs["notes"][~finished].isna().all()
    assert jobs["notes"][finished].notna().mean() == pytest.approx(0.55, abs=0.02)
    named = jobs["notes"].isin(truth.scenario.telling.remarks)[jobs["notes"].notna()]
    assert 0.25 < named.mean() < 0.4  # the rest name what was found


def test_words_change_nothing_but_the_words(told):
    history, truth = told
    terse = replace(truth.scenario.telling, openings=("",), mistyped_share=0.0, noted_share=0.0)
    other, _ = generate(replace(truth.scenario, telling=terse))
    words = ["complaint", "notes"]
    pd.testing.assert_frame_equal(history.jobs.drop(columns=words), other.jobs.drop(columns=words))
    silent, _ = generate(replace(cafe_workshop(jobs=200), telling=Telling()))
    assert silent.jobs[words].isna().all(axis=None)
