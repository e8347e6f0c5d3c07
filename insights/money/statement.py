"""The warranty as the customer reads it: one printable page."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from insights.errors import RequestError
from insights.followup import as_day
from insights.money.claims import check_terms
from insights.money.renewal import KINDS, Kind
from insights.printing import boxed, bullets, day_words, fact_rows, page, paragraph

FAILS = (
    "If the fault we repaired comes back, or our work or a part we fitted fails, and you tell us "
    "by the last day above, "
)
PUT_RIGHT, REFUND = "we put it right without charge.", "we refund a part of the price."
ENDS_THEN = "A repair under this warranty does not lengthen it: it ends on the day above."

AFTER_A_CLAIM: dict[Kind, str] = {
    "non_renewing": ENDS_THEN,
    "minimal_repair": ENDS_THEN,
    "renewing": "A repair under this warranty starts it again for its whole length.",
    "pro_rata": (
        "The refund is the whole price on the first day, less by the same amount each day, and "
        "nothing after the last. It ends this warranty."
    ),
}


@dataclass(frozen=True)
class Statement:
    """What a customer is promised.

    Parameters
    ----------
    workshop
        Name and address of the workshop, as printed.
    repaired
        The unit and the work done, in the workshop's words.
    starts_on
        The day the unit is handed back.
    term_days
        How many days the warranty runs.
    caution
        What the law grants besides, and that this is no legal advice.
    jurisdiction
        Whose law applies, in the owner's words; printed with the caution.
    exclusions
        What is not covered, one a line, as the owner chooses.
    kind
        What happens after a claim.
    customer, job_id
        Printed where given.
    """

    workshop: str
    repaired: str
    starts_on: str | pd.Timestamp
    term_days: int
    caution: str
    jurisdiction: str
    exclusions: tuple[str, ...] = ()
    kind: Kind = "non_renewing"
    customer: str = ""
    job_id: str = ""

    def __post_init__(self) -> None:
        check_terms([self.term_days])
        as_day(self.starts_on, "first day of the warranty")
        if self.kind not in KINDS:
            raise RequestError(f"kind is '{self.kind}'. Choose one of: {', '.join(KINDS)}.")
        for name in ("workshop", "repaired", "caution", "jurisdiction"):
            if not getattr(self, name).strip():
                raise RequestError(f"The statement needs its {name}. Fill it in.")

    @property
    def last_day(self) -> pd.Timestamp:
        """The last day on which a fault can be reported."""
        return as_day(self.starts_on, "first day") + pd.Timedelta(days=self.term_days)


def warranty_page(statement: Statement) -> str:
    """Print a statement as one HTML page of its own: no script, nothing loaded from elsewhere."""
    first = as_day(statement.starts_on, "first day")
    facts = {
        "For": statement.customer,
        "Job": statement.job_id,
        "Repaired": statement.repaired,
        "Handed back": day_words(first),
        "Term": f"{statement.term_days} days",
        "Last day to report a fault": day_words(statement.last_day),
    }
    promise = FAILS + (REFUND if statement.kind == "pro_rata" else PUT_RIGHT)
    return page(
        "Warranty on a repair",
        (
            paragraph(statement.workshop),
            fact_rows(facts),
            "<h2>What we promise</h2>",
            paragraph(f"{promise} {AFTER_A_CLAIM[statement.kind]}"),
            bullets("Not covered", statement.exclusions),
            boxed(statement.caution, f"Law that applies: {statement.jurisdiction}"),
        ),
    )
