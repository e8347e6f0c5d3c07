"""Readings in sentences: what is in, what is out, what it points to, what to do."""

from __future__ import annotations

from datetime import date

from insights.bench.cautions import LICENSED, MAINS, TEST_VOLTAGE
from insights.bench.limits import judge
from insights.bench.readings import Limit, Reading
from insights.bench.rules import Band, EarthByLength, Element, Maximum, Minimum
from insights.history.schema import COLUMNS
from insights.wording.bench import field_words, in_words, of_judgement, of_reading, value_words

DAY = date(2026, 3, 9)


def said(rule, value, **limit) -> str:
    taken = [] if value is None else [Reading("plate", "c", value, DAY)]
    (line,) = judge(taken, [Limit("plate", "c", rule, **limit)]).lines
    return of_reading(line)


def test_in_and_out_of_a_band():
    assert said(Band(200, 10), 204) == (
        "Plate 204 °C: in (190 to 210 °C; 40% of the way to the limit, above target)."
    )
    assert said(Band(200, 10), 200) == "Plate 200 °C: in (190 to 210 °C; on target)."
    assert said(Band(200, 10), 185) == (
        "Plate 185 °C: out (190 to 210 °C; 150% of the way to the limit, below target). "
        "Put it right and measure again."
    )


def test_one_sided_limits():
    assert said(Minimum(1.0), 50) == "Plate 50 °C: in (at least 1 °C)."
    assert said(Maximum(3.5), 4).startswith("Plate 4 °C: out (at most 3.5 °C).")
    assert "at most 0.4 °C: for a lead of 12.5 m" in said(EarthByLength(12.5), 0.2)


def test_one_open_element_is_named():
    assert "It fits 1 of its 2 elements open." in said(Element(2000, 230, 2), 52.9)


def test_what_was_not_measured():
    assert said(Minimum(1.0), None) == (
        "Plate: not measured. Measure it before hand-back (at least 1 °C)."
    )
    assert said(Minimum(1.0), None, required=False) == "Plate: not measured (at least 1 °C)."


def test_a_reading_without_limit():
    (line,) = judge([Reading("steam", "c", 118, DAY)], []).lines
    assert of_reading(line) == "Steam 118 °C: no limit is set, so it is kept, not judged."


def test_a_judgement_says_what_holds_back_and_warns():
    finding = of_judgement(judge([], [Limit("insulation", "mohm", Minimum(1.0))]))
    assert finding.sentence.startswith("This unit can't be handed back for use: insulation.")
    assert finding.caveats[-3:] == (MAINS, TEST_VOLTAGE, LICENSED)
    fine = of_judgement(
        judge([Reading("insulation", "mohm", 5, DAY)], [Limit("insulation", "mohm", Minimum(1.0))])
    )
    assert fine.sentence.startswith("Nothing measured holds this unit back. Insulation 5 MΩ: in")
    assert any("No instrument" in caveat for caveat in fine.caveats)
    assert of_judgement(judge([], [])).sentence.startswith("Nothing was measured")


def test_codes_in_words():
    assert in_words("no_fault_found") == "no fault found"


def test_no_field_is_named_as_the_book_keeps_it():
    assert field_words("reading_insulation_mohm") == "insulation, M\u03a9"
    assert field_words("practice_contact_pair") == "contact pair"
    assert all("_" not in field_words(column.name) for column in COLUMNS)
    assert value_words("relation", "same_fault") == "same fault"
    assert value_words("lot_contact", "C_18") == "C_18"  # the workshop's own code
