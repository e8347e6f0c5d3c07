"""Final readings: limits from physics and from the trade's texts, and what holds a unit back.

Values marked EL come from secondary texts on tests after repair (see each), never from a
standard's own text.
"""

from __future__ import annotations

import json
import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from insights.bench.cautions import CONFIRM, HOT, LICENSED, MAINS, TEST_VOLTAGE, cautions_for
from insights.bench.limits import check_hand_back, judge, limits_for
from insights.bench.readings import (
    Limit,
    Reading,
    limit_from_json,
    reading_from_json,
)
from insights.bench.rules import (
    RULES,
    Band,
    EarthByLead,
    EarthByLength,
    Element,
    Maximum,
    Minimum,
    Nominal,
    PerKilowatt,
    Rule,
    rule_from_json,
)
from insights.bench.sheets import (
    Instrument,
    ModelSheet,
    Practice,
    instrument_from_json,
    limits_to_start_from,
    sheet_from_json,
)
from insights.errors import RequestError

DAY = date(2026, 3, 9)
PLATE = Limit("plate", "c", Band(200, 10))
INSULATION = Limit("insulation", "mohm", Minimum(1.0))
EARTH = Limit("earth", "ohm", EarthByLength(5))
EXAMPLES: tuple[Rule, ...] = (
    Band(200, 10),
    Minimum(1.0),
    Maximum(3.5),
    EarthByLength(12.5),
    EarthByLead(0.05),
    PerKilowatt(2000, 0.75, 5),
    Nominal(47.0, 0.05, 0.10),
    Element(2000, 230, 2),
)


# Secondary sources both.
BRITISH_TEXTS = "British trade texts on testing appliances"
ARTICLE = "A trade article on EN 50699"


def reading(quantity, unit, value, **more) -> Reading:
    return Reading(quantity, unit, value, DAY, "meter 1", date(2025, 9, 1), **more)


def verdict(rule: Rule, value: float) -> str:
    (line,) = judge([reading("x", "y", value)], [Limit("x", "y", rule)]).lines
    return line.verdict


def test_element_of_2200_w_at_230_v():
    # R = V²/P by hand: 52,900/2,200 = 24.045; /1.05 = 22.900; /0.90 = 26.717. The +5/-10%
    # tolerance is common practice, no source.
    element = Element(2200, 230)
    assert element.target == pytest.approx(24.045454545, abs=1e-8)
    assert (element.low, element.high) == pytest.approx((22.9004, 26.7172), abs=5e-5)
    assert [verdict(element, ohm) for ohm in (22.8, 22.91, 26.71, 26.8)] == [
        "out",
        "in",
        "in",
        "out",
    ]


def test_two_equal_elements_in_parallel():
    # EL-04, elementary circuit law: two of 52.9 ohm (1,000 W each at 230 V) read 26.45 ohm
    # together; one open reads 52.9, twice as much.
    pair = Element(2000, 230, 2)
    assert pair.target == pytest.approx(26.45, rel=1e-9)
    assert pair.open_ohm(1) == pytest.approx(52.9, rel=1e-9)
    assert pair.open_ohm(0) == pair.target
    assert pair.meaning(52.9) == "fits 1 of its 2 elements open"
    assert pair.meaning(26.45) == ""
    assert pair.meaning(40.0) == ""
    assert "one open reads 52.9 Ω" in pair.basis


@given(st.integers(2, 12), st.floats(100, 5000), st.floats(50, 400), st.integers(0, 11).map(int))
def test_elements_in_parallel_by_adding_conductances(n, power_w, voltage_v, opened):
    opened = min(opened, n - 1)
    each_ohm = voltage_v**2 / (power_w / n)
    together = 1 / sum(1 / each_ohm for _ in range(n - opened))
    assert Element(power_w, voltage_v, n).open_ohm(opened) == pytest.approx(together, rel=1e-9)


def test_many_elements_hide_one_open_one():
    # By hand: with n equal elements one open reads n/(n-1) times as much, and the tolerance is
    # 1.05/0.90 = 1.167 wide from end to end: six (1.2) always show it, eight (1.143) need not.
    assert Element(2000, 230, 6).tells_one_open
    assert not Element(2000, 230, 8).tells_one_open
    assert "may hide" in Element(2000, 230, 8).basis
    assert "may hide" not in Element(2000, 230, 6).basis


