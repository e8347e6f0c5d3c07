"""Does a practice work? Like-for-like comparison of two ways of doing the job."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from insights.errors import EvidenceError, RequestError
from insights.evidence.asking import (
    Question,
    check_causes,
    check_population,
    choose_covariates,
    choose_levels,
    practice_column,
)
from insights.evidence.balance import (
    balance_table,
    choices_by,
    incomparable,
    overlap_of,
    propensity_table,
)
from insights.evidence.companions import companion_balance, companion_notes
from insights.evidence.compared import AGAINST, LEVEL, Compared, compare_cells, split_causes
from insights.evidence.controls import check_control, e_value
from insights.evidence.estimators import RETURNS_FOR, Estimators
from insights.evidence.reading import Reading, read
from insights.evidence.result import PracticeEvidence
from insights.evidence.switched import find_switch, weigh_switch
from insights.evidence.verdict import judge
from insights.followup import Followup
from insights.notes import Note, counted
from insights.survival.lifetable import life_table
from insights.survival.stating import MIN_AT_RISK, supported_days

REPLICATES = 200
FEWEST_REPLICATES = 40
METHOD = (
    "Discrete intervals of constant hazard on counts, one model per group of causes, weak prior "
    "(log-F(1,1) on the practice, Normal(0, 1.5^2) on what is adjusted for), standardised over the "
    "named population. Beside it: plain and weighted Aalen-Johansen shares, strata of the chance "
    "of being treated, and the doubly robust estimator. Intervals: Bayesian bootstrap over units, "
    "prior redrawn, everything refitted."
)


def compare_practice(
    followup: Followup,
    name: str,
    *,
    level: str | None = None,
    against: str | None = None,
    day: float = 180,
    cause: str | None = None,
    population: str = "not_yet",
    adjust: Sequence[str] | None = None,
    control_causes: Sequence[str] | None = None,
    replicates: int = REPLICATES,
    seed: int = 1,
    confidence: float = 0.95,
) -> PracticeEvidence:
    """Compare the share back by a day had jobs been done one way and the other.

    Parameters
    ----------
    followup
        The episodes.
    name
        The practice, with or without the prefix ``practice_``.
    level, against
        The two ways of working; by default the two most common, ``against`` being the one that
        reads as left undone (``left``, ``one``, ``none``, ...) or else the more common one.
    day
        Comebacks up to and including this day after hand-back are counted.
    cause
        A root cause of comebacks to ask about, the others competing; None takes all.
    population
        Whose jobs: those ``not_yet`` done so (what doing it every time would change), ``all``,
        those ``done`` so, or ``comparable`` ones (weighted by how open the choice was).
    adjust
        Facts known before the repair; by default model, technician, age, condition, what had
        failed, earlier repair and the calendar, as far as recorded.
    control_causes
        Root causes that the practice can't touch.
    replicates
        Draws behind the intervals, 40 or more.
    seed
        The same seed gives the same draws.
    confidence
        Of the intervals, between 0 and 1.

    Returns
    -------
    PracticeEvidence

    Raises
    ------
    RequestError
        An unknown practice, level, cause, population or covariate; one that came after the
        repair; a day past the follow-up (the message names the last supported one).
    EvidenceError
        One level only, nobody came back, or too few jobs are followed.

    Notes
    -----
    See :mod:`insights.evidence.hazards` and :mod:`insights.evidence.standardise` for the model,
    :mod:`insights.evidence.weighting` and :mod:`insights.evidence.robust` for the estimators
    beside it, and :mod:`insights.evidence.resampling` for the intervals. What each rests on: no
    unmeasured reason for choosing the practice, jobs that could have been done either way, one
    version of the practice, and owners as ready to come back after either.
    """
    _check_numbers(day, replicates, confidence)
    column = practice_column(followup.history, name)
    values = followup.values(column)
    levels = choose_levels(values, level, against)
    question = _ask(
        followup, column, values, levels, day, cause, population, adjust, control_causes
    )
    cells = _count(followup, question)
    returns = int(cells.returns.sum())
    names = tuple(known for known, needed in RETURNS_FOR.items() if returns >= needed)
    estimators = Estimators(cells, question.population, names)
    reading = read(estimators, replicates, seed, confidence)
    return _evidence(followup, question, estimators, reading)


def _ask(
    followup: Followup,
    column: str,
    values: pd.Series,
    levels: tuple[str, str],
    day: float,
    cause: str | None,
    population: str,
    adjust: Sequence[str] | None,
    control_causes: Sequence[str] | None,
) -> Question:
    level, against = levels
    said = values.astype(object).to_numpy()
    arm = np.select([said == level, said == against], [LEVEL, AGAINST], default=-1)
    switch = find_switch(_handed_back(followup), arm)
    covariates, notes = choose_covariates(followup, column, arm, adjust, switch is not None)
    aside = int((arm < 0).sum())
    if aside:
        left = counted(aside, "job is", "jobs are")
        text = f"{left} left aside: neither '{level}' nor '{against}' is recorded."
        notes = (Note("neither_level", text, aside), *notes)
    known = [str(name) for name in followup.episodes["cause"].cat.categories]
    return Question(
        column=column,
        level=level,
        against=against,
        day=float(day),
        population=check_population(population),
        cause=cause,
        control_causes=check_causes(known, cause, control_causes),
        covariates=covariates,
        arm=arm,
        switch=switch,
        notes=notes,
    )


def _count(followup: Followup, question: Question) -> Compared:
    table = life_table(followup, (question.column, *question.covariates))
    parts = split_causes(table.causes, question.cause, question.control_causes)
    levels = (question.against, question.level)
    cells = compare_cells(table, question.column, levels, question.day, parts)
    _check_followed(followup, question)
    if not cells.returns.sum():
        raise EvidenceError(
            f"No comeback{_of(question.cause)} by day {question.day:g} on these "
            f"{int(cells.jobs.sum())} jobs, so there is nothing to compare yet. Ask for a later "
            "day, or wait for more jobs."
        )
    return cells


def _check_followed(followup: Followup, question: Question) -> None:
    """Refuse a day on which too few of either arm are still followed."""
    days = followup.episodes["days"].to_numpy()
    reach = []
    for arm, name in ((LEVEL, question.level), (AGAINST, question.against)):
        seen, counts = np.unique(days[question.arm == arm], return_counts=True)
        at_risk = counts[::-1].cumsum()[::-1]
        reach.append((supported_days(seen, at_risk, MIN_AT_RISK), name))
    last, name = min(reach, key=lambda found: -1.0 if np.isnan(found[0]) else found[0])
    if np.isnan(last):
        raise EvidenceError(
            f"Fewer than {MIN_AT_RISK} jobs done '{name}' are followed at all, too few to "
            "compare. Wait for more jobs."
        )
    if last < question.day:
        raise RequestError(
            f"Day {question.day:g} is past the follow-up: fewer than {MIN_AT_RISK} jobs done "
            f"'{name}' are still followed then. Day {last:g} is the last that can be compared."
        )


def _evidence(
    followup: Followup, question: Question, estimators: Estimators, reading: Reading
) -> PracticeEvidence:
    cells = estimators.cells
    jobs, weights = cells.jobs, estimators.weights
    chance, pattern_weights = estimators.chance, estimators.pattern_weights
    overlap = overlap_of(jobs, weights, chance, pattern_weights)
    control = check_control(question.control_causes, reading.control, reading.adjusted)
    switch = weigh_switch(question.switch, reading)
    by_arm = jobs.sum(axis=1)
    ratio = reading.ratio
    verdict, remarks = judge(
        returns=int(cells.returns.sum()),
        reading=reading,
        overlap=overlap,
        control=control,
        switched=switch is not None,
    )
    technician = followup.values("technician")
    others = companion_balance(followup, question.column, cells.facts, question.arm, weights)
    return PracticeEvidence(
        practice=question.column.removeprefix("practice_"),
        level=question.level,
        against=question.against,
        day=question.day,
        cause=question.cause,
        population=question.population,
        covariates=question.covariates,
        jobs=int(by_arm.sum()),
        jobs_level=int(by_arm[LEVEL]),
        jobs_against=int(by_arm[AGAINST]),
        units=int(followup.episodes["unit"][question.arm >= 0].nunique()),
        returns=int(cells.returns.sum()),
        returns_level=int(cells.returns[LEVEL]),
        returns_against=int(cells.returns[AGAINST]),
        crude=reading.crude,
        adjusted=reading.adjusted,
        ratio=ratio,
        jobs_per_comeback=reading.jobs_per_comeback,
        days_gained=reading.days_gained,
        table=reading.table,
        causes=reading.causes,
        balance=pd.concat(
            [
                balance_table(cells.facts, jobs, weights).assign(is_adjusted=True),
                others.assign(is_adjusted=False),
            ],
            ignore_index=True,
        ),
        propensity=propensity_table(jobs, chance),
        technicians=choices_by(technician, question.arm, "technician"),
        incomparable=incomparable(cells.facts, jobs),
        overlap=overlap,
        control=control,
        switch=switch,
        e_value=e_value(ratio.estimate),
        e_value_limit=e_value(ratio.estimate, ratio.low, ratio.high),
        draws=reading.draws,
        verdict=verdict,
        confidence=reading.confidence,
        method=METHOD,
        notes=(
            *followup.notes,
            *question.notes,
            *remarks,
            *companion_notes(others, question.level),
        ),
    )


def _handed_back(followup: Followup) -> np.ndarray:
    return followup.history.jobs["handed_back"].take(followup.episodes["job"]).to_numpy()


def _of(cause: str | None) -> str:
    return "" if cause is None else f" for '{cause}'"


def _check_numbers(day: float, replicates: int, confidence: float) -> None:
    if not 0 < day < float("inf"):
        raise RequestError(f"Day {day:g} can't be asked for. Give a day above zero, like 180.")
    if replicates < FEWEST_REPLICATES:
        raise RequestError(
            f"replicates is {replicates}. Give {FEWEST_REPLICATES} or more, so that the ends of "
            "the interval can be found."
        )
    if not 0 < confidence < 1:
        raise RequestError(f"The confidence is {confidence}. Give one between 0 and 1, like 0.95.")
