"""Days are read in one declared way, and a question is asked instead of a guess."""

from datetime import date

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from insights.errors import FormatQuestion
from insights.history.dates import parse_days
from insights.history.intake import Declared, read_history
from insights.history.questions import DateQuestion

TODAY = date(2026, 6, 30)


def read(values, declared=None):
    rows = "".join(f"{n},{value},grill\n" for n, value in enumerate(values))
    return read_history(
        ("jobs.csv", b"job_id,received,model\n" + rows.encode()), declared, today=TODAY
    )


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-09",
        "2026-03-09 17:45",
        "2026-03-09T17:45:10",
        "2026-03-09T23:59:59.5Z",
        "2026-03-09T00:00:00+01:00",
    ],
)
def test_iso_days_are_read_and_a_time_of_day_is_cut(text):
    assert read([text]).jobs["received"][0] == pd.Timestamp("2026-03-09")


def test_values_that_fit_both_orders_are_a_question_that_says_so():
    with pytest.raises(DateQuestion) as caught:
        read(["03/04/2026", "05/06/2026"])
    assert caught.value.formats == ("%d/%m/%Y", "%m/%d/%Y")
    assert caught.value.examples == {"received": ("03/04/2026", "05/06/2026")}
    for part in (
        "received",
        "03/04/2026",
        "%d/%m/%Y (09/03/2026 for 9 March 2026) and %m/%d/%Y (03/09/2026 for 9 March 2026)",
        "each fit all; declare which one is meant",
    ):
        assert part in str(caught.value)


def test_one_value_that_settles_the_order_still_asks_but_offers_one_format():
    with pytest.raises(
        DateQuestion, match=r"%d/%m/%Y \(09/03/2026 for 9 March 2026\) fits all;"
    ) as caught:
        read(["03/04/2026", "25/06/2026"])
    assert caught.value.formats == ("%d/%m/%Y",)


def test_the_settling_value_may_stand_in_another_column_and_far_down():
    rows = "".join(f"{n},0{n % 9 + 1}/02/2026,03/03/2026,grill\n" for n in range(300))
    text = "job_id,received,handed_back,model\n" + rows + "x,01/02/2026,31/03/2026,grill\n"
    with pytest.raises(DateQuestion) as caught:
        read_history(("jobs.csv", text.encode()), today=TODAY)
    assert caught.value.formats == ("%d/%m/%Y",)
    assert set(caught.value.examples) == {"received", "handed_back"}


def test_an_odd_cell_on_top_does_not_hide_the_question():
    with pytest.raises(DateQuestion, match="No one format fits"):
        read(["soon", "25/04/2026", "26/04/2026"])


def test_one_day_typed_wrong_does_not_hide_how_the_others_are_written():
    rows = [f"{day:02}/04/2026" for day in range(1, 31)]
    with pytest.raises(DateQuestion, match="fits all but 2 different values") as caught:
        read([*rows, "32/04/2026", "soon"])
    assert caught.value.formats == ("%d/%m/%Y",)
    with pytest.raises(DateQuestion, match="No one format fits"):
        read([*rows[:12], "soon", "later", "32/04/2026"])


def test_no_format_fitting_all_is_said():
    with pytest.raises(DateQuestion, match="No one format fits") as caught:
        read(["25/04/2026", "04/25/2026"])
    assert caught.value.formats == ()


@pytest.mark.parametrize(
    ("text", "date_format"),
    [
        ("9.3.2026", "%d.%m.%Y"),
        ("03/09/26", "%m/%d/%y"),
        ("20260309", "%Y%m%d"),
        ("9 Mar 2026", "%d %b %Y"),
        ("09/03/2026 17:45", "%d/%m/%Y %H:%M"),
    ],
)
def test_a_declared_format_is_read_and_offered(text, date_format):
    with pytest.raises(DateQuestion) as caught:
        read([text])
    assert date_format in caught.value.formats
    jobs = read([text], Declared(date_format=date_format)).jobs
    assert jobs["received"][0] == pd.Timestamp("2026-03-09")


def test_a_declared_format_does_not_bend_for_one_cell():
    history = read(["09/03/2026", "04/25/2026", "2026-03-10"], Declared(date_format="%d/%m/%Y"))
    assert list(history.jobs["received"].dt.day) == [9, 10]
    assert history.refused["problem"].tolist() == [
        "not a day written as year-month-day or like 09/03/2026 for 9 March 2026"
    ]


def test_a_few_odd_cells_among_iso_days_are_refused_not_asked_about():
    history = read(["2026-03-09", "2026-03-10", "11/03/2026"])
    assert len(history.jobs) == 2
    assert history.refused_count == 1


@pytest.mark.parametrize(
    "wrong", ["%Y", "%d/%m", "%Q", "day/month", "%Y-%d-%m", "%d/%m/%Y %z", "", "%H:%M"]
)
def test_a_format_that_cannot_give_a_day_is_refused(wrong):
    with pytest.raises(FormatQuestion, match=r"can't be used|time zone"):
        Declared(date_format=wrong)


def test_every_day_of_four_years_survives_writing_and_reading():
    days = pd.date_range("2023-01-01", "2026-12-31")
    for date_format in ("%Y-%m-%d", "%d.%m.%y"):
        texts = pa.array(days.strftime(date_format), type=pa.large_string())
        assert (parse_days(texts, date_format) == days.to_numpy()).all()


def test_days_that_are_not_in_the_calendar_are_not_days():
    texts = pa.array(["2026-02-29", "2026-04-31", "2026-00-10", "2024-02-29"], pa.large_string())
    assert np.isnat(parse_days(texts, None)).tolist() == [True, True, True, False]
