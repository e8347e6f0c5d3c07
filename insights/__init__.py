"""Comebacks of a repair workshop: who came back, when, why, and what it means."""

from insights.evidence.practice import compare_practice
from insights.evidence.result import PracticeEvidence
from insights.followup import Followup, follow_up, select
from insights.history.declared import Declared
from insights.history.intake import read_history
from insights.history.schema import History
from insights.history.units import Links, link_units
from insights.money.costs import ComebackCost, Costs
from insights.money.payback import Payback, payback
from insights.standing import Standing, standing
from insights.survival.causes import CauseCurves, cause_curves
from insights.survival.curves import Curves, return_curves
from insights.survival.recurrent import RepeatReturns, repeat_returns

__all__ = [
    "CauseCurves",
    "ComebackCost",
    "Costs",
    "Curves",
    "Declared",
    "Followup",
    "History",
    "Links",
    "Payback",
    "PracticeEvidence",
    "RepeatReturns",
    "Standing",
    "cause_curves",
    "compare_practice",
    "follow_up",
    "link_units",
    "payback",
    "read_history",
    "repeat_returns",
    "return_curves",
    "select",
    "standing",
]
