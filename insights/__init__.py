"""Comebacks of a repair workshop: who came back, when, why, and what it means."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from insights.bench.suggestion import (
        CauseModel,
        Suggestion,
        learn_root_causes,
        suggest_root_cause,
    )
    from insights.evidence.practice import compare_practice
    from insights.evidence.result import PracticeEvidence
    from insights.followup import Followup, follow_up, select
    from insights.history.declared import Declared
    from insights.history.exact import exact_units
    from insights.history.intake import read_history
    from insights.history.schema import History
    from insights.history.units import Links, link_units
    from insights.money.backtest import Backtest, backtest
    from insights.money.costs import ComebackCost, Costs
    from insights.money.payback import Payback, payback
    from insights.money.quote import Quote, quote_warranty
    from insights.money.reserve import Reserve, reserve
    from insights.reviewing.call_back import call_back_sample, corrected
    from insights.reviewing.cohorts import Cohorts, cohorts
    from insights.reviewing.dearest import CostsByCause, costs_by_cause
    from insights.reviewing.missing import MissingPractices, missing_practices
    from insights.reviewing.rates import Review, review
    from insights.reviewing.recall import Recall, recall_list
    from insights.reviewing.signals import Signals
    from insights.reviewing.watch import watch
    from insights.standing import Standing
    from insights.survival.branches import (
        BranchCounts,
        Pooled,
        branch_counts,
        pool_branches,
        pooled_causes,
        read_counts,
        write_counts,
    )
    from insights.survival.causes import CauseCurves, cause_curves
    from insights.survival.counted_in_book import CountedInBook, count_in_book
    from insights.survival.curves import Curves, return_curves
    from insights.survival.recurrent import RepeatReturns, repeat_returns

_HOME = {
    "Backtest": "insights.money.backtest",
    "CauseCurves": "insights.survival.causes",
    "Cohorts": "insights.reviewing.cohorts",
    "CauseModel": "insights.bench.suggestion",
    "ComebackCost": "insights.money.costs",
    "Costs": "insights.money.costs",
    "CostsByCause": "insights.reviewing.dearest",
    "Curves": "insights.survival.curves",
    "Declared": "insights.history.declared",
    "Followup": "insights.followup",
    "History": "insights.history.schema",
    "Links": "insights.history.units",
    "Payback": "insights.money.payback",
    "PracticeEvidence": "insights.evidence.result",
    "Quote": "insights.money.quote",
    "RepeatReturns": "insights.survival.recurrent",
    "Reserve": "insights.money.reserve",
    "Review": "insights.reviewing.rates",
    "Standing": "insights.standing",
    "backtest": "insights.money.backtest",
    "call_back_sample": "insights.reviewing.call_back",
    "Suggestion": "insights.bench.suggestion",
    "cause_curves": "insights.survival.causes",
    "cohorts": "insights.reviewing.cohorts",
    "compare_practice": "insights.evidence.practice",
    "corrected": "insights.reviewing.call_back",
    "costs_by_cause": "insights.reviewing.dearest",
    "follow_up": "insights.followup",
    "learn_root_causes": "insights.bench.suggestion",
    "link_units": "insights.history.units",
    "exact_units": "insights.history.exact",
    "CountedInBook": "insights.survival.counted_in_book",
    "count_in_book": "insights.survival.counted_in_book",
    "payback": "insights.money.payback",
    "quote_warranty": "insights.money.quote",
    "read_history": "insights.history.intake",
    "repeat_returns": "insights.survival.recurrent",
    "reserve": "insights.money.reserve",
    "return_curves": "insights.survival.curves",
    "review": "insights.reviewing.rates",
    "select": "insights.followup",
    "suggest_root_cause": "insights.bench.suggestion",
    "MissingPractices": "insights.reviewing.missing",
    "missing_practices": "insights.reviewing.missing",
    "Recall": "insights.reviewing.recall",
    "recall_list": "insights.reviewing.recall",
    "Signals": "insights.reviewing.signals",
    "watch": "insights.reviewing.watch",
    "BranchCounts": "insights.survival.branches",
    "Pooled": "insights.survival.branches",
    "branch_counts": "insights.survival.branches",
    "pool_branches": "insights.survival.branches",
    "pooled_causes": "insights.survival.branches",
    "read_counts": "insights.survival.branches",
    "write_counts": "insights.survival.branches",
}
__all__ = [
    "Backtest",
    "BranchCounts",
    "CauseCurves",
    "CauseModel",
    "Cohorts",
    "ComebackCost",
    "Costs",
    "CostsByCause",
    "CountedInBook",
    "Curves",
    "Declared",
    "Followup",
    "History",
    "Links",
    "MissingPractices",
    "Payback",
    "Pooled",
    "PracticeEvidence",
    "Quote",
    "Recall",
    "RepeatReturns",
    "Reserve",
    "Review",
    "Signals",
    "Standing",
    "Suggestion",
    "backtest",
    "branch_counts",
    "call_back_sample",
    "cause_curves",
    "cohorts",
    "compare_practice",
    "corrected",
    "costs_by_cause",
    "count_in_book",
    "exact_units",
    "follow_up",
    "learn_root_causes",
    "link_units",
    "missing_practices",
    "payback",
    "pool_branches",
    "pooled_causes",
    "quote_warranty",
    "read_counts",
    "read_history",
    "recall_list",
    "repeat_returns",
    "reserve",
    "return_curves",
    "review",
    "select",
    "suggest_root_cause",
    "watch",
    "write_counts",
]


def __getattr__(name: str) -> Any:
    # Looked up when first used: a page or a command that needs one room starts without the rest.
    if name not in _HOME:
        raise AttributeError(f"module 'insights' has no attribute '{name}'")
    return getattr(importlib.import_module(_HOME[name]), name)
