"""What may be concluded, and what must be said with it."""

from __future__ import annotations

import math

import numpy as np

from insights.evidence.reading import Reading
from insights.evidence.result import Control, Overlap, Verdict
from insights.notes import Note

TOO_EARLY = 10
FEWEST_EFFECTIVE_JOBS = 10
MOST_OUTSIDE = 0.5
CLOSE_CALL = (
    "One end of the range lies so near zero that other draws of chance (another seed) could put it "
    "on the other side. More draws would place it."
)
SURE_OF_DRAWS = 2.0
"""Standard errors of a count of draws."""


def judge(
    *, returns: int, reading: Reading, overlap: Overlap, control: Control, switched: bool
) -> tuple[Verdict, tuple[Note, ...]]:
    """Decide what the comparison shows, the first objection that holds going before the rest.

    Parameters
    ----------
    returns
        Comebacks asked about.
    reading, overlap, control
        What was found.
    switched
        Whether everyone changed on one day.
    """
    effective = min(overlap.effective_jobs_level, overlap.effective_jobs_against)
    closed = effective < FEWEST_EFFECTIVE_JOBS or overlap.share_outside > MOST_OUTSIDE
    objections: list[tuple[bool, Verdict, str]] = [
        (
            returns < TOO_EARLY,
            "too_early",
            f"{returns} comebacks are too few to tell: the prior weighs as much as the record.",
        ),
        (
            switched,
            "switched_on",
            "Everyone changed on one day, so this is before against after: weak evidence, as other "
            "things change over time too.",
        ),
        (
            closed,
            "cannot_compare",
            "Hardly any of these jobs could have been done either way, so the comparison rests on "
            "the model and not on like jobs.",
        ),
        (
            reading.disagree,
            "estimators_disagree",
            "Two ways of adjusting differ by more than chance, so at least one of them misleads.",
        ),
        (
            control.verdict == "differs",
            "different_units",
            "Causes that the practice can't touch differ too: the groups were different units, for "
            "a reason that is not recorded.",
        ),
    ]
    raised = [(verdict, Note(verdict, text)) for holds, verdict, text in objections if holds]
    notes = tuple(note for _, note in raised)
    if raised:
        return raised[0][0], notes
    if is_close_call(reading.draws, reading.confidence):
        notes = (*notes, Note("close_call", CLOSE_CALL))
    adjusted = reading.adjusted
    if adjusted.low <= 0 <= adjusted.high:
        return "not_clear", notes
    return ("helps" if adjusted.difference < 0 else "harms"), notes


def is_close_call(draws: np.ndarray, confidence: float) -> bool:
    """Tell whether the luck of the draws decides on which side of zero the interval ends.

    An end lies at zero where the draws beyond zero are just as many as the interval leaves out;
    that count is binomial.

    Parameters
    ----------
    draws
        Of the difference, shape (B,).
    confidence
        Of the interval.
    """
    left_out = (1 - confidence) / 2
    beyond = min(int((draws <= 0).sum()), int((draws >= 0).sum()))
    luck = math.sqrt(len(draws) * left_out * (1 - left_out))
    return abs(beyond - len(draws) * left_out) <= SURE_OF_DRAWS * luck
