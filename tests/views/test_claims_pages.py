"""Comebacks, second opinions, doubtful pairs and the owner's lists, each on its page of the app."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from screen import answers, page_text, turn_to

from dashboards.who import NAMED
from insights.bench.kept import instruments, limits, sheets
from insights.bench.rules import Band, Element
from insights.bench.second_coding import keep_share
from insights.history.book.book import Book
from insights.history.book.decisions import unit_decisions
from insights.history.book.entries import Settings
from insights.history.book.kinds import SECOND_CODING
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.wording import STATUTORY

ADA, BO = Person("Ada"), Person("Bo")
TODAY = date(2026, 6, 1)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    made = create_book(tmp_path / "book.db", Settings(workshop="Three Benches"), ADA)
    for job in (
        {
            "unit_serial": "WB-4471",
            "received": "2026-01-02",
            "handed_back": "2026-01-05",
            "root_cause": "contact",
            "term_days": "180",
            "price": "47.11",
        },
        {
            "unit_serial": "WB-4471",
            "received": "2026-02-18",
            "notified": "2026-02-15",
            "complaint": "cold again",
        },
        {
            "unit_serial": "GR-447100",
            "received": "2026-03-01",
            "handed_back": "2026-03-02",
            "customer": "Cafe Nine",
            "unit_age_years": "3",
        },
        {
            "unit_serial": "GR-441700",
            "received": "2026-04-01",
            "customer": "Cafe Ten",
            "unit_age_years": "3",
        },
    ):
        made.receive({"model": "boiler", **job}, by=BO, today=TODAY)
    return made


@pytest.fixture
def at(open_app, book):
    """Turn to a page of the app, opened on the book by Ada."""

    def turned(page: str, name: str = "Ada"):
        app = open_app(Path(book.name))
        app.session_state[NAMED] = name
        return sound(turn_to(app, page))

    return turned


def fill(app, **entries):
    """Answer fields by name, whatever their kind, then rerun."""
    widgets = [*app.text_input, *app.text_area, *app.radio, *app.selectbox]
    for name, value in entries.items():
        found = [one for one in widgets if str(one.key).endswith(f"-{name}")]
        assert len(found) == 1, (name, [one.key for one in found])
        found[0].set_value(value)
    return sound(app.run())


def press(app, label: str):
    (button,) = [one for one in app.button if one.label == label]
    return sound(button.click().run())


def sound(app):
    assert not app.exception, [one.message for one in app.exception]
    return app


def with_relation(at):
    app = at("Comebacks to decide")
    fill(app, evidence="as_we_left_it", our_part="yes", our_site="unknown")
    press(app, "Save the evidence")
    fill(app, root_cause="contact", relation="same_fault")
    return press(app, "Save cause and relation")


def test_without_a_book_each_page_offers_to_make_one(open_app, shop_file):
    app = open_app(shop_file)
    for page in ("Comebacks to decide", "A second opinion", "Same unit?", "Bench lists"):
        assert "None is open yet" in page_text(sound(turn_to(app, page)))


def test_no_money_is_shown_before_the_evidence(at):
    app = at("Comebacks to decide")
    assert not app.exception
    assert answers(app)[0].startswith("1 comeback waits for a decision")
    text = page_text(app) + " ".join(str(table.value) for table in app.table)
    assert "cold again" in text
    assert "47.11" not in text
    assert "Proposed" not in text
    assert "evidence comes first" in text


def test_a_day_is_never_broken_over_two_lines(at):
    queue = at("Comebacks to decide").table[0].value
    assert list(queue["Received"]) == ["2026\u201102\u201118"]


def test_from_evidence_to_a_decision_of_the_owner(at, book):
    app = with_relation(at)
    proposed = answers(app)[1]
    assert proposed.startswith("Proposed: covered. Same contact, our part, as we left it, day 41")
    assert STATUTORY in page_text(app).replace("\\", "")
    assert "decision" not in book.job("J000002").values
    fill(app, decision="goodwill")
    press(app, "Save the decision")
    assert "write down why" in " ".join(error.value for error in app.error)
    fill(app, reason="a good customer")
    press(app, "Save the decision")
    job = book.job("J000002")
    assert job.values["decision"] == "goodwill"
    assert job.bench["claim_decided"]["reason"] == "a good customer"
    assert [one.what for one in book.versions_of("J000002")][-3:] == [
        "evidence",
        "relation",
        "decision",
    ]
    assert answers(app)[0] == "No comeback waits for a decision."


def test_evidence_left_unanswered_is_asked_again(at, book):
    app = at("Comebacks to decide")
    fill(app, evidence="as_we_left_it")
    press(app, "Save the evidence")
    # Each of the two others is marked at its own field.
    said = [error.value for error in app.error]
    assert [text.startswith("Not answered") for text in said] == [True, True, False]
    assert book.job("J000002").number == 1


def test_a_second_person_codes_blind(at, book):
    keep_share(book, 1.0, by=ADA)
    with_relation(at)
    assert "None waits for you" in page_text(at("A second opinion"))
    app = at("A second opinion", "Cy")
    shown = page_text(app) + " ".join(str(table.value) for table in app.table)
    assert "cold again" in shown
    assert "same fault" not in shown
    now = app.table[0].value["This visit"].tolist()
    assert "contact" not in now
    fill(app, relation="new_fault", root_cause="contact")
    press(app, "Save my coding")
    kept = book.get(SECOND_CODING, "J000002")
    assert (kept.saved_by, kept.body["relation"]) == ("Cy", "new_fault")
    assert kept.body["first"]["relation"] == "same_fault"
    assert answers(app)[0].startswith("Two people coded 1 comeback apart: 0 alike")


def test_a_doubtful_pair_is_decided_and_taken_back(at, book):
    app = at("Same unit?")
    assert answers(app) == [
        "1 pair of jobs may be one unit; each is kept apart until someone decides."
    ]
    assert "two characters of the serial are swapped" in page_text(app)
    press(app, "Save the decision")
    assert "one unit or two" in " ".join(error.value for error in app.error)
    assert unit_decisions(book, book.history()).empty
    fill(app, same="one")
    press(app, "Save the decision")
    assert unit_decisions(book, book.history())["same"].tolist() == [True]
    assert answers(app) == ["No pair of jobs is in doubt."]
    (back,) = [one for one in app.selectbox if one.label == "Take back"]
    back.set_value(("J000004", "J000003")).run()
    press(app, "Take this decision back")
    assert unit_decisions(book, book.history()).empty
    assert len(answers(app)) == 1


def test_limits_begin_with_the_trade_s_texts_and_are_confirmed_one_by_one(at, book):
    app = at("Bench lists")
    press(app, "Begin with the limits of trade texts, each to be confirmed")
    assert not any(limit.confirmed for limit in limits(book))
    key = "reading_insulation_mohm||II"
    app.selectbox(key="bench-lists-limit").set_value(key).run()
    fill(app, confirmed="yes")
    press(app, "Save the limit")
    assert [limit.key for limit in limits(book) if limit.confirmed] == [key]
    press(app, "Take it off the list")
    assert key not in [limit.key for limit in limits(book)]


def test_a_limit_of_a_heating_element_is_worked_out_from_its_plate(at, book):
    app = at("Bench lists")
    (kind,) = [one for one in app.radio if one.label == "Kind of limit"]
    kind.set_value("element").run()
    fill(app, power_w="2000", voltage_v="230", elements="2", quantity="element", unit="ohm")
    press(app, "Save the limit")
    assert [limit.rule for limit in limits(book)] == [Element(2000.0, 230.0, 2)]
    assert "one open reads 52.9" in app.table[0].value["Allowed"].iloc[0]


def test_a_limit_entered_twice_is_refused(at, book):
    app = at("Bench lists")
    for half_band in ("10", "5"):
        (kind,) = [one for one in app.radio if one.label == "Kind of limit"]
        kind.set_value("band").run()
        fill(app, aim="200", half_band=half_band, quantity="plate", unit="c")
        press(app, "Save the limit")
    assert "There is one for this already" in " ".join(error.value for error in app.error)
    assert [limit.rule for limit in limits(book)] == [Band(200.0, 10.0)]


def test_sheets_and_instruments(at, book):
    app = at("Bench lists")
    (protection,) = [one for one in app.radio if one.label.startswith("Protection, from")]
    protection.set_value("I_heating")
    fill(app, checklist="contacts: cleaned, left", name="blue meter", calibrated_on="2026-01-05")
    (model,) = [one for one in app.selectbox if one.label == "Model"]
    model.set_value("boiler").run()
    press(app, "Save the sheet")
    press(app, "Save the instrument")
    (sheet,) = sheets(book)
    assert (sheet.model, sheet.protection, len(sheet.checklist)) == ("boiler", "I_heating", 1)
    assert [one.name for one in instruments(book)] == ["blue meter"]
    app.selectbox(key="bench-lists-instrument").set_value("blue meter").run()
    fill(app, calibrated_on="5.1.2026")
    press(app, "Save the instrument")
    assert instruments(book)[0].calibrated_on == date(2026, 1, 5)
    assert "Not saved" in " ".join(error.value for error in app.error), app.error
