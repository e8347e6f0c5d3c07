"""Every other practice of the record looked at the same way, corrected as exploration."""

from __future__ import annotations

import numpy as np
from scipy import stats

from insights.errors import EvidenceError, RequestError
from insights.evidence.multiplicity import ManyQuestions, many_questions
from insights.evidence.practice import compare_practice
from insights.evidence.result import PracticeEvidence
from insights.followup import Followup

CAN_BE_JUDGED = ("helps", "harms", "not_clear")


def explore_practices(followup: Followup, declared: PracticeEvidence) -> ManyQuestions:
    """Ask every other practice the question that one practice was asked.

    Parameters
    ----------
    followup
        The episodes.
    declared
        The comparison that was asked for by name; the others take its day, population and
        root cause.

    Returns
    -------
    ManyQuestions
        One row per practice; p missing where a practice can't be compared.

    Notes
    -----
    p is two-sided, from the adjusted difference over the standard deviation of its draws.
    """
    p_values = {declared.practice: p_value(declared)}
    for name in followup.history.practices:
        if name != declared.practice:
            p_values[name] = _asked_the_same(followup, name, declared)
    return many_questions(p_values, declared=declared.practice)


def p_value(evidence: PracticeEvidence) -> float:
    """Give the chance of so large an adjusted difference if there were none; NaN: no verdict."""
    spread = float(evidence.draws.std(ddof=1))
    if evidence.verdict not in CAN_BE_JUDGED or not spread > 0:
        return float("nan")
    return float(2 * stats.norm.sf(abs(evidence.adjusted.difference) / spread))


def _asked_the_same(followup: Followup, name: str, declared: PracticeEvidence) -> float:
    try:
        evidence = compare_practice(
            followup,
            name,
            day=declared.day,
            cause=declared.cause,
            population=declared.population,
            replicates=len(declared.draws),
        )
    except (EvidenceError, RequestError):
        # Done always or never, or not followed so far: no test is possible, and a missing p
        # says so.
        return float(np.nan)
    return p_value(evidence)
