"""The table behind each figure, in words and marks for people."""

from insights.tables.record import (
    of_attention,
    of_linkage,
    of_pairs,
    of_problems,
    of_refusals_by_reason,
    of_refused,
    of_suggested,
    tally_of,
)
from insights.tables.returns import (
    ALL_CAUSES,
    NOT_KNOWN,
    RECENT_MONTHS,
    TABLE_DAYS,
    of_branches,
    of_causes,
    of_curves,
    of_days_without,
    of_months,
    of_repeats,
    share_text,
    tests_by_cause,
    tests_of,
)
from insights.tables.words import (
    of_terms,
)

__all__ = [
    "ALL_CAUSES",
    "NOT_KNOWN",
    "RECENT_MONTHS",
    "TABLE_DAYS",
    "of_attention",
    "of_branches",
    "of_causes",
    "of_curves",
    "of_days_without",
    "of_linkage",
    "of_months",
    "of_pairs",
    "of_problems",
    "of_refusals_by_reason",
    "of_refused",
    "of_repeats",
    "of_suggested",
    "of_terms",
    "share_text",
    "tally_of",
    "tests_by_cause",
    "tests_of",
]
