"""The first morning: what to do, in order, from a record to the first answer."""

from __future__ import annotations

from dataclasses import dataclass

from insights import wording
from insights.standing import Standing
from insights.survival.curves import Curves


@dataclass(frozen=True)
class Step:
    """One thing to do on the first morning.

    Parameters
    ----------
    title
        What to do.
    says
        How far it is, in words.
    done
        Whether nothing is left to do about it.
    page
        The page on which it is done, by its address.
    link
        The words of the link to that page.
    """

    title: str
    says: str
    done: bool
    page: str
    link: str


def first_steps(
    standing: Standing, curves: Curves, *, jobs: int, source: str, own: bool, book: bool
) -> tuple[Step, ...]:
    """Say what is done and what is left, from the record to the first answer.

    Parameters
    ----------
    standing
        Counts of the record.
    curves
        The share back, all jobs together.
    jobs
        Jobs that loaded.
    source
        The record's name.
    own
        Whether it is the workshop's own record, not the invented one.
    book
        Whether a job book is open.
    """
    return (
        Step(
            "Open your own record",
            f"{wording.whole(jobs)} jobs load from {source}."
            if own
            else "This is the invented workshop, to look around in. Nothing you do here is kept.",
            own,
            "record",
            "Open a file, and match its headings",
        ),
        Step(
            "Mend what was refused",
            _left(standing.refused_rows, "row was refused", "rows were refused")
            + " "
            + _left(standing.problems, "date contradicts another", "dates contradict each other"),
            standing.refused_rows + standing.problems == 0,
            "record",
            "See each row, why, and what to do",
        ),
        Step(
            "Settle doubtful units",
            _left(
                standing.doubtful_links,
                "pair of jobs may be one unit",
                "pairs of jobs may be one unit",
            )
            + " A comeback that is not recognised is not counted."
            + ("" if book or not standing.doubtful_links else SETTLED_WHERE),
            standing.doubtful_links == 0,
            "same-unit" if book else "record",
            "Look at them side by side" if book else "Look at the pairs",
        ),
        Step(
            "Read the first answer",
            wording.of_curves(curves).sentence,
            standing.returns > 0,
            "comebacks",
            "Coming back, and by which way of working",
        ),
        Step(
            "Record the next jobs here",
            "A job book is open: take units in, and every page above answers from it."
            if book
            else "A job book keeps each job from the counter to the hand-back, and every change.",
            book,
            "take-in",
            "Take in the next unit",
        ),
    )


SETTLED_WHERE = (
    " Mend the serial in your sheet where two jobs are one unit, or decide on each pair in a job "
    "book."
)


def of_steps(steps: tuple[Step, ...]) -> wording.Finding:
    """Say how far one is, and what comes next."""
    left = [step.title for step in steps if not step.done]
    done = len(steps) - len(left)
    if not left:
        return wording.Finding("All is done. Come back to this page whenever the record changes.")
    return wording.Finding(
        f"{done} of {len(steps)} steps are done. Next: {left[0][0].lower()}{left[0][1:]}."
    )


def _left(count: int, one: str, many: str) -> str:
    if not count:
        return f"No {many}."
    return f"{wording.whole(count)} {one if count == 1 else many}."


TOUR: tuple[tuple[str, str, str], ...] = (
    (
        "",
        "Where we stand",
        "What is out, what came back, what wants a look, and how the latest months will end.",
    ),
    (
        "comebacks",
        "Coming back",
        "Choose a way of working in the sidebar and see the two curves part, or not.",
    ),
    (
        "causes",
        "Root causes",
        "The same curve, split by what failed; the parts add up.",
    ),
    (
        "practice",
        "Does it work?",
        "Renewing both contacts looks useless in the plain record, because it was done on the "
        "worse units. On like jobs it prevents comebacks. Move the costs and see when it pays.",
    ),
    (
        "review",
        "Better or worse",
        "Months, models, people and lots, each against what its own work would bring.",
    ),
    (
        "watch",
        "Trouble early",
        "What sounded, since about when, and how often it would sound with nothing wrong.",
    ),
    (
        "warranties",
        "Warranties",
        "What each term costs, what to set aside, and how earlier forecasts did.",
    ),
)
"""Pages to look at in the invented workshop: address (none: the first), name, what to see."""
