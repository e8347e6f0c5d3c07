"""The tables of the page about a practice, in words and marks for people."""

from __future__ import annotations

import numpy as np
import pandas as pd

from insights.evidence.ageing import WearEvidence
from insights.evidence.multiplicity import ManyQuestions
from insights.evidence.pairs import PairEvidence
from insights.evidence.result import PracticeEvidence
from insights.evidence.trial import TrialPlan
from insights.money.payback import Payback
from insights.survival.regression import HazardRatios
from insights.wording import amount_of, spoken, unbroken, whole
from insights.wording.practice import change, whose

NOT_GIVEN = "not given"


def of_estimators(evidence: PracticeEvidence) -> pd.DataFrame:
    """List every way of estimating the difference, per 100 jobs."""
    return pd.DataFrame(
        [
            {
                "Estimated by": row.estimator,
                "For": whose(row.population),
                f"Back of 100, {evidence.level}": _of_100(row.risk_level),
                f"Back of 100, {evidence.against}": _of_100(row.risk_against),
                "Difference": _difference(row),
                "Remark": row.why_not,
            }
            for row in evidence.table.itertuples(index=False)
        ]
    )


def of_parts(evidence: PracticeEvidence) -> pd.DataFrame:
    """List the difference by root cause; the last row is the sum."""
    return pd.DataFrame(
        [
            {
                "Comebacks": row.part,
                f"Back of 100, {evidence.level}": _of_100(row.risk_level),
                f"Back of 100, {evidence.against}": _of_100(row.risk_against),
                "Difference": _difference(row),
            }
            for row in _told_apart(evidence.causes).itertuples(index=False)
        ]
    )


def of_balance(evidence: PracticeEvidence) -> pd.DataFrame:
    """List how alike the groups are in each fact."""
    return pd.DataFrame(
        [
            {
                "Fact": spoken(row.covariate),
                "Value": str(row.value),
                f"Share, {evidence.level}": f"{row.share_level:.0%}",
                f"Share, {evidence.against}": f"{row.share_against:.0%}",
                "Difference as done": _signed(row.before),
                "Made alike": _signed(row.after),
            }
            for row in evidence.balance.itertuples(index=False)
        ]
    )


def of_incomparable(evidence: PracticeEvidence) -> pd.DataFrame:
    """List the jobs on which it was always or never done."""
    return pd.DataFrame(
        [
            {"Fact": spoken(row.covariate), "Value": str(row.value), "Jobs": whole(row.jobs)}
            for row in evidence.incomparable.itertuples(index=False)
        ]
    )


def of_technicians(evidence: PracticeEvidence) -> pd.DataFrame:
    """List who does it how often."""
    return pd.DataFrame(
        [
            {
                "Technician": str(row.technician),
                f"Jobs done {evidence.level}": whole(row.jobs_level),
                f"Jobs done {evidence.against}": whole(row.jobs_against),
                f"Share done {evidence.level}": f"{row.share_level:.0%}",
            }
            for row in evidence.technicians.itertuples(index=False)
        ]
    )


def of_payback(pays: Payback) -> pd.DataFrame:
    """List the limits of the answer and what more data would be worth."""
    more = [
        (
            f"A trial of {row.jobs_per_arm:,} jobs each way",
            f"worth {amount_of(row.evsi_per_1000_jobs, pays.currency)} on the next 1,000 jobs; "
            f"{row.chance_clear:.0%} likely to settle it",
        )
        for row in pays.table.itertuples(index=False)
    ]
    rows = [
        ("Worth it while the part costs under", _part_price(pays)),
        (
            "Worth it from so many comebacks avoided of 100",
            f"{100 * pays.break_even_difference:.1f}",
        ),
        (
            "Knowing for sure, on the next 1,000 jobs",
            f"worth {amount_of(pays.evpi_per_1000_jobs, pays.currency)}",
        ),
        *more,
        ("Jobs each way until it is likely settled", _jobs(pays.jobs_per_arm_to_clear)),
    ]
    return pd.DataFrame(rows, columns=["What", "How much"])


