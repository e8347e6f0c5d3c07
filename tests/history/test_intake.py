"""Rows and cells: what loads, as what, and what is refused with which reason."""

from datetime import date

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from insights.history.intake import Declared, read_history
from insights.history.schema import COLUMNS, REFUSAL_COLUMNS, dtype_of

TODAY = date(2026, 6, 30)
HEAD = "job_id,received,handed_back,model,price,term_days,relation,practice_pair\n"
GOOD = "001,2026-03-02,2026-03-05,NA,12.50,90,Same fault,both\n"


def read(text, declared=None, today=TODAY, name="jobs.csv"):
    return read_history((name, text.encode()), declared, today=today)


def reasons(history):
    return list(history.refused[["row", "column", "problem"]].itertuples(index=False, name=None))


def notes(history):
    return {note.code: note for note in history.notes}


def test_every_column_has_the_dtype_of_its_kind_present_or_not():
    jobs = read(HEAD + GOOD).jobs
    assert [*jobs.columns] == [*(c.name for c in COLUMNS), "practice_pair"]
    for column in COLUMNS:
        assert jobs[column.name].dtype == dtype_of(column.kind)
    assert jobs["practice_pair"].dtype == "category"


def test_identifiers_and_a_model_called_na_stay_text():
    jobs = read(HEAD + GOOD).jobs
    assert jobs["job_id"][0] == "001"
    assert jobs["model"][0] == "NA"
    assert jobs["received"][0] == pd.Timestamp("2026-03-02")
    assert jobs["price"][0] == 12.5
    assert jobs["relation"][0] == "same_fault"


def test_an_empty_cell_is_missing_and_nothing_fills_it():
    jobs = read(HEAD + "1,2026-03-02,,grill, ,,,\n").jobs
    assert (
        jobs[["handed_back", "price", "term_days", "relation", "practice_pair"]]
        .isna()
        .all(axis=None)
    )


def test_a_blank_around_a_value_is_no_part_of_it():
    jobs = read(HEAD + " 1 , 2026-03-02 ,, grill  S , 3 , 90 , no - fault found ,both \n").jobs
    assert jobs["job_id"][0] == "1"
    assert jobs["model"][0] == "grill S"
    assert jobs["relation"][0] == "no_fault_found"
    assert jobs["practice_pair"][0] == "both"


@pytest.mark.parametrize(
    ("row", "column", "problem"),
    [
        (",2026-03-02,,grill,,,,", "job_id", "the cell is empty"),
        ("1,,,grill,,,,", "received", "the cell is empty"),
        ("1,2026-03-02,,,,,,", "model", "the cell is empty"),
        ("1,2026-02-30,,grill,,,,", "received", "not a day written as year-month-day"),
        ("1,2026-03-02,soon,grill,,,,", "handed_back", "not a day written as year-month-day"),
        ("1,46083,,grill,,,,", "received", "a spreadsheet's day number, not a date"),
        ("1,0206-03-02,,grill,,,,", "received", "not a day written as year-month-day"),
        ("1,1906-03-02,,grill,,,,", "received", "before 1950-01-01"),
        ("1,2026-07-01,,grill,,,,", "received", "after today (2026-06-30)"),
        ("1,2026-03-02,2026-03-01,grill,,,,", "handed_back", "handed back before received"),
        ("1,2026-03-02,,grill,-0.01,,,", "price", "below 0"),
        ("1,2026-03-02,,grill,£3,,,", "price", "a number with a currency sign or unit"),
        ("1,2026-03-02,,grill,three,,,", "price", "not a number"),
        ("1,2026-03-02,,grill,inf,,,", "price", "not a number"),
        ("1,2026-03-02,,grill,nan,,,", "price", "not a number"),
        ("1,2026-03-02,,grill,1e999,,,", "price", "not a number"),
        ("1,2026-03-02,,grill,,90.5,,", "term_days", "not a whole number"),
        ("1,2026-03-02,,grill,,36501,,", "term_days", "above 36500"),
        ("1,2026-03-02,,grill,,,maybe,", "relation", "not one of the choices"),
    ],
)
def test_a_row_that_cannot_be_used_is_refused_with_its_reason(row, column, problem):
    history = read(HEAD + GOOD + row + "\n")
    assert reasons(history) == [(3, column, problem)]
    assert list(history.jobs["job_id"]) == ["001"]
    assert history.refused["remedy"].str.len().min() > 5
    assert tuple(history.refused.columns) == REFUSAL_COLUMNS
    assert history.refused_count == 1


