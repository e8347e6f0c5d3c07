"""Results in plain sentences, one voice for terminal, dashboard and report."""

from insights.wording.plain import (
    SAFETY,
    STATUTORY,
    Finding,
    counted,
    day_of,
    per_100,
    spoken,
    unbroken,
    whole,
)
from insights.wording.returns import (
    FEW_RETURNS,
    HEADLINE_DAY,
    PLAIN_COMPARISON,
    RARE_BY_CHANCE,
    RETURNED_ONLY,
    YOUNG_MONTHS,
    chance,
    of_causes,
    of_curves,
    of_repeats,
    of_standing,
)

__all__ = [
    "FEW_RETURNS",
    "HEADLINE_DAY",
    "PLAIN_COMPARISON",
    "RARE_BY_CHANCE",
    "RETURNED_ONLY",
    "SAFETY",
    "STATUTORY",
    "YOUNG_MONTHS",
    "Finding",
    "chance",
    "counted",
    "day_of",
    "of_causes",
    "of_curves",
    "of_repeats",
    "of_standing",
    "per_100",
    "spoken",
    "unbroken",
    "whole",
]
