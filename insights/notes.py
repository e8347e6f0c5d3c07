"""Warnings as data: what a reader of a result must know, carried with the result."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Note:
    """One remark on a result.

    Parameters
    ----------
    code
        Short name of the kind of remark, stable, for programs.
    text
        The remark in plain words.
    jobs
        How many jobs it concerns, where that can be counted.
    """

    code: str
    text: str
    jobs: int | None = None
