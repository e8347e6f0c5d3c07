"""A proposal whose bill a comeback is. It is never stored by itself: the owner decides."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from insights.bench.claim_table import TABLE, ClaimFacts, Proposal
from insights.history.terms import day_of_term, reported_inside


@dataclass(frozen=True)
class Claim:
    """What the table proposes for one comeback. Nothing is stored by it.

    Parameters
    ----------
    proposal, reason
        Of the row that applied.
    row
        Which row of :data:`insights.bench.claim_table.TABLE`, counted from 1.
    facts
        What it was judged by.
    day, term_days
        Whole days from the hand-back to the report, and the term; None where not known.
    cause
        The root cause of this visit; empty: not recorded.
    """

    proposal: Proposal
    reason: str
    row: int
    facts: ClaimFacts
    day: int | None = None
    term_days: int | None = None
    cause: str = ""


def propose(
    facts: ClaimFacts, *, day: int | None = None, term_days: int | None = None, cause: str = ""
) -> Claim:
    """Propose whose bill a comeback is: by the first row of the table that applies.

    Parameters
    ----------
    facts
        What is known.
    day, term_days, cause
        Kept for the sentence (:func:`insights.wording.bench.of_claim`).

    Returns
    -------
    Claim
    """
    for number, row in enumerate(TABLE, start=1):
        if row.applies(facts):
            return Claim(row.proposal, row.reason, number, facts, day, term_days, cause)
    raise AssertionError(f"no row of the table answers {facts}")


@dataclass(frozen=True)
class Visits:
    """A comeback beside its index job, as far as term and cause go; None: not recorded.

    Parameters
    ----------
    handed_back, term_days
        Of the index job.
    received, notified
        Arrival of the comeback, and the day the customer reported the fault.
    index_cause, cause
        Root cause then and now.
    """

    handed_back: pd.Timestamp | None
    term_days: float | None
    received: pd.Timestamp
    notified: pd.Timestamp | None = None
    index_cause: str | None = None
    cause: str | None = None

    @property
    def in_term(self) -> str:
        """Whether it was reported inside the term, by the clock's own rule."""
        if self.day is None or self.term_days is None or pd.isna(self.term_days):
            return "unknown"
        inside = reported_inside(
            pd.Series([self.handed_back]),
            pd.Series([float(self.term_days)]),
            pd.Series([self.notified], dtype="datetime64[ns]"),
            pd.Series([self.received]),
        )
        return "yes" if bool(inside.iloc[0]) else "no"

    @property
    def day(self) -> int | None:
        """Whole days from the hand-back to the report or, without one, to the arrival.

        None without a hand-back, or where the report lies before it.
        """
        if self.handed_back is None or pd.isna(self.handed_back):
            return None
        day = day_of_term(self.handed_back, self.notified, self.received)
        return None if day < 0 else day

    @property
    def same_cause(self) -> str:
        """Whether both root causes are recorded and equal."""
        if not self.cause or not self.index_cause:
            return "unknown"
        return "yes" if self.cause == self.index_cause else "no"

    def propose(self, relation: str, our_site: str, our_part: str, evidence: str) -> Claim:
        """Propose whose bill it is, with what a person says of relation and evidence."""
        facts = ClaimFacts(
            in_term=self.in_term,
            relation=relation,
            same_cause=self.same_cause,
            our_site=our_site,
            our_part=our_part,
            evidence=evidence,
        )
        term_days = None if self.term_days is None or pd.isna(self.term_days) else self.term_days
        return propose(
            facts,
            day=self.day,
            term_days=None if term_days is None else int(term_days),
            cause=self.cause or "",
        )