@pytest.mark.parametrize(("lead_m", "ohm"), [(3, 0.3), (5, 0.3), (12.5, 0.4), (20, 0.5), (60, 1.0)])
def test_earth_continuity_by_length_of_lead(lead_m, ohm, outside):
    found = EarthByLength(lead_m).high
    outside.agrees("earth by length of lead, ohm", found, ohm, source=ARTICLE, abs=1e-12)


def test_a_step_of_lead_counts_when_it_is_full():
    # Judgement: the article does not say; this is the stricter reading.
    assert EarthByLength(12.4).high == pytest.approx(0.3)


def test_earth_continuity_by_resistance_of_the_lead(outside):
    source = f'{BRITISH_TEXTS}; "0.1 + R of the supply lead"'
    found = EarthByLead(0.12).high
    outside.agrees("earth by resistance of lead, ohm", found, 0.22, source=source, abs=1e-12)


@pytest.mark.parametrize(("power_w", "ma"), [(2000, 1.5), (6000, 4.5), (10_000, 5.0)])
def test_leakage_of_heating_by_power_as_british_texts_have_it(power_w, ma, outside):
    source, found = f"{BRITISH_TEXTS}; 0.75 mA per kW, at most 5", PerKilowatt(power_w, 0.75, 5)
    outside.agrees("leakage of heating, mA", found.high, ma, source=source, rel=1e-6)


@pytest.mark.parametrize(("power_w", "ma"), [(4000, 4.0), (12_000, 10.0)])
def test_leakage_of_strong_heating_as_a_tester_s_manual_has_it(power_w, ma, outside):
    source = "Manual of an appliance tester; secondary source: 1 mA per kW above 3.5 kW, at most 10"
    found = PerKilowatt(power_w, 1, 10).high
    outside.agrees("leakage of heating, mA", found, ma, source=source, rel=1e-6)


@pytest.mark.parametrize(
    ("protection", "mohm"), [("I", 1.0), ("I_heating", 0.3), ("II", 2.0), ("III", 0.25)]
)
def test_insulation_to_start_from(protection, mohm, outside):
    source = f"{BRITISH_TEXTS}; and {ARTICLE}; class I and II of the latter partly from memory"
    chosen = {limit.quantity: limit for limit in limits_for(limits_to_start_from(), "", protection)}
    found = chosen["insulation"].rule.low
    outside.agrees("insulation to start from, megohm", found, mohm, source=source, abs=0)
    assert chosen["insulation"].required
    assert ("earth" in chosen) == (protection in ("I", "I_heating"))


def test_leakage_to_start_from(outside):
    # Heating depends on its power.
    most = {
        limit.protection: limit.rule.high
        for limit in limits_to_start_from()
        if limit.quantity == "leakage"
    }
    assert most.keys() == {"I", "II", "III"}
    found = [most[protection] for protection in ("I", "II", "III")]
    expected, source = [3.5, 0.25, 0.5], f"{BRITISH_TEXTS}; class I, II and III"
    outside.agrees("leakage to start from, mA", found, expected, source=source, abs=0)


def test_earth_to_start_from_is_required_where_there_is_an_earth():
    assert {
        limit.protection: limit.rule.high
        for limit in limits_to_start_from()
        if limit.quantity == "earth" and limit.required
    } == {"I": 0.3, "I_heating": 0.3}


def test_limits_to_start_from_are_marked_to_be_confirmed():
    judgement = judge([], limits_for(limits_to_start_from(), "boiler", "I"))
    (note,) = [note for note in judgement.notes if note.code == "unconfirmed"]
    assert CONFIRM in note.text
    assert all(
        "text" in limit.source or "article" in limit.source for limit in limits_to_start_from()
    )


@pytest.mark.parametrize(
    ("rule", "inside", "beyond"),
    [
        (Band(200, 10), (190, 200, 210), (189.9, 210.1)),
        (Minimum(1.0), (1.0, 50), (0.99, 0, -1)),
        (Maximum(3.5), (0, 3.5), (3.51,)),
        (Nominal(100, 0.05, 0.20), (95, 120), (94.9, 120.1)),
    ],
)
def test_a_reading_on_the_limit_is_in(rule, inside, beyond):
    assert {verdict(rule, value) for value in inside} == {"in"}
    assert {verdict(rule, value) for value in beyond} == {"out"}


