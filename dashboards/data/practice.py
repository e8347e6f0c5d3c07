"""What the page about practices shows, kept between clicks like all of :mod:`dashboards.data`.

Apart from it because these rooms of the analysis take a second to import, which the first page
should not wait for.
"""

from __future__ import annotations

import pandas as pd
import streamlit as st

from dashboards.data import Source, followup, history
from dashboards.question import Choices, PracticeQuestion, TrialSize
from dashboards.selection import Selection
from insights.evidence.ageing import WearEvidence, wear_out
from insights.evidence.asking import choose_levels
from insights.evidence.cards import job_cards, job_mix
from insights.evidence.exploration import explore_practices
from insights.evidence.multiplicity import ManyQuestions
from insights.evidence.pairs import PairEvidence, pair_comebacks
from insights.evidence.practice import compare_practice
from insights.evidence.ratios import practice_ratios
from insights.evidence.result import PracticeEvidence
from insights.evidence.trial import TrialPlan, plan_trial
from insights.grouping import NOT_RECORDED
from insights.money.costs import ComebackCost, Costs, comeback_cost_if_recorded
from insights.money.payback import Payback, payback
from insights.survival.regression import HazardRatios


def choices(source: Source, selection: Selection) -> Choices:
    """List the practices and root causes that can be asked about."""
    return _choices(source, source.revision, selection)


def practice(source: Source, selection: Selection, question: PracticeQuestion) -> PracticeEvidence:
    """Compare two ways of working on like-for-like jobs."""
    return _practice(source, source.revision, selection, question)


def comeback_cost(source: Source, selection: Selection) -> ComebackCost | None:
    """Average what comebacks cost by the record; None where too few have a cost."""
    return comeback_cost_if_recorded(followup(source, selection))


def pays(source: Source, evidence: PracticeEvidence, costs: Costs) -> Payback:
    """Weigh the comebacks avoided against what the practice costs; no refitting."""
    return payback(
        -evidence.draws,
        costs,
        risk_without=evidence.adjusted.risk_against,
        currency=history(source).currency,
    )


def wear(source: Source, selection: Selection, causes: tuple[str, ...]) -> WearEvidence:
    """Look for a rate of comebacks that rises with the age of the repair."""
    return _wear(source, source.revision, selection, causes)


def pair(
    source: Source, selection: Selection, question: PracticeQuestion, failed: str
) -> PairEvidence:
    """Compare the partner left in with the partner renewed, where one of a pair failed."""
    return pair_comebacks(
        followup(source, selection),
        question.practice,
        left=question.against,
        renewed=question.level,
        failed=failed,
        day=question.day,
    )


def ratios(source: Source, selection: Selection, question: PracticeQuestion) -> HazardRatios:
    """Fit hazard ratios with what the comparison was adjusted for."""
    return _ratios(source, source.revision, selection, question)


def trial(
    source: Source, selection: Selection, evidence: PracticeEvidence, size: TrialSize
) -> tuple[TrialPlan, pd.DataFrame]:
    """Plan a trial, and deal its cards."""
    plan = plan_trial(
        evidence.practice,
        evidence.level,
        evidence.against,
        risk_against=evidence.adjusted.risk_against,
        difference=size.difference,
        seed=size.seed,
        day=int(evidence.day),
        cause=evidence.cause,
        looks=size.looks,
    )
    jobs = job_mix(followup(source, selection))
    # The plan's jobs come in as the record's do: the same mix, as many as are needed.
    wanted = jobs.assign(jobs=_scaled(jobs["jobs"], 2 * plan.jobs_per_arm))
    return plan, job_cards(plan, wanted[wanted["jobs"] > 0])


def others(source: Source, selection: Selection, question: PracticeQuestion) -> ManyQuestions:
    """Look at every other practice the same way, corrected for their number."""
    return _others(source, source.revision, selection, question)


def warm(source: Source) -> None:
    """Answer what the page asks at first."""
    question = choices(source, Selection()).first
    if question is not None:
        practice(source, Selection(), question)


@st.cache_resource(max_entries=8, show_spinner=False)
def _choices(_source: Source, revision: str, selection: Selection) -> Choices:
    selected = followup(_source, selection)
    levels = {}
    for name in selected.history.practices:
        counts = selected.values(f"practice_{name}").value_counts()
        known = tuple(str(level) for level in counts.index if level != NOT_RECORDED)
        if len(known) > 1:
            levels[name] = _done_first(known)
    counts = selected.episodes["cause"].value_counts()
    return Choices(levels, tuple(str(cause) for cause, seen in counts.items() if seen))


def _done_first(levels: tuple[str, ...]) -> tuple[str, ...]:
    level, against = choose_levels(pd.Series(levels), None, None)
    return (level, against, *(other for other in levels if other not in (level, against)))


@st.cache_resource(max_entries=16, show_spinner=False)
def _practice(
    _source: Source, revision: str, selection: Selection, question: PracticeQuestion
) -> PracticeEvidence:
    return compare_practice(
        followup(_source, selection),
        question.practice,
        level=question.level,
        against=question.against,
        day=question.day,
        cause=question.cause,
        population=question.population,
        control_causes=question.controls or None,
    )


@st.cache_resource(max_entries=8, show_spinner=False)
def _wear(
    _source: Source, revision: str, selection: Selection, causes: tuple[str, ...]
) -> WearEvidence:
    return wear_out(followup(_source, selection), causes=causes)


@st.cache_resource(max_entries=8, show_spinner=False)
def _ratios(
    _source: Source, revision: str, selection: Selection, question: PracticeQuestion
) -> HazardRatios:
    return practice_ratios(
        followup(_source, selection), _practice(_source, revision, selection, question)
    )


@st.cache_resource(max_entries=8, show_spinner=False)
def _others(
    _source: Source, revision: str, selection: Selection, question: PracticeQuestion
) -> ManyQuestions:
    return explore_practices(
        followup(_source, selection), _practice(_source, revision, selection, question)
    )


def _scaled(jobs: pd.Series, wanted: int) -> pd.Series:
    return (jobs * wanted / jobs.sum()).round().astype(int)
