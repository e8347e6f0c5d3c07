"""More of a history: what is known changes nothing, what contradicts is refused."""

from datetime import date

import pandas as pd
import pytest

from insights.errors import FormatQuestion
from insights.history.intake import Declared, merge, read_history

TODAY = date(2026, 6, 30)
HEAD = "job_id,received,model,price,practice_pair\n"
FIRST = HEAD + "1,2026-03-02,grill,10,both\n2,2026-03-03,boiler,,one\n3,,boiler,,one\n"


def read(text, currency=""):
    return read_history(("jobs.csv", text.encode()), Declared(currency=currency), today=TODAY)


def test_the_same_history_again_changes_nothing():
    once = read(FIRST)
    twice = merge(once, read(FIRST))
    thrice = merge(twice, read(FIRST))
    for history in (twice, thrice):
        pd.testing.assert_frame_equal(history.jobs, once.jobs)
        assert history.refused.values.tolist() == once.refused.values.tolist()
        assert history.refused_count == 1
    assert thrice.notes[-1].jobs == 2
    assert [note.code for note in thrice.notes] == ["jobs_known"]


def test_new_jobs_are_added_in_order_with_new_columns_and_levels():
    more = read("job_id,received,model,lot_relay\n4,2026-03-05,steamer,B7\n")
    history = merge(read(FIRST), more)
    assert list(history.jobs["job_id"]) == ["1", "2", "4"]
    assert list(history.jobs["model"]) == ["grill", "boiler", "steamer"]
    assert history.practices == ("pair",)
    assert history.jobs["lot_relay"].isna().tolist() == [True, True, False]
    assert history.jobs["model"].dtype == "category"


def test_a_known_number_with_other_content_is_refused_with_what_differs():
    more = read(HEAD + "2,2026-03-03,boiler,9,one\n1,2026-03-02,grill,10,both\n")
    history = merge(read(FIRST), more)
    pd.testing.assert_frame_equal(history.jobs, read(FIRST).jobs)
    line = history.refused.iloc[-1]
    assert (line["job_id"], line["column"], line["value"]) == ("2", "price", "9.0")
    assert line["problem"] == "the job is there already with nothing here"
    assert history.refused_count == 2
    assert history.refused_rows.iloc[-1]["problem"].startswith("price: the job is there already")


@pytest.mark.parametrize(
    ("change", "column", "value", "problem"),
    [
        (("03-02", "03-01"), "received", "2026-03-01", "with 2026-03-02 here"),
        (("grill", "kettle"), "model", "kettle", "with grill here"),
        (("both", ""), "practice_pair", "", "with both here"),
        (("hot", "cold"), "notes", "cold", "with hot here"),
        (("hot", ""), "notes", "", "with hot here"),
        ((",10,", ",,"), "price", "", "with 10.0 here"),
    ],
)
def test_every_kind_of_difference_is_seen_and_shown(change, column, value, problem):
    text = "job_id,received,model,price,practice_pair,notes\n1,2026-03-02,grill,10,both,hot\n"
    refused = merge(read(text), read(text.replace(*change))).refused
    assert refused[["column", "value"]].values.tolist() == [[column, value]]
    assert refused["problem"][0].endswith(problem)


def test_two_currencies_are_not_added_up():
    with pytest.raises(FormatQuestion, match="EUR"):
        merge(read(FIRST, "EUR"), read(FIRST, "GBP"))
    assert merge(read(FIRST), read(FIRST, "GBP")).currency == "GBP"
