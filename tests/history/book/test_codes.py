"""The workshop's own lists grow with what is recorded."""

from __future__ import annotations

from insights.history.book.codes import UsedCodes
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person

ADA = Person("Ada")


def test_most_used_first_and_grown_with_each_save(tmp_path):
    book = create_book(tmp_path / "book.db", Settings(), ADA)
    codes = UsedCodes(book)
    assert codes.of("root_cause") == ()
    for cause in ("cord", "contact", "contact"):
        book.receive({"received": "2026-03-02", "model": "grill", "root_cause": cause}, by=ADA)
    assert codes.of("root_cause") == ("contact", "cord")
    facts = {"lot_switch": "S1", "practice_scale": "cleaned", "root_cause": "thermostat"}
    book.save("J000001", facts, expected=1, by=ADA, what="findings")
    book.receive({"received": "2026-03-03", "model": "boiler", "lot_valve": "V9"}, by=ADA)
    assert set(codes.of("root_cause")) == {"contact", "cord", "thermostat"}
    assert codes.of("model") == ("grill", "boiler")
    assert codes.parts("boiler") == ("valve", "switch")
    assert codes.parts("grill") == ("switch", "valve")
    assert codes.practices("grill") == {"scale": ("cleaned",)}
    assert codes.practices("boiler") == {}
