"""One comeback from evidence to decision: each step is a version of its own in the job book.

The evidence is stored first, then what failed and how it relates to the earlier job, then the
decision. A proposal is never stored as a decision; what was proposed is kept beside what was
decided, with the owner's reason.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from insights.bench.claim_table import FACTS
from insights.bench.claims import Claim
from insights.bench.comebacks import UNSETTLED, visits_of
from insights.errors import EntryError, RequestError
from insights.history.book.book import Book
from insights.history.book.entries import BookJob
from insights.history.book.people import OWNER, Person

EVIDENCE_FACTS = "claim_evidence"
DECIDED_FACTS = "claim_decided"
ASKED = ("evidence", "our_part", "our_site")
"""Facts of the table that a person answers with the evidence."""

WRITTEN = ("seal", "lot", "photos", "remarks")
"""What the evidence rests on, in words: seal number or state, lot, where photographs are."""

STEPS = ("evidence", "cause_and_relation", "decision")


@dataclass(frozen=True)
class Comeback:
    """A comeback beside its index job, as the book has both.

    Parameters
    ----------
    job, index
        The comeback, and the job it is judged against.
    """

    job: BookJob
    index: BookJob

    @property
    def evidence(self) -> Mapping[str, str]:
        """What was answered and written under evidence; empty before that."""
        kept: Mapping[str, str] = self.job.bench.get(EVIDENCE_FACTS, {})
        return kept

    @property
    def decided(self) -> Mapping[str, Any]:
        """What was proposed and why it was decided so; empty before that."""
        kept: Mapping[str, Any] = self.job.bench.get(DECIDED_FACTS, {})
        return kept

    @property
    def next_step(self) -> str:
        """The first of :data:`STEPS` that is still to be done; empty: decided."""
        if not self.evidence:
            return STEPS[0]
        if self.job.values.get("relation", UNSETTLED) == UNSETTLED:
            return STEPS[1]
        return STEPS[2] if self.job.values.get("decision", UNSETTLED) == UNSETTLED else ""

    def propose(self) -> Claim:
        """Propose whose bill it is.

        Raises
        ------
        RequestError
            The evidence is not recorded yet: it comes before the money.
        """
        if not self.evidence:
            raise RequestError("Record the evidence first: it comes before the money.")
        return visits_of(self.job, self.index).propose(
            self.job.values.get("relation", UNSETTLED),
            our_site=self.evidence["our_site"],
            our_part=self.evidence["our_part"],
            evidence=self.evidence["evidence"],
        )


def open_comeback(book: Book, job_id: str, index_job_id: str) -> Comeback:
    """Read a comeback and its index job."""
    return Comeback(book.job(job_id), book.job(index_job_id))


def keep_evidence(
    book: Book, job_id: str, answers: Mapping[str, str], *, expected: int, by: Person, token: str
) -> BookJob:
    """Store what seal, part, lot and photographs show.

    Parameters
    ----------
    answers
        :data:`ASKED` (each one of its fact's values) and, where known, :data:`WRITTEN`.
    expected, by, token
        As for :meth:`insights.history.book.book.Book.save`.

    Raises
    ------
    EntryError
        An answer is missing or not one of those allowed.
    ChangedMeanwhile, NotAllowed, BookError
        As for ``Book.save``.
    """
    open_still = [name for name in ASKED if answers.get(name) not in FACTS[name]]
    if open_still:
        remedy = "choose one; that it is not known is an answer too"
        raise EntryError(
            tuple((name, answers.get(name, ""), "not answered", remedy) for name in open_still)
        )
    kept = {name: answers[name] for name in ASKED}
    kept |= {name: answers[name] for name in WRITTEN if answers.get(name, "").strip()}
    return book.save(
        job_id,
        {},
        expected=expected,
        by=by,
        what="evidence",
        token=token,
        bench={EVIDENCE_FACTS: kept},
    )


def keep_decision(
    book: Book,
    comeback: Comeback,
    decision: str,
    reason: str,
    *,
    expected: int,
    by: Person,
    token: str,
    claim_cost: str | None = None,
    printed: str = "",
) -> BookJob:
    """Store the owner's decision, with what was proposed and the owner's reason.

    Parameters
    ----------
    comeback
        As it was read: its proposal is kept beside the decision.
    decision
        One of :data:`insights.history.schema.DECISIONS`.
    reason
        In the owner's words; needed where the decision is not the one proposed.
    expected, by, token
        As for :meth:`insights.history.book.book.Book.save`.
    claim_cost
        What the comeback cost the shop, as typed; None: as it stands.
    printed
        What the customer reads of it; empty: what the proposal says, where it was followed.

    Raises
    ------
    RequestError
        The evidence is missing, or a decision unlike the proposal has no reason.
    NotAllowed
        The person is not an owner.
    ChangedMeanwhile, EntryError, BookError
        As for ``Book.save``.
    """
    by.must_be(OWNER)
    claim = comeback.propose()
    if decision not in (claim.proposal, UNSETTLED) and not reason.strip():
        raise RequestError(
            f"Proposed was '{claim.proposal}'. To decide otherwise, write down why: the next "
            "person who reads this job should know."
        )
    kept = {"proposal": claim.proposal, "row": claim.row, "why": claim.reason}
    for name, text in (("reason", reason), ("printed", printed)):
        if text.strip():
            kept[name] = text.strip()
    changes = {"decision": decision}
    if claim_cost is not None:
        changes["claim_cost"] = claim_cost
    return book.save(
        comeback.job.job_id,
        changes,
        expected=expected,
        by=by,
        what="decision",
        token=token,
        bench={DECIDED_FACTS: kept},
    )
