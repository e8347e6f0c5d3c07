"""Warnings as data: what a reader of a result must know, and how it counts things in words."""

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


def whole(number: float) -> str:
    """Write a count with thousands set apart."""
    return f"{number:,.0f}"


def counted(number: float, one: str, many: str = "") -> str:
    """Write a count with what is counted, and a verb where it has one.

    Parameters
    ----------
    number
        How many.
    one
        What follows a 1: "unit", "job has".
    many
        What follows any other number; with an s after ``one`` where not given.
    """
    return f"{whole(number)} {one if number == 1 else many or f'{one}s'}"
