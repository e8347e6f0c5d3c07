"""A stranger's sheet is asked about, confirmed or changed, and remembered."""

from __future__ import annotations

import pandas as pd
import pytest
from screen import answers, page_text, turn_to

from dashboards.matching import mapping_of
from insights.errors import HeadingsError
from insights.followup import follow_up
from insights.history.intake import read_history
from insights.standing import standing
from insights.wording import of_standing

THEIRS = {
    "job_id": "Order no",
    "received": "Date in",
    "handed_back": "Date out",
    "model": "Appliance",
    "unit_serial": "S/N",
    "technician": "Mechanic",
    "practice_switch": "Switch done?",
}


@pytest.fixture
def their_file(shop_frame, tmp_path):
    path = tmp_path / "theirs.csv"
    shop_frame.rename(columns=THEIRS).to_csv(path, index=False, date_format="%d/%m/%Y")
    return path


def field(app, name: str):
    kinds = (*app.selectbox, *app.multiselect, *app.radio, *app.text_input, *app.button)
    return next(widget for widget in kinds if (widget.key or "").endswith(f"-{name}"))


def send(app):
    return field(app, "send").click().run()


def test_headings_are_suggested_confirmed_and_remembered(open_app, their_file, shop_file):
    app = open_app(their_file, "The record")
    assert "headings of its own" in app.warning[0].value
    assert "the job's own number; the day the unit arrived" in app.warning[0].value
    labels = [box.label for box in app.selectbox]
    assert len(set(labels)) == len(labels)
    assert field(app, "received").value == "Date in"
    assert field(app, "unit_serial").value == "S/N"
    field(app, "practice_").set_value([*field(app, "practice_").value, "Switch done?"])
    app = send(app)
    assert "not written year-month-day" in app.warning[0].value
    assert field(app, "dates").value == "%d/%m/%Y"
    app = send(app)
    ours = follow_up(read_history(shop_file))
    assert answers(app) == [of_standing(standing(ours)).sentence]
    app = turn_to(app, "Coming back")
    assert "Practice: switch done" in app.selectbox(key="by").options

    again = open_app(their_file, "The record")
    assert answers(again) == [of_standing(standing(ours)).sentence]
    assert "as you confirmed" in page_text(again)


def test_a_page_that_can_t_read_the_sheet_leads_to_the_page_that_asks(open_app, their_file):
    app = open_app(their_file)
    assert "Required columns were not found" in app.error[0].value
    assert "Say how this sheet is written" in " ".join(
        link.proto.label for link in app.get("page_link")
    )


def test_a_batch_is_named_after_its_part():
    lots = {"lot_": ["Pump batch", "Seals"]}
    named = mapping_of({}, lots, ["Pump batch", "Seals"], {"Pump batch": "lot_pump", "Seals": ""})
    assert named == {"Pump batch": "lot_pump", "Seals": "lot_seals"}


def test_a_day_or_month_question_is_never_guessed(open_app, shop_frame, tmp_path):
    early = shop_frame[
        (shop_frame["received"].dt.day <= 12) & (shop_frame["handed_back"].dt.day <= 12)
    ].head(60)
    path = tmp_path / "early.csv"
    early[["job_id", "received", "handed_back", "model"]].to_csv(
        path, index=False, date_format="%d/%m/%Y"
    )
    app = open_app(path, "The record")
    assert field(app, "dates").value is None
    app = send(app)
    assert "more than one way fits" in app.error[0].value
    field(app, "dates").set_value("%d/%m/%Y")
    app = send(app)
    assert not app.warning
    read = read_history(path)
    assert list(read.jobs["received"]) == list(early["received"])


def test_a_mapping_can_be_changed_later(open_app, shop_file):
    app = open_app(shop_file, "The record")
    field(app, "technician").set_value("")
    app = send(app)
    read = read_history(shop_file)
    assert read.jobs["technician"].isna().all()


def test_one_heading_for_two_columns_is_refused(open_app, shop_file):
    app = open_app(shop_file, "The record")
    field(app, "technician").set_value("model")
    app = send(app)
    assert "'model' is chosen for" in app.error[0].value


def test_what_was_not_chosen_is_left_aside():
    mapping = mapping_of(
        {"job_id": "No", "model": "", "received": "In"},
        {"practice_": ["Both parts?"], "lot_": ["lot_seal"], "reading_": ["Plate C"]},
        ["No", "In", "Both parts?", "lot_seal", "Plate C", "Weather"],
    )
    assert mapping == {
        "No": "job_id",
        "In": "received",
        "Both parts?": "practice_both_parts",
        "lot_seal": "lot_seal",
        "Plate C": "reading_plate_c",
        "Weather": "",
    }


def test_one_heading_chosen_twice():
    with pytest.raises(HeadingsError, match="chosen for job_id and for model"):
        mapping_of({"job_id": "No", "model": "No"}, {}, ["No"])


def test_the_sheet_of_a_workbook_is_asked(open_app, shop_frame, tmp_path):
    path = tmp_path / "two.xlsx"
    with pd.ExcelWriter(path) as book:
        shop_frame.head(40).to_excel(book, sheet_name="Jobs", index=False)
        shop_frame.head(3).to_excel(book, sheet_name="Old", index=False)
    app = open_app(path, "The record")
    chooser = next(box for box in app.selectbox if box.label == "Which sheet holds the jobs?")
    chooser.set_value("Jobs")
    app.button[-1].click()
    app.run()
    assert not app.exception
    assert answers(app)
