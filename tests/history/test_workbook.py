"""Workbooks and Parquet: real dates and numbers, sheets, formulas."""

import io
from datetime import date, datetime

import openpyxl
import pandas as pd
import pytest

from insights.errors import FormatQuestion, SourceError
from insights.history.intake import Declared, read_history
from insights.history.questions import SheetQuestion

TODAY = date(2026, 6, 30)
HEAD = ["job_id", "received", "handed_back", "model", "price", "cause_removed"]


def workbook(rows, other=None, change=None):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Jobs"
    for row in rows:
        sheet.append(row)
    if other is not None:
        spare = book.create_sheet("Other")
        for row in other:
            spare.append(row)
    if change:
        change(sheet)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def read(data, declared=None, name="jobs.xlsx"):
    return read_history((name, data), declared, today=TODAY)


def test_real_dates_numbers_and_flags_are_taken_as_they_are():
    data = workbook(
        [HEAD, ["001", datetime(2026, 3, 2, 14, 30), date(2026, 3, 5), "NA", 12.5, True]]
    )
    for declared in (None, Declared(decimal=","), Declared(date_format="%d/%m/%Y")):
        job = read(data, declared).jobs.iloc[0]
        assert job["job_id"] == "001"
        assert job["received"] == pd.Timestamp("2026-03-02")
        assert job["handed_back"] == pd.Timestamp("2026-03-05")
        assert job["model"] == "NA"
        assert job["price"] == 12.5
        assert job["cause_removed"] == "yes"


def test_a_title_above_the_headings_is_left_aside_and_told():
    rows = [["Repairs of 2026"], [], HEAD, ["1", date(2026, 3, 2), None, "a"], ["2", "soon"]]
    history = read(workbook(rows))
    assert list(history.jobs["job_id"]) == ["1"]
    assert set(history.refused["row"]) == {5}
    assert "Left aside above the heading row: Repairs of 2026." in {n.text for n in history.notes}


def test_text_dates_beside_real_ones_need_their_format():
    data = workbook([HEAD, ["1", "03/04/2026", None, "a"], ["2", "05/04/2026", None, "a"]])
    with pytest.raises(FormatQuestion, match="received"):
        read(data)
    jobs = read(data, Declared(date_format="%m/%d/%Y")).jobs
    assert jobs["received"][0] == pd.Timestamp("2026-03-04")


def test_a_number_typed_as_a_job_number_has_no_decimals_and_keeps_shown_zeros():
    def show_zeros(sheet):
        sheet["A3"].number_format = "0000"

    data = workbook(
        [HEAD, [1041, date(2026, 3, 2), None, "a"], [7, date(2026, 3, 2), None, 900.0]],
        change=show_zeros,
    )
    jobs = read(data).jobs
    assert list(jobs["job_id"]) == ["1041", "0007"]
    assert list(jobs["model"]) == ["a", "900"]


def test_a_formula_without_stored_result_is_refused_and_one_with_it_is_used():
    rows = [HEAD, ["1", date(2026, 3, 2), None, "a", "=1+2"], ["2", date(2026, 3, 2), None, "a", 3]]
    history = read(workbook(rows))
    assert list(history.jobs["job_id"]) == ["2"]
    assert history.refused[["row", "column", "value"]].values.tolist() == [[2, "price", "=1+2"]]
    assert "formula" in history.refused["problem"][0]

    stored = _with_stored_result(workbook(rows), "<v></v>", "<v>3</v>")
    assert list(read(stored).jobs["price"]) == [3.0, 3.0]


def test_a_whole_number_kept_with_a_point_is_the_same_job_number():
    rows = [HEAD, ["=20+1021", date(2026, 3, 2), None, "a"]]
    stored = _with_stored_result(workbook(rows), "<v></v>", "<v>1041.0</v>")
    assert list(read(stored).jobs["job_id"]) == ["1041"]


def _with_stored_result(data, before, after):
    import zipfile

    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for part in old.namelist():
            text = old.read(part)
            if part.startswith("xl/worksheets/"):
                assert before.encode() in text or b"<v />" in text
                text = text.replace(before.encode(), after.encode())
                text = text.replace(b"<v />", after.encode())
            new.writestr(part, text)
    return out.getvalue()


