"""What a report is made of."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import pandas as pd

from insights.errors import EvidenceError, RequestError
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


Progress = Callable[[str], None]
Question = tuple[str, str, Callable[[], Found]]
"""A section's mark and title, and what works its answer out."""


def answered(questions: Iterable[Question], progress: Progress) -> Iterator[Section]:
    """Work out answers one after the other.

    Parameters
    ----------
    questions
        In the order of the page.
    progress
        Told the title of each answer before it is worked out.

    Yields
    ------
    Section
        A question that the record can't answer is there too, with the reason.
    """
    for mark, title, work in questions:
        progress(title)
        try:
            found = work()
        except (EvidenceError, RequestError) as error:
            found = Found(Finding(f"The record can't answer this. {error}"))
        yield Section(mark, title, found)
