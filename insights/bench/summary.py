"""What a customer reads of a job or a comeback: one printable page."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from insights.errors import RequestError
from insights.printing import boxed, bullets, day_words, fact_rows, page, paragraph

DECISIONS: dict[str, str] = {
    "covered": "This visit is covered by our warranty. There is nothing to pay.",
    "goodwill": "This visit is not owed under our warranty. We do it free, as goodwill.",
    "charged": "We charge for this visit: we do not see it as covered by our own warranty.",
    "declined": "We have not taken on this repair.",
    "pending": "We have not decided yet whether our warranty covers this visit.",
}
"""What is printed for each decision of :data:`insights.history.schema.DECISIONS`."""

NOT_RETURNED = "This unit is not returned to use. Do not plug it in."


@dataclass(frozen=True)
class Summary:
    """What a customer is told of one job.

    Parameters
    ----------
    workshop
        Name and address of the workshop, as printed.
    job_id, model, received
        The job.
    caution
        What the law grants besides, and that this is no legal advice.
    jurisdiction
        Whose law applies, in the owner's words.
    serial, customer, complaint, found, done
        Printed where given, in the workshop's words.
    handed_back, term_days
        The day the unit leaves and this job's own warranty; the last day follows from both.
    readings
        The final readings, one sentence each.
    not_returned
        Why the unit is not returned to use; empty: it is.
    price
        As printed, with its currency.
    index_job
        For a comeback: the earlier job it is judged against.
    decision, reason
        For a comeback: who pays, one of :data:`DECISIONS`, and why, in the owner's words.

    Raises
    ------
    RequestError
        A part that must be there is empty, or the decision is another.
    """

    workshop: str
    job_id: str
    model: str
    received: pd.Timestamp
    caution: str
    jurisdiction: str
    serial: str = ""
    customer: str = ""
    complaint: str = ""
    found: str = ""
    done: str = ""
    handed_back: pd.Timestamp | None = None
    term_days: int | None = None
    readings: tuple[str, ...] = ()
    not_returned: str = ""
    price: str = ""
    index_job: str = ""
    decision: str = ""
    reason: str = ""

    def __post_init__(self) -> None:
        for name in ("workshop", "job_id", "model", "caution", "jurisdiction"):
            if not getattr(self, name).strip():
                raise RequestError(f"The summary needs its {name}. Fill it in.")
        if self.decision and self.decision not in DECISIONS:
            raise RequestError(
                f"The decision is '{self.decision}'. Choose one of: {', '.join(DECISIONS)}."
            )


def summary_page(summary: Summary) -> str:
    """Print a summary as one HTML page of its own: no script, nothing loaded from elsewhere."""
    facts = {
        "For": summary.customer,
        "Job": summary.job_id,
        "Unit": ", ".join(part for part in (summary.model, summary.serial) if part),
        "Received": day_words(summary.received),
        "Handed back": day_words(summary.handed_back) if summary.handed_back is not None else "",
        "Reported fault": summary.complaint,
        "Found": summary.found,
        "Done": summary.done,
        "Price": summary.price,
    }
    returned = not summary.not_returned.strip()
    return page(
        "Your repair" if not summary.index_job else "Your returned unit",
        (
            paragraph(summary.workshop),
            fact_rows(facts),
            _comeback(summary),
            bullets("Tested before it left", summary.readings),
            "" if returned else boxed(NOT_RETURNED, summary.not_returned),
            _warranty(summary) if returned else "",
            boxed(summary.caution, f"Law that applies: {summary.jurisdiction}"),
        ),
    )


def _comeback(summary: Summary) -> str:
    if not summary.index_job:
        return ""
    parts = (
        "<h2>Who pays</h2>",
        paragraph(f"It is judged against our earlier job {summary.index_job}."),
        paragraph(DECISIONS.get(summary.decision, DECISIONS["pending"])),
        paragraph(summary.reason),
    )
    return "\n".join(part for part in parts if part)


def _warranty(summary: Summary) -> str:
    if summary.term_days is None:
        return ""
    if summary.term_days == 0:
        text = "We give no warranty of our own on this job."
    elif summary.handed_back is None:
        text = f"{summary.term_days} days from the day we hand it back."
    else:
        last_day = summary.handed_back + pd.Timedelta(days=summary.term_days)
        text = f"{summary.term_days} days: report a fault by {day_words(last_day)}."
    return f"<h2>Our warranty on this job</h2>\n{paragraph(text)}"
