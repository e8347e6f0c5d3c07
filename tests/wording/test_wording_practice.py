"""A comparison in a sentence: both directions where it spans zero, no verdict where none is due."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from insights.evidence.result import (
    Control,
    Estimate,
    JobsPerComeback,
    Overlap,
    PracticeEvidence,
    RiskDifference,
)
from insights.money.costs import ComebackCost, Costs
from insights.money.payback import payback
from insights.wording import practice as wording

NAN = float("nan")
NOTHING = RiskDifference(NAN, NAN, NAN, NAN, NAN)

# Three to four fewer of 100, as in a comparison of 5.0 with 8.6 of 100.
EVIDENCE = PracticeEvidence(
    practice="contact_pair",
    level="both",
    against="one",
    day=180,
    cause=None,
    population="not_yet",
    covariates=("model",),
    jobs=1050,
    jobs_level=650,
    jobs_against=400,
    units=1000,
    returns=53,
    returns_level=23,
    returns_against=30,
    crude=RiskDifference(0.0354, 0.075, 0.002, -0.02, 0.024),
    adjusted=RiskDifference(0.05, 0.086, -0.036, -0.073, -0.002),
    ratio=Estimate(0.58, 0.2, 0.98),
    jobs_per_comeback=JobsPerComeback(27.8, 13.7, 500.0, 13.7, NAN),
    days_gained=Estimate(2.0, 0.1, 4.0),
    table=pd.DataFrame(),
    causes=pd.DataFrame(),
    balance=pd.DataFrame(),
    propensity=pd.DataFrame(),
    technicians=pd.DataFrame(),
    incomparable=pd.DataFrame({"covariate": ["technician"], "value": ["Cleo"]}),
    overlap=Overlap(0.0, 300.0, 300.0),
    control=Control((), NOTHING, "not_asked"),
    switch=None,
    e_value=2.8,
    e_value_limit=1.2,
    draws=np.full(200, -0.036),
    verdict="helps",
    confidence=0.95,
    method="",
    notes=(),
)
UNCLEAR = replace(
    EVIDENCE,
    adjusted=RiskDifference(0.05, 0.086, -0.036, -0.073, 0.001),
    jobs_per_comeback=JobsPerComeback(27.8, NAN, NAN, 13.7, 1000.0),
    verdict="not_clear",
)


def test_an_effect_in_one_sentence():
    assert wording.of_practice(EVIDENCE).sentence == (
        "Like for like, on the jobs not yet done so, contact pair both instead of one means "
        "3.6 fewer comebacks per 100 by day 180 (likely between 0.20 and 7.3 fewer). "
        "That is one comeback avoided per 28 jobs (14 to 500)."
    )


def test_harm_is_said_as_plainly():
    harm = replace(
        EVIDENCE,
        adjusted=RiskDifference(0.086, 0.05, 0.036, 0.002, 0.073),
        jobs_per_comeback=JobsPerComeback(-27.8, -13.7, -500.0, NAN, 13.7),
        verdict="harms",
    )
    sentence = wording.of_practice(harm).sentence
    assert "3.6 more comebacks per 100 by day 180 (likely between 0.20 and 7.3 more)" in sentence
    assert "one comeback caused per 28 jobs (14 to 500)" in sentence


def test_an_interval_over_zero_names_both_directions_and_no_finite_range():
    sentence = wording.of_practice(UNCLEAR).sentence
    assert "anywhere from 7.3 fewer to 0.10 more: the record can't tell" in sentence
    assert "At best one comeback is avoided per 14 jobs, at worst one is caused per 1,000." in (
        sentence
    )
    assert "28 jobs" not in sentence


@pytest.mark.parametrize("verdict", sorted(wording.REFUSALS))
def test_a_refusal_comes_before_the_number_and_stops_the_money(verdict):
    costs = Costs(0.6, 1, 42, ComebackCost(45.0))
    pays = payback(-EVIDENCE.draws, costs, risk_without=0.086)
    sentence = wording.of_practice(replace(EVIDENCE, verdict=verdict), pays).sentence
    assert sentence.startswith(wording.REFUSALS[verdict])
    assert "not put to payback" in sentence
    assert "It pays" not in sentence


def test_money_in_one_sentence():
    # By hand: .036 x 45 - .60 - 1 min at 42 an hour (.70) = .32, and nothing is uncertain.
    costs = Costs(0.6, 1, 42, ComebackCost(45.0))
    sentence = wording.of_money(payback(-EVIDENCE.draws, costs, risk_without=0.086))
    assert sentence == (
        "It pays: the chance is over 99%. It earns 0.32 a job (0.32 to 0.32); worth it while the "
        "part costs under 0.92."
    )
    dear = wording.of_money(
        payback(-EVIDENCE.draws, Costs(0.6, 5, 42, ComebackCost(45.0)), risk_without=0.086)
    )
    assert dear.startswith("It does not pay: the chance that it does is under 1%. It loses 2.48")
    assert "a job (2.48 to 2.48);" in dear
    assert dear.endswith("not worth it even with a free part.")


def test_reasons_to_doubt_are_on_the_same_screen():
    caveats = " ".join(wording.of_practice(EVIDENCE).caveats)
    assert "plain comparison says 0.20 more per 100" in caveats
    assert "Name root causes that this practice can't touch" in caveats
    assert "nothing that the record lacks" in caveats
    assert "2.8 times as likely (E-value; 1.2 for the nearer end" in caveats
    assert "Always or never done for technician Cleo" in caveats


def test_control_causes_that_differ_are_called_different_units():
    risk = RiskDifference(0.03, 0.02, 0.01, 0.004, 0.016)
    control = Control(("cord",), risk, "differs")
    caveats = " ".join(wording.of_practice(replace(EVIDENCE, control=control)).caveats)
    assert "1.0 more per 100 (likely between 0.40 and 1.6 more). The groups were different" in (
        caveats
    )
