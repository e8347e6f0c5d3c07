"""Sheets, instruments and limits come out of the book as they were put in."""

from __future__ import annotations

from datetime import date

from insights.bench.kept import Printed, instruments, limits, printed, sheet_of, sheets
from insights.bench.readings import Limit
from insights.bench.rules import Band
from insights.bench.sheets import Instrument, ModelSheet, Practice
from insights.history.book.entries import Settings
from insights.history.book.kinds import INSTRUMENT, LIMIT, PRINTED, SHEET, WHOLE_BOOK
from insights.history.book.opening import create_book
from insights.history.book.people import Person

ADA = Person("Ada")


def test_they_come_back_and_what_is_withdrawn_does_not(tmp_path):
    book = create_book(tmp_path / "book.db", Settings(), ADA)
    sheet = ModelSheet("grill", "I_heating", (Practice("scale", ("cleaned", "left")),))
    plate = Limit("plate", "c", Band(200, 10), model="grill")
    meter = Instrument("blue meter", date(2026, 1, 5))
    book.put(SHEET, sheet.model, sheet.to_json(), by=ADA)
    book.put(LIMIT, plate.key, plate.to_json(), by=ADA)
    book.put(INSTRUMENT, meter.name, meter.to_json(), by=ADA)
    book.put(INSTRUMENT, "lost one", Instrument("lost one").to_json(), by=ADA)
    book.put(INSTRUMENT, "lost one", None, by=ADA)
    assert sheet_of(book, "grill") == sheet
    assert sheet_of(book, "boiler") is None
    assert sheets(book) == (sheet,)
    assert limits(book) == (plate,)
    assert instruments(book) == (meter,)


def test_what_is_printed_begins_with_the_books_own_name(tmp_path):
    book = create_book(tmp_path / "book.db", Settings(workshop="Corner Bench"), ADA)
    assert printed(book) == Printed("Corner Bench", "")
    said = Printed("Corner Bench, 2 Mill Lane", "the law of Ruritania")
    book.put(PRINTED, WHOLE_BOOK, vars(said), by=ADA)
    assert printed(book) == said
