"""A job book for the bench's pages: one earlier visit, limits, a checklist, an instrument."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

from insights.bench.readings import Limit
from insights.bench.rules import Band, Minimum
from insights.bench.sheets import Instrument, ModelSheet, Practice
from insights.history.book.book import Book
from insights.history.book.entries import Settings
from insights.history.book.kinds import INSTRUMENT, LIMIT, PRINTED, SHEET, WHOLE_BOOK
from insights.history.book.opening import create_book
from insights.history.book.people import Person

OWNER = Person("Owner")
MODEL = "contact grill"
CHECKLIST = (Practice("contact_pair", ("both", "one")), Practice("scale", ("cleaned", "left")))


def bench_book(path: Path) -> Book:
    """Make it, with amounts typed with a comma."""
    settings = Settings(currency="EUR", workshop="Corner Bench", decimal=",")
    book = create_book(path, settings, OWNER)
    limits = (
        Limit("insulation", "mohm", Minimum(0.3), protection="I_heating"),
        Limit("plate", "c", Band(200, 10), model=MODEL),
    )
    for limit in limits:
        book.put(LIMIT, limit.key, limit.to_json(), by=OWNER)
    meter = Instrument("blue meter", date.today() - timedelta(days=30))
    book.put(INSTRUMENT, meter.name, meter.to_json(), by=OWNER)
    book.put(SHEET, MODEL, ModelSheet(MODEL, "I_heating", CHECKLIST).to_json(), by=OWNER)
    law = {"workshop": "Corner Bench, 2 Mill Lane", "jurisdiction": "the law of our own country"}
    book.put(PRINTED, WHOLE_BOOK, law, by=OWNER)
    back = date.today() - timedelta(days=40)
    book.receive(
        {
            "received": back - timedelta(days=3),
            "handed_back": back,
            "term_days": 180,
            "model": MODEL,
            "unit_serial": "CG-4471",
            "customer": "Cafe Nine",
            "root_cause": "contact",
            "technician": "Bo",
            "lot_contact": "C017",
        },
        by=OWNER,
    )
    return book
