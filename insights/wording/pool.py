"""Branches' counts and what they say together, in plain sentences."""

from __future__ import annotations

from insights.survival.branches import BranchCounts, Pooled
from insights.survival.causes import CauseCurves
from insights.wording import Finding, of_curves, spoken, whole

NOBODY_NAMED = (
    "It holds counts by day and outcome, and no job, unit or customer. Groups of few jobs still "
    "tell something of each; count by as little as the question needs."
)


def of_counts(counts: BranchCounts, path: str) -> Finding:
    """Say what was written to be handed on."""
    by = " and ".join(spoken(name) for name in counts.table.by)
    sentence = (
        f"{path} holds the counts of {whole(counts.table.job_count)} hand-backs of "
        f"{counts.branch} up to {counts.data_date}{f', by {by}' if by else ''}."
    )
    return Finding(sentence, (NOBODY_NAMED, *(note.text for note in counts.notes)))


def of_pooled(pooled: Pooled, causes: CauseCurves) -> Finding:
    """Say what the branches' counts say together."""
    found = of_curves(causes.total)
    branches = pooled.branches["branch"].tolist()
    if len(branches) == 1:
        return found
    return Finding(f"{' and '.join(branches)} together: {found.sentence}", found.caveats)
