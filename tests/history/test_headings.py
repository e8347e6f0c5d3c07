"""A stranger's headings: found, suggested, confirmed, remembered."""

from datetime import date

import pandas as pd
import pytest

from insights.errors import HeadingsError, SourceError
from insights.history.declared import Declared, recall, remember
from insights.history.headings import confirm, match_headings, suggest_headings
from insights.history.intake import read_history
from insights.history.questions import MissingColumns
from insights.history.schema import COLUMNS
from insights.history.synonyms import SYNONYMS

TODAY = date(2026, 6, 30)
GERMAN = (
    "Auftragsnr.;Eingang;Ausgang;Gerät;Serien-Nr.;Zustand;Teilekosten;Garantie (Tage);gereinigt\n"
    "A1;2026-02-01;2026-02-03;Grill S;S123;3;12.50;180;ja\n"
    "A2;2026-02-02;;Boiler;S124;2;1.50;180;nein\n"
)


def read(text, declared=None):
    return read_history(("jobs.csv", text.encode()), declared, today=TODAY)


def suggested(table):
    return dict(zip(table["theirs"], table["ours"], strict=True))


def test_case_blanks_and_punctuation_do_not_make_another_heading():
    found = match_headings(["Job ID", "RECEIVED", "Handed-back", "unitSerial"], Declared()).theirs
    assert found == {
        "job_id": "Job ID",
        "received": "RECEIVED",
        "handed_back": "Handed-back",
        "unit_serial": "unitSerial",
    }


def test_two_headings_for_one_column_are_refused_by_name():
    with pytest.raises(HeadingsError, match="'Job ID' and 'job_id'"):
        match_headings(["Job ID", "job_id"], Declared())


def test_the_same_heading_twice_is_refused_for_ours_and_kept_apart_for_others():
    rows = "1,2026-03-02,grill,"
    with pytest.raises(HeadingsError, match="'model'"):
        read(f"job_id,received,model,model\n{rows}\n")
    history = read(f"job_id,received,model,x,x\n{rows},\n")
    assert history.notes[0].text == "Columns left aside: x, x (2)."


def test_what_is_declared_wins_over_a_name_of_ours():
    declared = Declared(headings={"Model name": "model", "condition": ""})
    found = match_headings(["model", "Model name", "condition"], declared)
    assert found.theirs == {"model": "Model name"}
    assert found.aside == ("model", "condition")


def test_a_declared_heading_that_is_not_there_is_said():
    declared = Declared(headings={"Kunde": "customer"})
    history = read("job_id,received,model\n1,2026-03-02,grill\n", declared)
    assert [note.code for note in history.notes] == ["headings_absent"]
    assert "Kunde" in history.notes[0].text


def test_missing_columns_come_with_suggestions_in_the_text_and_as_a_table():
    with pytest.raises(MissingColumns) as caught:
        read(GERMAN)
    assert caught.value.missing == ("job_id", "received", "model")
    assert "job_id (perhaps 'Auftragsnr.')" in str(caught.value)
    table = caught.value.suggestions
    assert list(table.columns) == ["theirs", "ours", "likeness", "why"]
    assert suggested(table) == {
        "Auftragsnr.": "job_id",
        "Eingang": "received",
        "Ausgang": "handed_back",
        "Gerät": "model",
        "Serien-Nr.": "unit_serial",
        "Zustand": "condition",
        "Teilekosten": "parts_cost",
        "Garantie (Tage)": "term_days",
        "gereinigt": "practice_gereinigt",
    }


def test_suggestions_confirmed_read_the_file():
    with pytest.raises(MissingColumns) as caught:
        read(GERMAN)
    sure = confirm(caught.value.suggestions)
    assert "gereinigt" not in sure.headings
    everything = confirm(caught.value.suggestions, at_least=0)
    history = read(GERMAN, everything)
    assert list(history.jobs["parts_cost"]) == [12.5, 1.5]
    assert history.practices == ("gereinigt",)
    assert history.notes == ()


def test_what_a_user_said_before_wins_over_a_suggestion():
    with pytest.raises(MissingColumns) as caught:
        read(GERMAN)
    said = Declared(headings={"Zustand": "", "Ausgang": "received"}, currency="EUR")
    declared = confirm(caught.value.suggestions, said, at_least=0)
    assert declared.headings["Zustand"] == ""
    assert declared.headings["Ausgang"] == "received"
    assert "Eingang" not in declared.headings
    assert declared.currency == "EUR"


