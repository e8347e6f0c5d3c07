"""Tables for people say the result's own numbers."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
from shop import fleet, followed

from insights import tables
from insights.money.backtest import backtest
from insights.standing import standing
from insights.survival.causes import cause_curves
from insights.survival.curves import return_curves
from insights.survival.recurrent import repeat_returns
from insights.tables import money as tables_money

RULES = {"follow": "all", "count": "all"}


def test_a_share_and_its_range():
    assert tables.share_text(0.0449, 0.0411, 0.0502) == "4.5% (4.1%\u00a0to\u00a05.0%)"
    assert tables.share_text(float("nan"), 0, 1) == tables.NOT_KNOWN


def test_curves_by_group():
    followup = followed(
        *fleet(1200, (20, 50), model="boiler"), *fleet(30, model="grinder"), **RULES
    )
    table = tables.of_curves(return_curves(followup, by="model", at=(30, 90, 180)))
    assert list(table["Group"]) == ["boiler", "grinder"]
    assert list(table["Jobs"]) == ["1,200", "30"]
    assert list(table["Comebacks"]) == ["2", "0"]
    # 2 of 1,200 by day 90; day 30 is left to the download.
    assert table["Back by day 90"].iloc[0].startswith("0.2%")
    assert "Back by day 30" not in table


def test_causes_end_with_their_total():
    jobs = fleet(40, (20, 50, 60))
    backs = [job for job in jobs if job["job_id"].endswith("-2")]
    backs[0]["root_cause"] = "cord"
    table = tables.of_causes(cause_curves(followed(*jobs, **RULES), at=(90,)))
    assert list(table["Root cause"]) == ["contacts", "cord", tables.ALL_CAUSES]
    shares = [text.split("%")[0] for text in table["Back by day 90"]]
    assert shares == ["5.0", "2.5", "7.5"]  # 2, 1 and 3 of 40


def test_tests_are_listed_only_where_there_is_something_to_test():
    one = return_curves(followed(*fleet(40, (20,)), **RULES), at=(30,))
    assert tables.tests_of(one).empty
    both = followed(*fleet(40, (20,), model="boiler"), *fleet(30, (9,), model="grinder"), **RULES)
    table = tables.tests_of(return_curves(both, by="model", at=(30,)))
    assert list(table["Degrees of freedom"]) == ["1", "1"]


def test_the_tally_counts_what_stands():
    counts = tables.tally_of(standing(followed(*fleet(40, (20,)), **RULES)))
    assert counts["Jobs followed"] == "40"
    assert counts["Comebacks"] == "1"
    assert counts["On the bench"] == "1"


def test_every_day_asked_for_is_listed_where_there_is_no_download():
    followup = followed(*fleet(1200, (20, 50)), **RULES)
    curves = return_curves(followup, at=(30, 90.5))
    table = tables.of_curves(curves, every_day=True)
    assert table["Back by day 30"].iloc[0].startswith("0.1%")  # 1 of 1,200
    assert table["Back by day 90.5"].iloc[0].startswith("0.2%")  # 2 of 1,200
    (repeats,) = tables.of_repeats(repeat_returns(followup, at=(90,)))["By day 90, of 100 units"]
    assert repeats.startswith("0.2 (")
    row = curves.groups.iloc[0]
    (days,) = tables.of_days_without(curves).iloc[:, 1]
    assert days.startswith(f"{row['restricted_mean_days']:,.0f} (")


def test_a_pair_is_never_called_certain_that_is_not():
    pairs = pd.DataFrame({"job_id": ["b", "d"], "earlier_job_id": ["a", "c"], "status": "linked"})
    followup = followed(*fleet(40, (20,)), **RULES)
    links = replace(followup.links, pairs=pairs.assign(probability=[0.9998, 1.0], reasons=""))
    table = tables.of_pairs(replace(followup, links=links), "linked")
    assert list(table["Same unit?"]) == ["100% likely", "over 99% likely"]


def test_a_score_without_claims_expected_has_no_ratio():
    # A job every third day for three years, each with a term of 90 days, and none ever came back.
    days = pd.date_range("2022-01-01", periods=400, freq="3D")
    jobs = [
        {"unit": unit, "received": day, "handed_back": day, "term_days": 90}
        for unit, day in enumerate(days)
    ]
    table = tables_money.of_scores(backtest(followed(*jobs, data_date="2025-06-01")))
    assert set(table["Came for each expected"]) == {"not known"}
    assert set(table["Claims that came"]) == {"0"}