@pytest.mark.parametrize(
    ("rule", "value", "half_bands", "used_share"),
    [
        # By hand: 204 is 4 of 10 above 200; 95 is 5 of 5 below, 110 is 10 of 20 above 100.
        (Band(200, 10), 204, 0.4, 0.4),
        (Band(200, 10), 185, -1.5, 1.5),
        (Nominal(100, 0.05, 0.20), 95, -1.0, 1.0),
        (Nominal(100, 0.05, 0.20), 110, 0.5, 0.5),
        (Maximum(3.5), 0.7, None, 0.2),
        (Minimum(1.0), 4.0, None, 0.25),
        (Minimum(1.0), 0.0, None, math.inf),
    ],
)
def test_how_far_a_reading_lies(rule, value, half_bands, used_share):
    (line,) = judge([reading("x", "y", value)], [Limit("x", "y", rule)]).lines
    assert line.half_bands == (None if half_bands is None else pytest.approx(half_bands))
    assert line.used_share == pytest.approx(used_share)


@given(st.sampled_from(EXAMPLES), st.floats(-1e6, 1e6))
def test_out_is_more_than_all_of_the_allowance(rule, value):
    (line,) = judge([reading("x", "y", value)], [Limit("x", "y", rule)]).lines
    if not math.isclose(line.used_share, 1, rel_tol=1e-9):
        assert (line.verdict == "out") == (line.used_share > 1)


def test_what_holds_a_unit_back():
    judgement = judge([reading("plate", "c", 212)], [PLATE, INSULATION, EARTH])
    assert [line.verdict for line in judgement.lines] == ["out", "not_measured", "not_measured"]
    assert not judgement.may_be_handed_back
    with pytest.raises(RequestError, match="plate out, insulation not measured, earth not meas"):
        check_hand_back(judgement)
    with pytest.raises(RequestError, match="not returned to use"):
        check_hand_back(judgement, "  ")
    check_hand_back(judgement, "beyond repair, labelled and scrapped")


def test_measured_again_within_the_limit_it_may_leave():
    readings = [reading("plate", "c", 212), reading("plate", "c", 201)]
    judgement = judge(readings, [PLATE])
    assert judgement.may_be_handed_back
    check_hand_back(judgement)
    assert judgement.retakes == (readings[0],)
    assert not judge(readings[::-1], [PLATE]).may_be_handed_back


def test_readings_are_not_averaged():
    # Their mean, 200, would be in.
    assert judge([reading("plate", "c", 189), reading("plate", "c", 211)], [PLATE]).blocking


def test_what_need_not_be_measured_does_not_hold_back_unless_out():
    optional = Limit("leakage", "ma", Maximum(3.5), required=False)
    assert judge([], [optional]).may_be_handed_back
    assert not judge([reading("leakage", "ma", 4)], [optional]).may_be_handed_back


def test_a_reading_without_a_limit_is_kept_and_not_judged():
    judgement = judge([reading("steam", "c", 118)], [])
    assert [line.verdict for line in judgement.lines] == ["no_limit"]
    assert judgement.may_be_handed_back
    assert [note.code for note in judgement.notes] == ["no_limits"]


@pytest.mark.parametrize(
    ("calibrated_on", "interval", "code"),
    [
        (date(2025, 3, 9), 365, None),
        (date(2025, 3, 8), 365, "calibration"),
        (date(2025, 3, 8), 400, None),
        (None, 365, "no_calibration"),
    ],
)
def test_calibration_older_than_the_owner_s_interval_is_said(calibrated_on, interval, code):
    tester = Instrument("tester", calibrated_on, interval)
    limit = Limit("plate", "c", Band(200, 10), confirmed=True)
    judgement = judge([tester.reading("plate", "c", 200, DAY)], [limit])
    assert [note.code for note in judgement.notes] == ([] if code is None else [code])
    assert judgement.may_be_handed_back
    row = judgement.table.iloc[0]
    assert (row["instrument"], row["calibrated_on"]) == ("tester", calibrated_on)


def test_the_table_holds_the_limit_beside_the_reading():
    row = judge([reading("plate", "c", 212)], [PLATE]).table.iloc[0]
    assert (row["low"], row["high"], row["target"], row["value"]) == (190, 210, 200, 212)
    assert row["blocks"]
    assert list(judge([], []).table.columns) == list(judge([reading("a", "b", 1)], []).table)


def test_the_closest_limit_counts():
    everyone = Limit("plate", "c", Band(200, 10))
    by_class = Limit("plate", "c", Band(210, 10), protection="I")
    by_model = Limit("plate", "c", Band(220, 10), model="grill")
    both = Limit("plate", "c", Band(230, 10), model="grill", protection="I")
    limits = [both, everyone, by_model, by_class]
    chosen = {
        (model, protection): limits_for(limits, model, protection)[0].rule.target
        for model in ("grill", "boiler")
        for protection in ("I", "II")
    }
    assert chosen == {
        ("grill", "I"): 230,
        ("grill", "II"): 220,
        ("boiler", "I"): 210,
        ("boiler", "II"): 200,
    }


