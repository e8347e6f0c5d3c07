"""What may be concluded, and what must be said with it."""

from __future__ import annotations

from insights.evidence.reading import Reading
from insights.evidence.result import Control, Overlap, Verdict
from insights.notes import Note

TOO_EARLY = 10
FEWEST_EFFECTIVE_JOBS = 10
MOST_OUTSIDE = 0.5


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
    adjusted = reading.adjusted
    if adjusted.low <= 0 <= adjusted.high:
        return "not_clear", notes
    return ("helps" if adjusted.difference < 0 else "harms"), notes
