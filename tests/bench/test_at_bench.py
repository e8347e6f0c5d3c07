"""No unit leaves past its limits unnoticed, and every reading stays."""

from __future__ import annotations

from datetime import date

import pytest

from insights.bench.at_bench import (
    NOT_RETURNED,
    Save,
    hand_back,
    judgement_of,
    protection_of,
    reading_column,
    readings_of,
    readings_typed,
    save_readings,
)
from insights.bench.readings import Limit, Reading
from insights.bench.rules import Band, Minimum
from insights.bench.sheets import Instrument, ModelSheet
from insights.errors import ChangedMeanwhile, EntryError, RequestError
from insights.history.book.entries import Settings
from insights.history.book.kinds import LIMIT, SHEET
from insights.history.book.opening import create_book
from insights.history.book.people import Person

ADA = Person("Ada")
DAY = date(2026, 3, 9)
METER = Instrument("blue meter", date(2026, 1, 5))
LEAVES = {"handed_back": "2026-03-09", "price": "60", "term_days": "180"}


@pytest.fixture
def book(tmp_path):
    made = create_book(tmp_path / "book.db", Settings(), ADA)
    for limit in (
        Limit("insulation", "mohm", Minimum(1.0), protection="I"),
        Limit("plate", "c", Band(200, 10), model="grill", required=False),
    ):
        made.put(LIMIT, limit.key, limit.to_json(), by=ADA)
    made.put(SHEET, "grill", ModelSheet("grill", "I").to_json(), by=ADA)
    for model in ("grill", "unknown one"):
        made.receive({"received": "2026-03-02", "model": model}, by=ADA, today=DAY)
    return made


def read(value: float, quantity: str = "insulation", unit: str = "mohm") -> Reading:
    return METER.reading(quantity, unit, value, DAY)


def saved(job) -> Save:
    return Save(job.number, ADA, today=DAY)


def test_a_unit_out_of_limits_stays_until_measured_again(book):
    job = book.job("J000001")
    with pytest.raises(RequestError, match="not measured"):
        hand_back(book, job, LEAVES, "", saved(job))
    job = save_readings(book, job, [read(0.4), read(203, "plate", "c")], "", saved(job))
    with pytest.raises(RequestError, match="insulation out"):
        hand_back(book, job, LEAVES, "", saved(job))
    job = save_readings(book, job, [read(25.0)], "", saved(job))
    assert judgement_of(book, job).may_be_handed_back
    assert [reading.value for reading in readings_of(job)] == [0.4, 203, 25.0]
    assert readings_of(job)[0].calibrated_on == METER.calibrated_on
    assert job.values["reading_insulation_mohm"] == 25.0
    assert book.versions_of("J000001")[1].values["reading_insulation_mohm"] == 0.4
    job = hand_back(book, job, LEAVES, "", saved(job))
    assert job.values["price"] == 60
    assert book.jobs_on_bench()[0].job_id == "J000002"


def test_it_may_leave_for_a_reason_that_is_kept(book):
    job = book.job("J000001")
    job = hand_back(book, job, LEAVES, " cut lead, for parts ", saved(job))
    assert job.bench[NOT_RETURNED] == "cut lead, for parts"
    assert job.what == "not returned to use"


def test_without_a_protection_its_limits_cannot_be_chosen(book):
    job = book.job("J000002")
    with pytest.raises(RequestError, match="rating plate"):
        hand_back(book, job, LEAVES, "", saved(job))
    with pytest.raises(RequestError, match="protection is 'IV'"):
        save_readings(book, job, [], "IV", saved(job))
    job = save_readings(book, job, [read(3.0)], "I", saved(job))
    assert protection_of(book, job) == "I"
    assert hand_back(book, job, LEAVES, "", saved(job)).values["term_days"] == 180


def test_readings_taken_meanwhile_are_not_lost(book):
    job = book.job("J000001")
    save_readings(book, job, [read(25.0)], "", saved(job))
    with pytest.raises(ChangedMeanwhile):
        save_readings(book, job, [read(26.0)], "", saved(job))
    assert [reading.value for reading in readings_of(book.job("J000001"))] == [25.0]


def test_nothing_read_is_no_save(book):
    job = book.job("J000001")
    for protection in ("", "I"):
        with pytest.raises(RequestError, match="No reading"):
            save_readings(book, job, [], protection, saved(job))
    assert save_readings(book, job, [], "II", saved(job)).number == 2


def test_readings_are_read_as_typed_with_their_instrument():
    typed = {"reading_plate_c": "203,5", "reading_insulation_mohm": " ", "reading_leakage_ma": "0"}
    plate, leakage = readings_typed(typed, METER, Settings(decimal=","), DAY)
    assert (plate.quantity, plate.unit, plate.value, plate.instrument) == (
        "plate",
        "c",
        203.5,
        "blue meter",
    )
    assert (leakage.value, leakage.calibrated_on) == (0, METER.calibrated_on)
    with pytest.raises(EntryError, match="reading_plate_c"):
        readings_typed({"reading_plate_c": "hot"}, None, Settings(), DAY)
    with pytest.raises(EntryError, match="not a field"):
        readings_typed({"reading_plate": "200"}, None, Settings(), DAY)


def test_what_leaves_service_is_not_held_by_its_readings(book):
    job = book.job("J000001")
    ended = {"ended_on": "2026-03-09", "ended_how": "scrapped"}
    assert hand_back(book, job, ended, "", saved(job)).what == "left service"


@pytest.mark.parametrize(
    ("said", "column"),
    [
        ("Plate left, °C", "reading_plate_left_c"),
        ("plate_left_c", "reading_plate_left_c"),
        ("Leakage mA", "reading_leakage_ma"),
        ("Insulation, M\u03a9", "reading_insulation_mohm"),
        ("insulation M\u2126", "reading_insulation_mohm"),  # the sign that some keyboards give
        ("Earth (lead) \u03a9", "reading_earth_lead_ohm"),
    ],
)
def test_a_reading_is_named_as_one_writes_it(said, column):
    assert reading_column(said) == column


@pytest.mark.parametrize(
    ("said", "told"),
    [
        # m is a thousandth, M a million, \u00b5 a millionth (BIPM, SI Brochure, 9th ed., table 7).
        ("earth m\u03a9", "50 m\u03a9 is 0.05"),
        ("earth m\u2126", "50 m\u03a9 is 0.05"),
        ("leakage, \u00b5A", "letters a to z"),
        ("plate", "a name and a unit"),
        ("°", "a name and a unit"),
    ],
)
def test_a_unit_that_could_be_taken_for_another_is_refused(said, told):
    with pytest.raises(RequestError, match=told):
        reading_column(said)
