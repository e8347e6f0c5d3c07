"""Whose bill a comeback is: the facts asked, and the table of rules that answers them."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Literal

import pandas as pd

from insights.errors import RequestError
from insights.history.schema import RELATIONS

Proposal = Literal["covered", "goodwill", "charged", "undetermined"]

PROPOSALS: tuple[Proposal, ...] = ("covered", "goodwill", "charged", "undetermined")
ANSWERS = ("yes", "no", "unknown")
EVIDENCE = ("as_we_left_it", "opened_since", "unknown")
ANY = "any"


@dataclass(frozen=True)
class ClaimFacts:
    """What is known of a comeback, before money is spoken of.

    Parameters
    ----------
    in_term
        Whether it was reported inside the index job's term: ``yes``, ``no``, ``unknown``.
    relation
        How it relates to the index job, one of
        :data:`insights.history.schema.RELATIONS`.
    same_cause
        Whether its root cause is the index job's.
    our_site
        Whether the fault sits where we worked.
    our_part
        Whether a part (or lot) we fitted failed.
    evidence
        What seal and photos show: ``as_we_left_it`` (seal whole, or photos bear it out),
        ``opened_since`` (seal broken, another's work, damage), ``unknown``.

    Raises
    ------
    RequestError
        A fact has another value.
    """

    in_term: str
    relation: str
    same_cause: str = "unknown"
    our_site: str = "unknown"
    our_part: str = "unknown"
    evidence: str = "unknown"

    def __post_init__(self) -> None:
        for name, allowed in FACTS.items():
            value = getattr(self, name)
            if value not in allowed:
                raise RequestError(f"{name} is '{value}'. Choose one of: {', '.join(allowed)}.")


FACTS: dict[str, tuple[str, ...]] = {
    "relation": RELATIONS,
    "in_term": ANSWERS,
    "same_cause": ANSWERS,
    "our_site": ANSWERS,
    "our_part": ANSWERS,
    "evidence": EVIDENCE,
}
"""Every fact and what it may be, in the order asked."""


@dataclass(frozen=True)
class Row:
    """One row of the table: it applies where every fact named holds one of its values.

    Parameters
    ----------
    proposal
        One of :data:`PROPOSALS`.
    reason
        Why, in plain words.
    relation, in_term, same_cause, our_site, our_part, evidence
        The values it asks for; empty: any.
    """

    proposal: Proposal
    reason: str
    relation: tuple[str, ...] = ()
    in_term: tuple[str, ...] = ()
    same_cause: tuple[str, ...] = ()
    our_site: tuple[str, ...] = ()
    our_part: tuple[str, ...] = ()
    evidence: tuple[str, ...] = ()

    def applies(self, facts: ClaimFacts) -> bool:
        """Whether every fact named holds."""
        return all(
            not asked or getattr(facts, name) in asked
            for name, asked in ((name, getattr(self, name)) for name in FACTS)
        )


YES, NO, UNKNOWN = ("yes",), ("no",), ("unknown",)
OPENED, AS_LEFT = ("opened_since",), ("as_we_left_it",)
SAME, WORKMANSHIP, CONSEQUENCE = ("same_fault",), ("workmanship",), ("consequential",)
NEW, NOTHING, MISUSE = ("new_fault",), ("no_fault_found",), ("misuse",)
OURS = ("same_fault", "workmanship", "consequential")

TABLE: tuple[Row, ...] = (
    # What must be known first
    Row(
        "undetermined",
        "How this visit relates to the earlier job is not settled yet.",
        relation=("pending",),
    ),
    Row(
        "undetermined",
        "The earlier hand-back, its term or the report has no date, so inside or outside the "
        "term can't be told.",
        in_term=UNKNOWN,
    ),
    # No failure of the unit
    Row(
        "goodwill",
        "Nothing was found: no failure, but the customer came inside the term.",
        relation=NOTHING,
        in_term=YES,
    ),
    Row("charged", "Nothing was found, outside our warranty.", relation=NOTHING),
    Row(
        "charged",
        "Misuse, and seal or photos bear it out.",
        relation=MISUSE,
        evidence=OPENED,
    ),
    Row(
        "undetermined",
        "Misuse is said, but nothing recorded bears it out.",
        relation=MISUSE,
    ),
    # Facts that contradict each other
    Row(
        "undetermined",
        "Said to be the same fault, yet its root cause is another. Look again at one of the two.",
        relation=SAME,
        same_cause=NO,
    ),
    Row(
        "undetermined",
        "Said to be a new fault, yet its root cause is the earlier one. Look again at one of the "
        "two.",
        relation=NEW,
        same_cause=YES,
    ),
    # Someone else was inside
    Row(
        "undetermined",
        "The unit was opened or damaged since, so what is ours can't be told from the record.",
        relation=OURS,
        evidence=OPENED,
    ),
    # Caused by our work
    Row("covered", "Our work caused it, inside the term.", relation=WORKMANSHIP, in_term=YES),
    Row(
        "undetermined",
        "Our work caused it, outside our warranty. The law may still oblige us: look before "
        "asking for money.",
        relation=WORKMANSHIP,
    ),
    # The same fault again
    Row(
        "covered",
        "The fault we repaired came back inside the term.",
        relation=SAME,
        in_term=YES,
        same_cause=YES,
    ),
    Row(
        "covered",
        "The fault we repaired came back inside the term, at a part we fitted.",
        relation=SAME,
        in_term=YES,
        our_part=YES,
    ),
    Row(
        "covered",
        "The fault we repaired came back inside the term, where we worked.",
        relation=SAME,
        in_term=YES,
        our_site=YES,
    ),
    Row(
        "undetermined",
        "Said to be the same fault, but its root cause is not recorded and neither part nor place "
        "is known to be ours.",
        relation=SAME,
        in_term=YES,
    ),
    Row(
        "goodwill",
        "A part we fitted failed again as we left it, outside our warranty.",
        relation=SAME,
        our_part=YES,
        evidence=AS_LEFT,
    ),
    Row("charged", "The same fault, outside our warranty.", relation=SAME),
    # Damage that followed
    Row(
        "covered",
        "It followed from a part we fitted, inside the term.",
        relation=CONSEQUENCE,
        in_term=YES,
        our_part=YES,
    ),
    Row(
        "covered",
        "It followed from where we worked, inside the term.",
        relation=CONSEQUENCE,
        in_term=YES,
        our_site=YES,
    ),
    Row(
        "goodwill",
        "It followed from the fault we repaired, but not from our part or our work.",
        relation=CONSEQUENCE,
        in_term=YES,
        our_part=NO,
        our_site=NO,
    ),
    Row(
        "undetermined",
        "It followed from the earlier fault; whether through our part or our work is not recorded.",
        relation=CONSEQUENCE,
        in_term=YES,
    ),
    Row("charged", "Damage that followed, outside our warranty.", relation=CONSEQUENCE),
    # Another fault
    Row("charged", "A new fault, outside our warranty.", relation=NEW, in_term=NO),
    Row(
        "undetermined",
        "A new fault, but the unit was opened or damaged since at a part we fitted.",
        relation=NEW,
        our_part=YES,
        evidence=OPENED,
    ),
    Row(
        "covered",
        "A part we fitted failed inside the term, though with a new fault.",
        relation=NEW,
        our_part=YES,
    ),
    Row(
        "undetermined",
        "A new fault where we worked: look whether our work caused it.",
        relation=NEW,
        our_site=YES,
    ),
    Row(
        "charged",
        "A new fault, neither at our part nor where we worked.",
        relation=NEW,
        our_part=NO,
        our_site=NO,
    ),
    Row(
        "undetermined",
        "A new fault; whether at our part or where we worked is not recorded.",
        relation=NEW,
    ),
)
"""The table, in the order tried: the first row that applies gives the proposal."""


def every_combination() -> Iterator[ClaimFacts]:
    """Go through every combination of the facts."""
    for values in itertools.product(*FACTS.values()):
        yield ClaimFacts(**dict(zip(FACTS, values, strict=True)))


def decision_table() -> pd.DataFrame:
    """Show the table as it is: one row a rule, in the order tried.

    Returns
    -------
    pandas.DataFrame
        ``row`` (from 1), one column a fact (``any``, or the values it asks for), ``proposal``,
        ``reason``.
    """
    assert set(FACTS) == {field.name for field in fields(ClaimFacts)}
    return pd.DataFrame(
        [
            {
                "row": number,
                **{name: " or ".join(getattr(row, name)) or ANY for name in FACTS},
                "proposal": row.proposal,
                "reason": row.reason,
            }
            for number, row in enumerate(TABLE, start=1)
        ]
    )