def of_wear(wear: WearEvidence) -> pd.DataFrame:
    """List the rate of comebacks by age."""
    return pd.DataFrame(
        [
            {
                "Days since the repair": f"{row.from_days:.0f} to {row.to_days:.0f}",
                "Comebacks": whole(row.returns),
                "A day, of 100,000": f"{100 * row.per_1000_days:.1f} "
                f"({100 * row.low:.1f} to {100 * row.high:.1f})",
            }
            for row in wear.table.itertuples(index=False)
        ]
    )


def of_pair(pair: PairEvidence) -> pd.DataFrame:
    """List what became of the partner part, by way of working."""
    return pd.DataFrame(
        [
            {
                "Partner done": str(row.level),
                "Coming back for": str(row.cause),
                "Jobs": whole(row.jobs),
                "Comebacks": whole(row.returns),
                "Back of 100": _share(row),
            }
            for row in pair.table.itertuples(index=False)
        ]
    )


def of_ratios(ratios: HazardRatios) -> pd.DataFrame:
    """List hazard ratios: 1 is no difference, 2 twice the rate of comebacks."""
    return pd.DataFrame(
        [
            {
                "Fact": spoken(row.covariate),
                "Value": str(row.level),
                "Against": str(row.against),
                "Comebacks": whole(row.returns),
                "Hazard ratio": f"{row.hazard_ratio:.2f} ({row.low:.2f} to {row.high:.2f})",
                "p": _p(row.p),
            }
            for row in ratios.table.itertuples(index=False)
        ]
    )


def of_looks(plan: TrialPlan) -> pd.DataFrame:
    """List when to look at a trial, and what stops it."""
    return pd.DataFrame(
        [
            {
                "Look": f"{row.look}",
                "After jobs each way": whole(row.jobs_per_arm),
                "Stop when p is below": f"{row.p:.4f}",
            }
            for row in plan.looks.itertuples(index=False)
        ]
    )


def of_many(many: ManyQuestions) -> pd.DataFrame:
    """List every practice looked at, and which stand out."""
    return pd.DataFrame(
        [
            {
                "Practice": row.question.replace("_", " "),
                "Asked as": row.role,
                "p": _p(row.p),
                "p, corrected": _p(row.adjusted_p),
                "Stands out": "yes" if row.stands_out else "no",
            }
            for row in many.table.itertuples(index=False)
        ]
    )


def none() -> pd.DataFrame:
    """No table."""
    return pd.DataFrame()


def _told_apart(causes: pd.DataFrame) -> pd.DataFrame:
    """Leave out the one part that is the sum itself."""
    return causes if len(causes) > 2 else causes.tail(1)


def _signed(difference: float) -> str:
    """Write a difference with its sign, and none where it rounds to nothing."""
    return f"{difference:+.2f}".replace("-0.00", "0.00").replace("+0.00", "0.00")


def _of_100(share: float) -> str:
    return f"{100 * share:.1f}" if np.isfinite(share) else NOT_GIVEN


def _difference(row: object) -> str:
    difference, low, high = (getattr(row, name) for name in ("difference", "low", "high"))
    if not np.isfinite(difference):
        return NOT_GIVEN
    if not np.isfinite(low + high):
        return change(difference)
    return unbroken(f"{change(difference)} ({change(low)} to {change(high)})")


def _part_price(pays: Payback) -> str:
    amount = pays.break_even_part_cost
    return (
        amount_of(amount, pays.currency, 2)
        if amount > 0
        else "nothing: even a free part would lose"
    )


def _share(row: object) -> str:
    share, low, high = (getattr(row, name) for name in ("share", "low", "high"))
    if not np.isfinite(share):
        return NOT_GIVEN
    return f"{100 * share:.1f} ({100 * low:.1f} to {100 * high:.1f})"


def _jobs(number: float) -> str:
    if np.isnan(number):
        return "more than any workshop sees"
    return whole(number) if number > 0 else "none: it is settled"


def _p(p: float) -> str:
    if not np.isfinite(p):
        return "can't be tested"
    return "below 0.001" if p < 0.001 else f"{p:.3f}"
