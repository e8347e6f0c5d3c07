"""What the customer reads of a job, put together from what the book knows of it."""

from __future__ import annotations

from insights.bench.at_bench import NOT_RETURNED
from insights.bench.deciding import DECIDED_FACTS
from insights.bench.limits import Judgement
from insights.bench.summary import Summary
from insights.history.book.as_typed import as_typed
from insights.history.book.entries import BookJob, Settings
from insights.wording import STATUTORY
from insights.wording.bench import in_words, of_reading

DONE = ("practice_", "lot_")


def customer_summary(
    job: BookJob,
    settings: Settings,
    *,
    workshop: str,
    jurisdiction: str,
    judgement: Judgement | None = None,
    index: BookJob | None = None,
) -> Summary:
    """Put together what a customer reads of a job.

    Parameters
    ----------
    job
        As the book has it.
    settings
        The book's currency and decimals.
    workshop
        Name and address, as printed.
    jurisdiction
        Whose law applies, in the owner's words.
    judgement
        Of its final readings; None: they are not printed.
    index
        For a comeback: the job it is judged against; the decision is printed with it.

    Returns
    -------
    Summary

    Raises
    ------
    RequestError
        The workshop or the jurisdiction is missing.
    """
    known = job.values
    term_days = known.get("term_days")
    measured = judgement.lines if judgement else ()
    price = as_typed("price", known.get("price"), settings)
    return Summary(
        workshop=workshop,
        job_id=job.job_id,
        model=str(known["model"]),
        received=known["received"],
        caution=STATUTORY,
        jurisdiction=jurisdiction,
        serial=str(known.get("unit_serial", "")),
        customer=str(known.get("customer", "")),
        complaint=str(known.get("complaint", "")),
        found=in_words(str(known.get("root_cause", ""))),
        done=_done(job),
        handed_back=known.get("handed_back"),
        term_days=None if term_days is None else int(term_days),
        readings=tuple(of_reading(line) for line in measured if line.reading is not None),
        not_returned=str(job.bench.get(NOT_RETURNED, "")),
        price=f"{price} {settings.currency}".strip() if price else "",
        index_job=index.job_id if index else "",
        decision=str(known.get("decision", "")) if index else "",
        reason=_reason(job) if index else "",
    )


def _done(job: BookJob) -> str:
    lines = []
    for name, value in sorted(job.values.items()):
        for prefix in DONE:
            if name.startswith(prefix):
                what = in_words(name.removeprefix(prefix))
                lines.append(f"{what}: {value}" if prefix == "practice_" else f"{what} renewed")
    return "; ".join(lines)


def _reason(job: BookJob) -> str:
    """Give what was written for the customer; the owner's own reason is not for print."""
    decided = job.bench.get(DECIDED_FACTS, {})
    followed = decided.get("proposal") == job.values.get("decision")
    return str(decided.get("printed") or (decided.get("why", "") if followed else ""))