@pytest.mark.parametrize(
    ("column", "fine", "wrong"),
    [
        ("condition", ["1", "5"], ["0", "6", "2.5"]),
        ("unit_age_years", ["0", "200", "7.5"], ["-1", "201"]),
        ("term_days", ["0", "36500"], ["-1"]),
        ("bench_minutes", ["0"], ["-1"]),
        ("claim_cost", ["0"], ["-0.01"]),
    ],
)
def test_numbers_load_within_their_bounds_and_no_further(column, fine, wrong):
    rows = [f"{n},2026-03-02,grill,{text}" for n, text in enumerate([*fine, *wrong])]
    history = read("\n".join([f"job_id,received,model,{column}", *rows]))
    assert list(history.jobs[column]) == [float(text) for text in fine]
    assert list(history.refused["value"]) == wrong


def test_the_last_day_allowed_is_today_itself():
    assert len(read(HEAD + "1,2026-06-30,2026-06-30,grill,,,,\n").jobs) == 1


def test_all_problems_of_a_row_are_named_in_one_pass():
    history = read(HEAD + "1,2026-13-02,,grill,-3,1.5,maybe,\n")
    assert [column for _, column, _ in reasons(history)] == [
        "received",
        "price",
        "term_days",
        "relation",
    ]
    assert history.refused_count == 1


def test_row_numbers_are_those_a_spreadsheet_shows():
    text = "\n" + HEAD + '1,2026-03-02,,"two\nlines",,,,\n\n,,,,,,,\n2,,,grill,,,,\n'
    history = read(text)
    assert reasons(history) == [(6, "received", "the cell is empty")]
    assert list(history.refused_rows["row"]) == [6]
    assert len(history.jobs) == 1


def test_a_comma_in_an_amount_is_refused_until_declared():
    head = HEAD.replace(",", ";")
    rows = '1;2026-03-02;;grill;12,50;;;\n2;2026-03-02;;grill;"1.234,50";;;\n'
    history = read(head + rows)
    assert reasons(history)[0] == (
        2,
        "price",
        "the decimal mark declared is a point, and this has a comma",
    )
    assert "declare ','" in history.refused["remedy"][0]
    assert list(read(head + rows, Declared(decimal=",")).jobs["price"]) == [12.5, 1234.5]


@pytest.mark.parametrize(
    ("text", "decimal", "value"),
    [
        ("1,234.50", ".", 1234.5),
        ("1 234", ".", 1234.0),
        ("1'234.5", ".", 1234.5),
        ("1\u00a0234,5", ",", 1234.5),
        ("+3", ".", 3.0),
        (".5", ".", 0.5),
        ("1e2", ".", 100.0),
        ("1,234", ".", None),  # thousands or a decimal comma: not for us to say
        ("1.234", ",", None),
        ("12,34.5", ".", None),
    ],
)
def test_numbers_are_read_only_where_there_is_one_way_to_read_them(text, decimal, value):
    history = read(
        HEAD.replace(",", ";") + f"1;2026-03-02;;grill;{text};;;\n", Declared(decimal=decimal)
    )
    assert list(history.jobs["price"]) == ([] if value is None else [value])
    assert history.refused_count == (value is None)


def test_the_sign_of_the_declared_currency_is_no_obstacle_and_another_is():
    rows = "1,2026-03-02,,grill,€ 3.20,,,\n2,2026-03-02,,grill,$3.20,,,\n"
    history = read(HEAD + rows, Declared(currency="EUR"))
    assert list(history.jobs["price"]) == [3.2]
    assert reasons(history) == [(3, "price", "a number with a currency sign or unit")]
    assert history.currency == "EUR"


def test_a_job_number_used_twice_refuses_both_rows_and_names_the_other():
    other = GOOD.replace("12.50", "13.00")
    history = read(HEAD + GOOD + "2,2026-03-02,,grill,,,,\n" + other)
    assert reasons(history) == [
        (2, "job_id", "the same job number as row 4, with different content"),
        (4, "job_id", "the same job number as row 2, with different content"),
    ]
    assert list(history.jobs["job_id"]) == ["2"]


def test_an_identical_row_is_skipped_once_and_said():
    history = read(HEAD + GOOD + GOOD + GOOD)
    assert len(history.jobs) == 1
    assert history.refused_count == 0
    assert notes(history)["identical_rows"].jobs == 2


def test_an_identical_copy_of_a_clashing_row_is_skipped_and_the_rest_refused():
    other = GOOD.replace("12.50", "13.00")
    history = read(HEAD + GOOD + GOOD + other)
    assert [row for row, _, _ in reasons(history)] == [2, 4]
    assert notes(history)["identical_rows"].jobs == 1


def test_identical_rows_that_are_refused_are_refused_once():
    bad = GOOD.replace("12.50", "-1")
    history = read(HEAD + bad + bad)
    assert reasons(history) == [(2, "price", "below 0")]
    assert notes(history)["identical_rows"].jobs == 1


def test_rows_without_a_job_number_do_not_clash_with_each_other():
    history = read(HEAD + ",2026-03-02,,a,,,,\n,2026-03-02,,b,,,,\n")
    assert reasons(history) == [
        (2, "job_id", "the cell is empty"),
        (3, "job_id", "the cell is empty"),
    ]


