"""The words of the trade and of statistics that answers use, each with its plain twin."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Term:
    """One word and what it means here.

    Parameters
    ----------
    name
        The word as answers use it.
    kind
        ``trade`` or ``statistics``.
    plainly
        The same in everyday words, short enough to stand beside it.
    means
        What it says.
    not_that
        What it is often taken for and does not say; empty where nobody errs.
    """

    name: str
    kind: Literal["trade", "statistics"]
    plainly: str
    means: str
    not_that: str = ""


TERMS: tuple[Term, ...] = (
    Term("unit", "trade", "one appliance", "One physical appliance, however often it comes."),
    Term("job", "trade", "one visit to the bench", "One visit of one unit, from arrival to exit."),
    Term("hand-back", "trade", "the unit leaves us", "The day a unit leaves the workshop."),
    Term(
        "comeback",
        "trade",
        "the unit is here again",
        "A later visit of the same unit, for whatever reason.",
        "It is not yet a failure of ours: the root cause and the relation say what it was.",
    ),
    Term(
        "index job",
        "trade",
        "the job before",
        "The job that a comeback is judged against: the last hand-back of the same unit.",
    ),
    Term("root cause", "trade", "what failed", "What failed on this visit, in the shop's codes."),
    Term(
        "upstream cause",
        "trade",
        "what made it fail",
        "What made the part fail, such as a switch whose arcing killed a resistor.",
        "A new part does not remove it.",
    ),
    Term(
        "relation",
        "trade",
        "how it hangs together with the job before",
        "Same fault, workmanship, consequence, new fault, no fault found or misuse.",
        "It says nothing of who pays: that is the decision.",
    ),
    Term("term", "trade", "our warranty in days", "How long the workshop's own warranty runs."),
    Term(
        "claim",
        "trade",
        "a comeback we pay for",
        "A comeback that the workshop's warranty covers.",
        "What the law owes the customer goes beyond it and is never less.",
    ),
    Term("goodwill", "trade", "free, but not owed", "A comeback put right free without a claim."),
    Term(
        "no fault found",
        "trade",
        "nothing was wrong",
        "The unit came back and the bench found nothing.",
        "It costs time all the same, so it is shown apart and not dropped.",
    ),
    Term("lot", "trade", "a batch of parts", "The purchase batch that a fitted part came from."),
    Term("practice", "trade", "a way of working", "Something the bench does or leaves undone."),
    Term(
        "open exposure",
        "trade",
        "jobs we may still have to redo",
        "Hand-backs that are still inside their term.",
    ),
    Term(
        "reserve",
        "trade",
        "money to set aside",
        "What the claims still to come from open exposure may cost.",
        "The expected cost is not enough: set aside the amount that is enough nine times in ten.",
    ),
    Term(
        "data date",
        "trade",
        "the record is complete up to here",
        "The last day of which everything that happened is in the record.",
    ),
    Term(
        "share back",
        "statistics",
        "how many of 100 come back by then",
        "The share of repaired units that come back within so many days, with units that are "
        "still too young to tell counted for as long as they have been out.",
        "It is not comebacks divided by jobs, which makes young jobs look good.",
    ),
    Term(
        "at risk",
        "statistics",
        "still out and watched",
        "Units that were out of our hands that long and had not come back before.",
    ),
    Term(
        "censored",
        "statistics",
        "fine when last known",
        "The unit had not come back when the record, or its term, ended.",
        "It is not known to be fine for ever.",
    ),
    Term(
        "range",
        "statistics",
        "likely between",
        "If the record were drawn again and again, 95 of 100 such ranges would hold the truth.",
        "It covers chance only: not a mistaken record, nor units that fail and never come back.",
    ),
    Term(
        "p",
        "statistics",
        "how often chance alone does this",
        "How often chance alone would make a difference at least this large.",
        "It is not the chance that there is no difference, and it says nothing of how large it is.",
    ),
    Term(
        "log-rank",
        "statistics",
        "a test over the whole curve",
        "Compares groups over their whole time out of our hands.",
    ),
    Term(
        "Peto-Peto",
        "statistics",
        "the same, early days weighing more",
        "A test like the log-rank that looks mostly at early comebacks.",
    ),
    Term(
        "hazard",
        "statistics",
        "the rate of coming back now",
        "How fast units that are still out come back at an age.",
    ),
    Term(
        "hazard ratio",
        "statistics",
        "how many times that rate",
        "The rate in one group as a multiple of the rate in another.",
        "It is not a share of jobs avoided: look at the difference of 100 jobs for that.",
    ),
    Term(
        "like for like",
        "statistics",
        "on the same mix of jobs",
        "Worked out as if both ways of working had been used on the same jobs.",
        "Reasons for choosing that nobody wrote down are not in it.",
    ),
    Term(
        "balance",
        "statistics",
        "are the groups alike?",
        "How different the groups are in what was known before the repair.",
    ),
    Term(
        "overlap",
        "statistics",
        "were both ways used on such jobs?",
        "Whether jobs of a kind were done both ways; where not, nothing can be compared.",
    ),
    Term(
        "E-value",
        "statistics",
        "how strong an unknown reason would have to be",
        "How strongly an unwritten reason would have to drive both the choice and the comebacks "
        "to explain the difference away.",
        "A large one does not prove that there is no such reason.",
    ),
    Term(
        "control cause",
        "statistics",
        "a fault the practice can't touch",
        "A root cause that the practice cannot touch. If the groups differ in it, they were "
        "different units.",
    ),
    Term(
        "doubly robust",
        "statistics",
        "two ways in one",
        "An estimate that holds if either of two models of the record is right.",
    ),
    Term(
        "weighted",
        "statistics",
        "counted so that the groups match",
        "Jobs of a kind that is rare in a group count for more, so that the groups are alike.",
    ),
    Term(
        "chance that it pays",
        "statistics",
        "how sure the money is",
        "How often the practice earns more than it costs, over all that the record allows.",
    ),
    Term(
        "prediction interval",
        "statistics",
        "the range for your next jobs",
        "Where the number of claims of your next jobs will lie, nine times in ten.",
        "It is wider than the range of the share itself, because chance comes on top.",
    ),
    Term(
        "mature",
        "statistics",
        "old enough to judge",
        "How much of what will come back has come back by now.",
    ),
    Term(
        "expected comebacks",
        "statistics",
        "what such work usually brings",
        "The comebacks that the same mix of jobs would have brought in the shop at large.",
    ),
    Term(
        "shrunk ratio",
        "statistics",
        "pulled towards the middle",
        "Comebacks against expected ones, pulled towards the shop's own as far as few jobs can't "
        "tell a group from it.",
        "It is not a rank: groups whose ranges overlap can't be told apart.",
    ),
    Term(
        "funnel limits",
        "statistics",
        "how far chance alone reaches",
        "How far a group of that size can lie from the middle by chance alone.",
    ),
    Term(
        "overdispersion",
        "statistics",
        "groups differ more than chance",
        "Groups lie further apart than chance makes them, without any one standing out.",
    ),
    Term(
        "CUSUM",
        "statistics",
        "a tally of bad luck that forgets good days",
        "A running tally that rises when more comes back than expected and never falls below 0.",
    ),
    Term(
        "false alarms a year",
        "statistics",
        "alarms with nothing behind them",
        "How many alarms a year all charts together give although nothing has changed.",
    ),
    Term(
        "kappa",
        "statistics",
        "agreement beyond luck",
        "How far two people code alike, beyond what guessing would give: 1 always, 0 as luck.",
    ),
    Term(
        "coverage",
        "statistics",
        "how often the range was right",
        "Of many ranges given, the share that held what came.",
    ),
)
"""In the order in which they are met."""


def find(name: str) -> Term:
    """Give the entry of a word.

    Raises
    ------
    KeyError
        The word has none: a fault of this program, not of its user.
    """
    return _BY_NAME[name]


_BY_NAME = {term.name: term for term in TERMS}
