"""The hazard ratio of a practice, which supports the difference and is no headline."""

from __future__ import annotations

from insights.evidence.asking import PREFIX
from insights.evidence.result import PracticeEvidence
from insights.followup import Followup, select
from insights.survival.regression import HazardRatios, cox_regression


def practice_ratios(followup: Followup, evidence: PracticeEvidence) -> HazardRatios:
    """Fit a Cox regression with what a comparison was adjusted for.

    Parameters
    ----------
    followup
        The episodes that were compared.
    evidence
        The comparison.

    Returns
    -------
    HazardRatios
        Of the practice and of everything it was adjusted for, all comebacks of the follow-up
        (not only those by the comparison's day).

    Raises
    ------
    EvidenceError
        Nothing varies, or the facts can't be told apart.
    """
    column = PREFIX + evidence.practice
    chosen = select(followup, where={column: (evidence.level, evidence.against)})
    varying = [name for name in evidence.covariates if len(chosen.values(name).cat.categories) > 1]
    return cox_regression(
        chosen, (column, *varying), against={column: evidence.against}, cause=evidence.cause
    )
