"""Refused rows go to a file beside the good ones, and load once mended."""

from datetime import date

import pandas as pd
import pytest

from insights.errors import SourceError
from insights.history.intake import read_history, write_refused

TODAY = date(2026, 6, 30)
TEXT = (
    "Job ID;received;model;price;notes;problem\n"
    "1;2026-03-02;grill;10;fine;a\n"
    "2;2026-13-03;boiler;-3;=SUM(A1:A9);b\n"
    "3;2026-03-04;;5;+44 20 7946 0000;c\n"
)


def write(tmp_path, text=TEXT):
    path = tmp_path / "bench.csv"
    path.write_text(text)
    return write_refused(read_history(path, today=TODAY))


def test_the_refused_file_stands_beside_the_source_with_reasons(tmp_path):
    target = write(tmp_path)
    assert target == tmp_path / "bench.refused.csv"
    table = pd.read_csv(target, dtype=str, keep_default_na=False)
    assert list(table["row"]) == ["3", "4"]
    assert table["problem"][0] == "received: not a day written as year-month-day; price: below 0"
    assert "price: correct the number" in table["remedy"][0]
    assert list(table["problem (given)"]) == ["b", "c"]


def test_no_cell_is_left_that_a_spreadsheet_would_run(tmp_path):
    table = pd.read_csv(write(tmp_path), dtype=str, keep_default_na=False)
    assert list(table["notes"]) == ["'=SUM(A1:A9)", "'+44 20 7946 0000"]
    assert table["price"][0] == "'-3"
    cells = pd.concat([table[name] for name in table.columns])
    assert not cells.str.startswith(("=", "+", "-", "@")).any()


def test_refused_rows_load_once_mended_with_their_cells_as_first_given(tmp_path):
    target = write(tmp_path)
    mended = target.read_text(encoding="utf-8-sig").replace("2026-13-03", "2026-03-03")
    mended = mended.replace("'-3", "3").replace("2026-03-04,,", "2026-03-04,kettle,")
    target.write_text(mended)
    history = read_history(target, today=TODAY)
    assert list(history.jobs["job_id"]) == ["2", "3"]
    assert list(history.jobs["notes"]) == ["=SUM(A1:A9)", "+44 20 7946 0000"]
    assert history.refused_count == 0


def test_no_refused_row_still_writes_the_headings(tmp_path):
    target = write(tmp_path, "job_id,received,model\n1,2026-03-02,grill\n")
    assert target.read_text(encoding="utf-8-sig").strip() == (
        "row,problem,remedy,job_id,received,model"
    )


def test_a_place_that_cannot_be_written_is_one_clear_error(tmp_path):
    history = read_history(("jobs.csv", TEXT.encode()), today=TODAY)
    with pytest.raises(SourceError, match="can't be written"):
        write_refused(history, tmp_path / "none" / "x.csv")