def test_a_cell_of_a_megabyte_is_refused_and_shown_shortened():
    history = read(HEAD + GOOD + "2,2026-03-02,," + "x" * 1_000_000 + ",,,,\n")
    assert reasons(history) == [(3, "model", "the cell holds more than 32767 characters")]
    assert len(history.refused["value"][0]) == 60
    assert len(history.refused_rows["model"][0]) == 1_000_000


def test_an_empty_cell_beside_one_too_long_is_no_obstacle():
    text = "job_id,received,model,notes\n1,2026-03-02,grill,\n"
    history = read(text + "2,2026-03-02,grill," + "x" * 40_000 + "\n")
    assert list(history.jobs["job_id"]) == ["1"]
    assert list(history.refused["row"]) == [3]


def test_the_longest_cell_allowed_is_what_a_spreadsheet_can_hold():
    assert read(HEAD + f"1,2026-03-02,,{'x' * 32_767},,,,\n").refused_count == 0
    assert read(HEAD + f"1,2026-03-02,,{'x' * 32_768},,,,\n").refused_count == 1


def test_a_column_not_ours_is_left_aside_and_named():
    history = read("job_id,received,model,colour\n1,2026-03-02,grill,red\n")
    assert "colour" not in history.jobs
    assert "colour" in notes(history)["columns_aside"].text


def test_levels_that_differ_in_capitals_are_kept_apart_and_pointed_out():
    history = read(HEAD + GOOD + GOOD.replace("001", "2").replace("both", "Both"))
    assert set(history.jobs["practice_pair"]) == {"both", "Both"}
    assert "Both / both" in notes(history)["like_levels"].text


def test_levels_seen_only_in_refused_rows_are_gone():
    history = read(HEAD + GOOD + "2,2026-03-02,,kettle,-1,,,\n")
    assert list(history.jobs["model"].cat.categories) == ["NA"]


def test_reading_the_families_gives_their_names():
    head = (
        "job_id,received,model,Practice Pair,lot_relay,Reading plate (C),reading_insulation_mohm\n"
    )
    history = read(head + "1,2026-03-02,grill,both,B7,201.5,900\n")
    assert history.practices == ("pair",)
    assert history.lots == ("relay",)
    assert history.readings == ("plate_c", "insulation_mohm")
    assert history.jobs["reading_plate_c"][0] == 201.5


def test_a_negative_reading_is_a_reading():
    history = read("job_id,received,model,reading_chamber_c\n1,2026-03-02,chiller,-18\n")
    assert list(history.jobs["reading_chamber_c"]) == [-18]


def test_the_source_is_named_for_display(tmp_path):
    path = tmp_path / "bench.csv"
    path.write_text(HEAD + GOOD)
    assert read_history(path, today=TODAY).source == str(path)
    assert read(HEAD + GOOD, name="up.csv").source == "up.csv"


def test_reading_the_same_file_twice_gives_the_same_history():
    text = HEAD + GOOD + "2,2026-03-02,,grill,-1,,,\n"
    first, second = read(text), read(text)
    pd.testing.assert_frame_equal(first.jobs, second.jobs)
    pd.testing.assert_frame_equal(first.refused, second.refused)


def test_parquet_of_every_kind_reads_as_its_text_does(tmp_path):
    jobs = pa.table(
        {
            "job_id": ["a", "b", "c", "d"],
            "received": pa.array([date(2026, 3, day) for day in (2, 3, 2, 2)]),
            "model": pa.array([" grill", "grill ", "", "mill"]).dictionary_encode(),
            "price": [45.5, float("nan"), 45.5, None],
            "technician": pa.array(["Ada", " ", None, "Ada"]).dictionary_encode(),
            "term_days": pa.array([90, 90, None, 90], pa.int16()),
            "practice_descale": pa.array([True, None, False, True]),
            "notes": pa.nulls(4),
        }
    )
    several = tmp_path / "jobs.parquet"
    pq.write_table(jobs, several, row_group_size=2)
    found = read_history(several)
    assert found.refused[["row", "column", "problem"]].to_numpy().tolist() == [
        [4, "model", "the cell is empty"]
    ]
    assert found.jobs["job_id"].tolist() == ["a", "b", "d"]
    assert found.jobs["model"].tolist() == ["grill", "grill", "mill"]
    assert found.jobs["model"].cat.categories.tolist() == ["grill", "mill"]
    assert found.jobs["received"].dt.day.tolist() == [2, 3, 2]
    assert found.jobs["price"].fillna(-1).tolist() == [45.5, -1, -1]
    assert found.jobs["technician"].astype(object).fillna("none").tolist() == ["Ada", "none", "Ada"]
    assert found.jobs["practice_descale"].astype(object).fillna("?").tolist() == ["yes", "?", "yes"]
    assert found.jobs["notes"].isna().all()
