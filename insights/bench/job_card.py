"""The card that stays with a unit from the counter to the hand-back: one printable page."""

from __future__ import annotations

from collections.abc import Sequence

from insights.bench.cautions import HOT, LICENSED, MAINS
from insights.history.book.entries import BookJob, Settings
from insights.printing import boxed, bullets, day_words, fact_rows, page, paragraph

TO_FILL_IN = ("Found", "Upstream cause, and whether removed", "Parts and lots", "Minutes")
LINE = "_" * 44


def job_card_page(job: BookJob, settings: Settings, earlier: Sequence[str] = ()) -> str:
    """Print a job's card: HTML of its own, no script, nothing loaded from elsewhere.

    Parameters
    ----------
    job
        The job as received.
    settings
        The book's: the workshop's name is printed.
    earlier
        What was done on the unit before, a sentence a visit.
    """
    known = job.values
    facts = {
        "Received": day_words(known["received"]),
        "Unit": ", ".join(str(known[name]) for name in ("model", "unit_serial") if name in known),
        "Customer": str(known.get("customer", "")),
        "Reported fault": str(known.get("complaint", "")),
        "Condition": f"{known['condition']} of 5 (1 good, 5 poor)" if "condition" in known else "",
    }
    return page(
        job.job_id,
        (
            paragraph(settings.workshop),
            fact_rows(facts),
            bullets("Here before", earlier),
            fact_rows({name: LINE for name in TO_FILL_IN}),
            boxed(MAINS, HOT, LICENSED),
        ),
    )
