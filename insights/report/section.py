"""What a report is made of."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from insights.wording import Finding


@dataclass(frozen=True)
class Chart:
    """A drawing.

    Parameters
    ----------
    svg
        An ``<svg>`` element, complete in itself.
    says
        What it shows, for those who can't see it.
    """

    svg: str
    says: str


@dataclass(frozen=True)
class Sheet:
    """A table in words.

    Parameters
    ----------
    heading
        What it lists.
    table
        Cells as printed.
    """

    heading: str
    table: pd.DataFrame


@dataclass(frozen=True)
class Found:
    """What was found on one question.

    Parameters
    ----------
    finding
        The answer, and what to keep in mind.
    charts, sheets
        What it rests on.
    method
        How it was worked out, for the appendix; empty: nothing was estimated.
    """

    finding: Finding
    charts: tuple[Chart, ...] = ()
    sheets: tuple[Sheet, ...] = ()
    method: str = ""


@dataclass(frozen=True)
class Section:
    """One question and what was found.

    Parameters
    ----------
    mark
        Short name, for links inside the page.
    title
        The question.
    found
        The answer.
    """

    mark: str
    title: str
    found: Found