def test_a_spreadsheet_error_is_refused():
    history = read(workbook([HEAD, ["1", date(2026, 3, 2), None, "a", "#DIV/0!"]]))
    assert history.refused["problem"].tolist() == ["the cell shows a spreadsheet error"]


def test_several_filled_sheets_are_a_question_with_their_names():
    data = workbook([HEAD, ["1", date(2026, 3, 2), None, "a"]], other=[["prices"]])
    with pytest.raises(SheetQuestion, match="Jobs, Other") as caught:
        read(data)
    assert caught.value.sheets == ("Jobs", "Other")
    assert len(read(data, Declared(sheet="Jobs")).jobs) == 1
    with pytest.raises(FormatQuestion, match="no sheet 'Jbos'"):
        read(data, Declared(sheet="Jbos"))


def test_an_empty_sheet_beside_the_history_is_no_question():
    data = workbook([HEAD, ["1", date(2026, 3, 2), None, "a"]], other=[])
    assert len(read(data).jobs) == 1


def test_row_numbers_count_empty_rows_above_and_between():
    data = workbook([[], HEAD, ["1", date(2026, 3, 2), None, "a"], [], ["2", None, None, "a"]])
    assert list(read(data).refused["row"]) == [5]


def test_cells_beyond_the_last_heading_are_named_not_lost():
    data = workbook([HEAD, ["1", date(2026, 3, 2), None, "a", 3, "yes", "and this"]])
    assert "column G" in read(data).notes[0].text


def test_what_is_no_workbook_is_one_clear_error():
    data = workbook([HEAD, ["1", date(2026, 3, 2), None, "a"]])
    for spoiled in (data[: len(data) // 2], b"PK\x03\x04" + bytes(300)):
        with pytest.raises(SourceError, match="not a readable XLSX"):
            read(spoiled)
    with pytest.raises(SourceError, match="is empty"):
        read(workbook([]))
    with pytest.raises(SourceError, match="no jobs below"):
        read(workbook([HEAD]))


def test_a_workbook_called_csv_is_read_as_what_it_is():
    data = workbook([HEAD, ["1", date(2026, 3, 2), None, "a"]])
    assert len(read(data, name="jobs.csv").jobs) == 1


def test_parquet_keeps_dates_numbers_and_missing():
    frame = pd.DataFrame(
        {
            "job_id": [1.0, 2.0],
            "received": pd.to_datetime(["2026-03-02 23:30", "2026-03-03 00:00"]),
            "handed_back": [date(2026, 3, 5), None],
            "model": pd.Categorical(["NA", "grill"]),
            "price": [1.25, None],
            "cause_removed": [True, False],
        }
    )
    out = io.BytesIO()
    frame.to_parquet(out)
    for decimal in ".,":
        jobs = read(out.getvalue(), Declared(decimal=decimal), name="jobs.parquet").jobs
        assert list(jobs["job_id"]) == ["1", "2"]
        assert list(jobs["received"]) == [pd.Timestamp("2026-03-02"), pd.Timestamp("2026-03-03")]
        assert jobs["handed_back"].isna().tolist() == [False, True]
        assert list(jobs["model"]) == ["NA", "grill"]
        assert jobs["price"][0] == 1.25
        assert pd.isna(jobs["price"][1])
        assert list(jobs["cause_removed"]) == ["yes", "no"]
    with pytest.raises(SourceError, match="not a readable Parquet"):
        read(out.getvalue()[:300], name="jobs.parquet")


def test_a_moment_in_a_time_zone_is_the_day_on_its_own_clock():
    moment = pd.Timestamp("2026-03-02 23:30", tz="Europe/Vienna")
    frame = pd.DataFrame({"job_id": ["1"], "received": [moment], "model": ["a"]})
    out = io.BytesIO()
    frame.to_parquet(out)
    jobs = read(out.getvalue(), name="jobs.parquet").jobs
    assert jobs["received"][0] == pd.Timestamp("2026-03-02")