def test_likeness_is_three_parts_name_and_one_part_cells():
    frame = pd.DataFrame({"Serial No": ["S1", "S1", "S2", "S3"]})
    line = suggest_headings(frame).iloc[0]
    assert line["ours"] == "unit_serial"
    assert line["likeness"] == 0.94  # 0.75 * 1 (a word for it) + 0.25 * 3 different in 4 cells


def test_only_sure_suggestions_are_taken_unseen():
    table = pd.DataFrame(
        {"theirs": ["a", "b"], "ours": ["model", "price"], "likeness": [0.80, 0.79]}
    )
    assert confirm(table).headings == {"a": "model"}


def test_each_heading_and_each_column_is_used_once():
    frame = pd.DataFrame([["1", "2", "3"]], columns=["serial", "serial no", "serial number"])
    ours = [name for name in suggest_headings(frame)["ours"] if name]
    assert len(ours) == len(set(ours))
    assert "unit_serial" in ours


def test_cells_decide_between_names_alike():
    dates, numbers = ["2026-03-01", "2026-03-02"], ["90", "180"]
    frame = pd.DataFrame({"warranty": dates, "garantie": numbers})
    assert suggested(suggest_headings(frame))["garantie"] == "term_days"
    frame = pd.DataFrame({"warranty": numbers, "garantie": dates})
    assert suggested(suggest_headings(frame))["warranty"] == "term_days"


def test_unnamed_date_columns_are_taken_for_arrival_and_hand_back_with_little_weight():
    frame = pd.DataFrame({"x1": ["2026-03-01"], "x2": ["2026-03-02"], "x3": ["abc"]})
    table = suggest_headings(frame)
    assert list(table["ours"]) == ["received", "handed_back", ""]
    assert table["likeness"].max() < 0.5


def test_our_own_headings_are_suggested_as_they_are():
    names = [column.name for column in COLUMNS] + ["practice_pair", "lot_relay"]
    table = suggest_headings(pd.DataFrame([[None] * len(names)], columns=names))
    assert list(table["ours"]) == names
    assert set(table["likeness"]) == {1.0}


def test_nothing_to_suggest_gives_a_table_of_the_same_shape():
    assert list(suggest_headings(pd.DataFrame()).columns) == ["theirs", "ours", "likeness", "why"]


def test_every_column_has_everyday_words_and_no_word_has_two_columns():
    assert set(SYNONYMS) == {column.name for column in COLUMNS}
    words = [word for several in SYNONYMS.values() for word in set(several)]
    assert sorted(words) == sorted(set(words))


def test_a_declaration_survives_its_file(tmp_path):
    declared = Declared({"Gerät": "model", "x": ""}, "%d.%m.%Y", ",", "EUR", "Aufträge")
    declared.save(tmp_path / "deep" / "declared.json")
    assert Declared.load(tmp_path / "deep" / "declared.json") == declared


@pytest.mark.parametrize(
    "text", ["", "[]", "{", '{"heading": {}}', '{"headings": {"a": 1}}', '{"currency": null}']
)
def test_a_spoiled_declaration_is_one_clear_error(tmp_path, text):
    path = tmp_path / "declared.json"
    path.write_text(text)
    with pytest.raises(SourceError, match=r"declared\.json is not a"):
        Declared.load(path)
    with pytest.raises(SourceError, match="can't be read"):
        Declared.load(tmp_path / "none.json")


@pytest.mark.parametrize("headings", [{"a": "modle"}, {"a": "model", "b": "model"}])
def test_a_mapping_to_nothing_of_ours_or_twice_to_one_is_refused(headings):
    with pytest.raises(HeadingsError):
        Declared(headings=headings)


def test_a_remembered_declaration_is_used_for_the_same_headings_and_said(own_home):
    headings = GERMAN.splitlines()[0].split(";")
    assert recall(headings) is None
    with pytest.raises(MissingColumns) as caught:
        read(GERMAN)
    path = remember(headings, confirm(caught.value.suggestions, at_least=0))
    assert own_home in path.parents
    history = read(GERMAN)
    assert len(history.jobs) == 2
    assert history.notes[0].code == "remembered"
    assert recall(reversed(headings)) == recall(headings)
    assert recall(headings[:-1]) is None
    with pytest.raises(MissingColumns):
        read(GERMAN, Declared())