@pytest.mark.parametrize("protection", ["", "IV"])
def test_without_a_protection_no_limit_is_guessed(protection):
    with pytest.raises(RequestError, match="rating plate"):
        limits_for(limits_to_start_from(), "boiler", protection)


def test_two_limits_for_one_reading_are_refused():
    with pytest.raises(RequestError, match="two limits for plate"):
        limits_for([PLATE, PLATE], "grill", "I")
    with pytest.raises(RequestError, match="two limits for plate"):
        judge([], [PLATE, Limit("plate", "c", Band(210, 10), model="grill")])


@pytest.mark.parametrize("rule", EXAMPLES, ids=lambda rule: type(rule).__name__)
def test_limits_come_back_from_json_as_they_were(rule):
    limit = Limit("x", "y", rule, "grill", "II", False, True, "the maker's sheet")
    assert limit_from_json(json.loads(json.dumps(limit.to_json(), allow_nan=False))) == limit


def test_every_kind_of_limit_is_among_the_examples():
    assert {type(rule) for rule in EXAMPLES} == set(RULES.values())


def test_readings_sheets_and_instruments_come_back_too():
    tester = Instrument("tester", date(2026, 1, 5), 180, False)
    sheet = ModelSheet("grill", "I", (Practice("contacts", ("cleaned", "left")),))
    for kept, read in (
        (reading("plate", "c", 200.5), reading_from_json),
        (Reading("plate", "c", 200.5, DAY), reading_from_json),
        (tester, instrument_from_json),
        (Instrument("old tester"), instrument_from_json),
        (sheet, sheet_from_json),
    ):
        assert read(json.loads(json.dumps(kept.to_json(), allow_nan=False))) == kept


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (lambda: Band(200, 0), "half_band is 0"),
        (lambda: Band(math.nan, 5), "aim is nan"),
        (lambda: Minimum("1"), "least is '1'"),
        (lambda: Maximum(True), "most is True"),
        (lambda: Nominal(100, 1.0, 0.1), "under_share is 1.0"),
        (lambda: Element(0, 230), "power_w is 0"),
        (lambda: Element(2000, 230, 0), "elements is 0"),
        (lambda: Element(2000, 230, 1.5), "elements is 1.5"),
        (lambda: Element(2000, 230, 2).open_ohm(2), "2 of 2 elements open"),
        (lambda: Limit("Hot plate", "c", Band(1, 1)), "makes no name of a reading"),
        (lambda: Limit("plate", "deg_c", Band(1, 1)), "makes no name of a reading"),
        (lambda: Limit("plate", "c", Band(1, 1), protection="4"), "The protection is '4'"),
        (lambda: reading("plate", "c", math.inf), "top of its range"),
        (lambda: reading("plate", "c", None), "Give a number"),
        (lambda: Reading("a", "b", 1, DAY, "m", date(2026, 3, 10)), "calibrated on 2026-03-10"),
        (lambda: Practice("contacts", ("cleaned",)), "two or more"),
        (lambda: Practice("contacts", ("cleaned", "cleaned ")), "two or more"),
        (lambda: Practice("Contacts!", ("a", "b")), "no name of a practice"),
        (lambda: ModelSheet("", "I"), "needs its model"),
        (lambda: ModelSheet("grill", "I", (Practice("a", ("x", "y")),) * 2), "asks twice for a"),
        (lambda: Instrument(" "), "needs a name"),
        (lambda: Instrument("m", None, 0), "0 days"),
        (lambda: rule_from_json({"rule": "guess"}), "'guess' is no kind of limit"),
        (lambda: rule_from_json({"rule": "band", "aim": 1}), "missing: half_band"),
        (lambda: limit_from_json({"quantity": "plate"}), "not a limit"),
        (lambda: reading_from_json({"quantity": "plate"}), "not a reading"),
        (lambda: sheet_from_json({"model": "grill"}), "not a sheet"),
        (lambda: instrument_from_json({"calibrated_on": "soon"}), "not an instrument"),
    ],
)
def test_what_makes_no_sense_is_refused(wrong, words):
    with pytest.raises(RequestError, match=words.replace("?", r"\?")):
        wrong()


def test_cautions_follow_what_is_measured():
    assert cautions_for(["insulation"]) == (MAINS, TEST_VOLTAGE, LICENSED)
    assert HOT in cautions_for(["plate_left"])
    assert cautions_for([]) == (MAINS, LICENSED)
