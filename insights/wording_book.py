"""The job book in plain sentences: what was made, kept, checked."""

from __future__ import annotations

from insights.wording import Finding


def of_new(name: str) -> Finding:
    """Say that a book was made, and what comes next."""
    return Finding(
        f"{name} is a new, empty job book.",
        ("Keep a backup on another disk: `staysfixed book backup` writes one while work goes on.",),
    )
