"""A small job book with comebacks in it."""

from __future__ import annotations

from datetime import date

from insights.history.book.people import Person

TODAY = date(2026, 6, 1)
ADA, BO = Person("Ada", "owner"), Person("Bo", "bench")

JOBS = (
    # Each unit's visits follow each other; the customer of the last two is one.
    {
        "unit_serial": "WB-4471",
        "received": "2026-01-02",
        "handed_back": "2026-01-05",
        "root_cause": "contact",
        "term_days": 180,
    },
    {
        "unit_serial": "WB-4471",
        "received": "2026-02-18",
        "notified": "2026-02-15",
        "complaint": "cold again",
    },
    {"unit_serial": "MS-9", "received": "2026-01-03", "handed_back": "2026-01-04"},
    {"unit_serial": "WB-4471", "received": "2026-05-30"},
    {
        "unit_serial": "GR-447100",
        "received": "2026-03-01",
        "handed_back": "2026-03-02",
        "customer": "Cafe Nine",
        "unit_age_years": 3,
    },
    {
        "unit_serial": "GR-441700",
        "received": "2026-04-01",
        "customer": "Cafe Ten",
        "unit_age_years": 3,
    },
)
