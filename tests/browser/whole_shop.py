"""The invented workshop in a job book, with a morning's work on the bench."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

from bench_shop import OWNER

from insights.bench.at_bench import Save, readings_typed, save_readings
from insights.bench.readings import Limit
from insights.bench.rules import Band, Minimum
from insights.bench.sheets import Instrument, ModelSheet, Practice
from insights.history.book.adding import add_history
from insights.history.book.book import Book
from insights.history.book.entries import Settings
from insights.history.book.kinds import INSTRUMENT, LIMIT, PRINTED, SHEET, WHOLE_BOOK
from insights.history.book.opening import create_book
from insights.history.declared import Declared
from synthetic.generate import generate
from synthetic.presets import cafe_workshop

GRILL = "contact grill"
WORKSHOP = "Three Benches"
CHECKLIST = (Practice("contact_pair", ("both", "one")), Practice("gasket", ("renewed", "left")))


@dataclass(frozen=True)
class Shop:
    """What a visitor needs to know of the book.

    Parameters
    ----------
    book
        The book.
    serial
        Of a unit that was here before and is inside its term.
    held_back
        A job whose readings are out of their limits.
    comeback
        A job whose comeback waits for a decision.
    """

    book: Book
    serial: str
    held_back: str
    comeback: str


def whole_shop(path: Path, jobs: int = 4000) -> Shop:
    """Make the book.

    Parameters
    ----------
    path
        Where.
    jobs
        About how many the history holds.
    """
    book = create_book(path, Settings(currency="EUR", workshop=WORKSHOP), OWNER)
    today = date.today()
    cafe = cafe_workshop(jobs=jobs)
    began = today - timedelta(days=cafe.days)  # its last day is today
    history, _ = generate(replace(cafe, first_day=began.isoformat()))
    add_history(book, history, Declared(), by=OWNER)
    _owners_lists(book)
    serial = "CG-447118"
    book.receive(
        {
            "unit_serial": serial,
            "model": GRILL,
            "customer": "Cafe Nine",
            "received": today - timedelta(days=47),
            "handed_back": today - timedelta(days=44),
            "term_days": 180,
            "root_cause": "contact",
            "technician": "Bo",
            "practice_contact_pair": "one",
            "lot_contact": "CO079",
            "price": 85,
        },
        by=OWNER,
    )
    comeback = _back_within_its_term(book, today)
    return Shop(book, serial, _held_back(book, today), comeback)


def _owners_lists(book: Book) -> None:
    limits = (
        Limit("insulation", "mohm", Minimum(0.3), protection="I_heating"),
        Limit("plate", "c", Band(200, 10), model=GRILL),
    )
    for limit in limits:
        book.put(LIMIT, limit.key, limit.to_json(), by=OWNER)
    meter = Instrument("blue meter", date.today() - timedelta(days=30))
    book.put(INSTRUMENT, meter.name, meter.to_json(), by=OWNER)
    book.put(SHEET, GRILL, ModelSheet(GRILL, "I_heating", CHECKLIST).to_json(), by=OWNER)
    law = {"workshop": f"{WORKSHOP}, 2 Mill Lane", "jurisdiction": "the law of our own country"}
    book.put(PRINTED, WHOLE_BOOK, law, by=OWNER)


def _back_within_its_term(book: Book, today: date) -> str:
    unit = {"unit_serial": "CG-552094", "model": GRILL, "customer": "Cafe Mill"}
    first = {
        **unit,
        "received": today - timedelta(days=66),
        "handed_back": today - timedelta(days=63),
        "term_days": 180,
        "root_cause": "contact",
        "technician": "Cleo",
        "practice_contact_pair": "one",
        "lot_contact": "CO079",
        "price": 85,
    }
    book.receive(first, by=OWNER)
    again = {
        **unit,
        "received": today - timedelta(days=2),
        "notified": today - timedelta(days=4),
        "complaint": "warm on one side only, then cold",
    }
    return book.receive(again, by=OWNER).job_id


def _held_back(book: Book, today: date) -> str:
    job = book.receive(
        {
            "unit_serial": "CG-610237",
            "model": GRILL,
            "customer": "Cafe Quay",
            "received": today - timedelta(days=1),
            "complaint": "trips the breaker when hot",
            "root_cause": "element",
            "technician": "Ada",
        },
        by=OWNER,
    )
    meter = Instrument("blue meter", today - timedelta(days=30))
    typed = {"reading_insulation_mohm": "0.2", "reading_plate_c": "214"}
    taken = readings_typed(typed, meter, book.settings(), today)
    save_readings(book, job, taken, "I_heating", Save(job.number, OWNER, "held-back"))
    return job.job_id
