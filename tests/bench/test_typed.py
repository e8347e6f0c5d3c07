"""Limits, sheets and instruments as typed: read with the book's decimal mark, and back."""

from __future__ import annotations

from datetime import date

import pytest

from insights.bench.readings import Limit
from insights.bench.rules import Band, EarthByLead, Element, Maximum, Nominal
from insights.bench.sheets import Instrument, ModelSheet, Practice
from insights.bench.typed import (
    instrument_as_typed,
    instrument_from_typed,
    limit_as_typed,
    limit_from_typed,
    numbers_of,
    numbers_to_start_from,
    sheet_as_typed,
    sheet_from_typed,
)
from insights.errors import EntryError, RequestError
from insights.history.book.entries import Settings

TODAY = date(2026, 3, 9)
POINT, COMMA = Settings(), Settings(decimal=",")
PLATE = {"rule": "band", "aim": "200", "half_band": "7,5", "quantity": "plate", "unit": "c"}


@pytest.mark.parametrize("settings", [POINT, COMMA])
@pytest.mark.parametrize(
    "rule",
    [
        Band(200, 7.5),
        Maximum(3.5),
        EarthByLead(0.05),
        Nominal(47, 0.05, 0.1),
        Element(2000, 230, 2, 0.05, 0.1),
    ],
)
def test_a_limit_comes_back_as_typed(rule, settings):
    limit = Limit("plate", "c", rule, "grill", "II", False, True, "maker's sheet")
    assert limit_from_typed(limit_as_typed(limit, settings), settings, TODAY) == limit


def test_the_decimal_mark_is_the_book_s():
    assert limit_from_typed(PLATE, COMMA, TODAY).rule == Band(200, 7.5)
    with pytest.raises(EntryError) as refused:
        limit_from_typed(PLATE, POINT, TODAY)
    assert refused.value.problems[0][0] == "half_band"


def test_shares_are_typed_in_percent():
    element = {
        "rule": "element",
        "power_w": "2200",
        "voltage_v": "230",
        "elements": "1",
        "over_share": "5",
        "under_share": "10",
        "quantity": "element",
        "unit": "ohm",
    }
    assert limit_from_typed(element, POINT, TODAY).rule == Element(2200, 230)
    assert numbers_to_start_from("element", POINT) == {
        "elements": "1",
        "over_share": "5",
        "under_share": "10",
    }


def test_a_missing_number_is_named():
    with pytest.raises(EntryError) as refused:
        limit_from_typed({**PLATE, "aim": ""}, COMMA, TODAY)
    assert refused.value.problems == (("aim", "", "the field is empty", "give a number"),)


def test_a_kind_that_is_none_is_refused():
    with pytest.raises(RequestError, match="no kind of limit"):
        limit_from_typed({**PLATE, "rule": ""}, COMMA, TODAY)
    assert numbers_of("band") == ("aim", "half_band")


def test_a_checklist_is_a_line_a_practice():
    typed = {
        "model": "grill",
        "protection": "I",
        "checklist": "contacts: cleaned, left\n\nswitch_pair: both , one\n",
    }
    sheet = sheet_from_typed(typed)
    assert sheet == ModelSheet(
        "grill",
        "I",
        (Practice("contacts", ("cleaned", "left")), Practice("switch_pair", ("both", "one"))),
    )
    assert sheet_from_typed(sheet_as_typed(sheet)) == sheet
    with pytest.raises(EntryError, match="has no levels"):
        sheet_from_typed({**typed, "checklist": "contacts cleaned"})


def test_an_instrument_comes_back_as_typed():
    for meter in (Instrument("blue", date(2026, 1, 5), 180, False), Instrument("old")):
        assert instrument_from_typed(instrument_as_typed(meter), POINT, TODAY) == meter


@pytest.mark.parametrize(
    ("wrong", "name"),
    [
        ({"calibrated_on": "5.1.2026"}, "calibrated_on"),
        ({"calibrated_on": "2026-03-10"}, "calibrated_on"),
        ({"calibration_days": "a year"}, "calibration_days"),
    ],
)
def test_what_can_not_be_read_is_named(wrong, name):
    with pytest.raises(EntryError) as refused:
        instrument_from_typed({"name": "blue", **wrong}, POINT, TODAY)
    assert refused.value.problems[0][0] == name
