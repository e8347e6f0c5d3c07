"""Root-cause suggestions in plain sentences: what speaks for one, and how often it was right."""

from __future__ import annotations

from insights.bench.suggestion import CauseModel, Suggestion
from insights.bench.track_record import Hits
from insights.wording import Finding, per_100

FEW_SPOKEN = 10
SILENCES = {
    "no_words": "No suggestion: there are no words to go by.",
    "unknown_words": "No suggestion: most of these words are new to the record.",
    "rare_cause": "No suggestion: it sounds like a cause that the record has hardly seen.",
    "not_sure": "No suggestion: not sure enough.",
}
NEVER_FILLED = "A suggestion fills in nothing: look first, then code what you found."


def of_suggestion(found: Suggestion, learnt: CauseModel) -> Finding:
    """Say what is suggested, what spoke for it and how often that was right; or why nothing is."""
    if found.silent:
        return Finding(SILENCES[found.silent])
    spoke = ", ".join(f"'{word}'" for word in found.words)
    because = f"; what spoke for it: {spoke}" if spoke else ""
    hits = learnt.record.at(found.confidence, found.cause)
    return Finding(
        f"It may be {found.cause}: of 100 suggestions as sure as this one about "
        f"{per_100(found.probability)} are right{because}. {_of_cause(found.cause, hits)}",
        (NEVER_FILLED,),
    )


def of_track_record(learnt: CauseModel, confidence: float) -> Finding:
    """Say how often suggestions would have been right on jobs they had not learnt from."""
    hits = learnt.record.at(confidence)
    caveats = tuple(note.text for note in (*learnt.notes, *learnt.record.notes))
    if not hits.judged:
        return Finding(
            "How often it is right can't be said yet: no coded job came in after the first "
            "it learnt from.",
            caveats,
        )
    asked = f"asked to be right {per_100(confidence)} times in 100"
    if not hits.spoke:
        return Finding(f"Of {hits.judged} jobs it would have spoken for none, {asked}.", caveats)
    few = " Too few to rely on." if hits.spoke < FEW_SPOKEN else ""
    return Finding(
        f"On {hits.judged} later jobs, {asked}, it would have spoken for {hits.spoke} and been "
        f"right {hits.right} times: {per_100(hits.right_share)} of 100 (likely "
        f"{per_100(hits.low)} to {per_100(hits.high)}).{few}",
        caveats,
    )


def _of_cause(cause: str, hits: Hits) -> str:
    if not hits.spoke:
        return f"It has not suggested {cause} before."
    return f"It would have said {cause} {hits.spoke} times before, and been right {hits.right}."
