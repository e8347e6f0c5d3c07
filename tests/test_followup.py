"""The clock, rule by rule: every expected value here is counted on a calendar by hand."""

from __future__ import annotations

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shop import followed

from insights.errors import RequestError
from insights.followup import Followup, select


def only(result: Followup) -> pd.Series:
    assert len(result.episodes) == 1
    return result.episodes.iloc[0]


def first(result: Followup) -> pd.Series:
    return result.episodes.iloc[0]


def test_clock_runs_from_hand_back_and_leaves_bench_days_out():
    # Back on 10 March + 20 days; the next bench stay of 5 days is not at risk.
    result = followed(
        {"received": "2026-03-01", "handed_back": "2026-03-10"},
        {"received": "2026-03-30", "handed_back": "2026-04-04", "root_cause": "contacts"},
    )
    assert result.episodes["days"].tolist() == [20, 271]  # 4 April to 31 December
    assert result.episodes["end"].tolist() == ["return", "data_date"]
    assert result.episodes["cause"].tolist()[0] == "contacts"
    assert result.episodes["repair_number"].tolist() == [1, 2]
    assert result.episodes["served_days"].tolist() == [0, 20]


def test_job_still_on_the_bench_opens_no_episode():
    result = followed(
        {"received": "2026-03-01", "handed_back": "2026-03-10", "unit": 0},
        {"received": "2026-12-01", "unit": 1},
    )
    assert only(result)["unit"] == 0


def test_same_day_comeback_counts_as_half_a_day():
    result = followed(
        {"received": "2026-03-01", "handed_back": "2026-03-10"},
        {"received": "2026-03-10"},
    )
    assert only(result)["days"] == 0.5
    assert only(result)["end"] == "return"


def test_same_day_comeback_on_the_data_date_still_counts():
    result = followed(
        {"received": "2026-03-01", "handed_back": "2026-03-10"},
        {"received": "2026-03-10"},
        data_date="2026-03-10",
    )
    assert (only(result)["days"], only(result)["end"]) == (0.5, "return")


def test_hand_back_on_the_data_date_has_been_at_risk_for_no_day():
    result = followed(
        {"received": "2026-03-01", "handed_back": "2026-03-10"}, data_date="2026-03-10"
    )
    assert (only(result)["days"], only(result)["end"]) == (0, "data_date")


@pytest.mark.parametrize(
    ("back", "days", "end"),
    [
        ("2026-04-09", 99, "return"),  # inside 90 + 14
        ("2026-04-14", 104, "return"),  # the last day of grace
        ("2026-04-15", 104, "term"),  # one day too late
    ],
)
def test_covered_stops_at_the_jobs_own_term_plus_grace(back, days, end):
    result = followed(
        {"received": "2025-12-30", "handed_back": "2025-12-31", "term_days": 90},
        {"received": back},
    )
    assert (first(result)["days"], first(result)["end"]) == (days, end)


def test_grace_is_the_callers_to_choose():
    result = followed(
        {"received": "2025-12-30", "handed_back": "2025-12-31", "term_days": 90}, grace_days=0
    )
    assert only(result)["days"] == 90


def test_follow_all_ignores_terms():
    result = followed(
        {"received": "2025-12-30", "handed_back": "2025-12-31", "term_days": 90},
        {"received": "2026-10-01"},
        follow="all",
    )
    assert (first(result)["days"], first(result)["end"]) == (274, "return")


def test_no_warranty_is_followed_through_the_grace_only():
    result = followed({"received": "2026-01-01", "handed_back": "2026-01-02", "term_days": 0})
    assert (only(result)["days"], only(result)["end"]) == (14, "term")


def test_unknown_term_is_followed_to_the_data_date_and_said_so():
    result = followed({"received": "2026-12-01", "handed_back": "2026-12-11"})
    assert (only(result)["days"], only(result)["end"]) == (20, "data_date")
    assert [(note.code, note.jobs) for note in result.notes] == [("no_term", 1)]


@pytest.mark.parametrize("how", ["scrapped", "refunded", "replaced"])
def test_leaving_service_competes_and_is_not_censoring(how):
    result = followed(
        {
            "received": "2026-01-01",
            "handed_back": "2026-01-02",
            "ended_on": "2026-02-01",
            "ended_how": how,
        }
    )
    assert (only(result)["days"], only(result)["end"]) == (30, how)


def test_leaving_service_unsaid_how_reads_as_scrapped():
    result = followed(
        {"received": "2026-01-01", "handed_back": "2026-01-02", "ended_on": "2026-02-01"}
    )
    assert only(result)["end"] == "scrapped"


def test_comeback_before_leaving_service_on_one_day():
    result = followed(
        {"received": "2026-01-01", "handed_back": "2026-01-02", "ended_on": "2026-02-01"},
        {"received": "2026-02-01"},
    )
    assert (only(result)["days"], only(result)["end"]) == (30, "return")


def test_leaving_service_after_the_data_date_has_not_happened_yet():
    result = followed(
        {"received": "2026-01-01", "handed_back": "2026-01-02", "ended_on": "2026-02-01"},
        data_date="2026-01-12",
    )
    assert (only(result)["days"], only(result)["end"]) == (10, "data_date")
    assert result.problems["problem"].str.contains("after the data date").all()


def two_visits(**second) -> tuple[dict, dict]:
    return (
        {"received": "2026-03-01", "handed_back": "2026-03-10", "term_days": 30},
        {"received": "2026-04-05", **second},
    )


@pytest.mark.parametrize(
    ("count", "second", "end"),
    [
        ("all", {"relation": "misuse"}, "return"),
        ("faults", {"relation": "misuse"}, "uncounted_return"),
        ("faults", {"relation": "no_fault_found"}, "uncounted_return"),
        ("faults", {"relation": "new_fault"}, "return"),
        ("faults", {"relation": "pending"}, "return"),
        ("faults", {}, "return"),
        ("covered", {"decision": "covered"}, "return"),
        ("covered", {"decision": "goodwill"}, "uncounted_return"),
        ("covered", {"decision": "charged"}, "uncounted_return"),
        ("covered", {"decision": "declined"}, "uncounted_return"),
        ("covered", {"decision": "pending"}, "return"),  # day 26 of 30
        ("covered", {}, "return"),
    ],
)
def test_which_comebacks_count(count, second, end):
    result = followed(*two_visits(**second), count=count)
    assert (first(result)["days"], first(result)["end"]) == (26, end)
    assert pd.isna(first(result)["cause"]) == (end != "return")


@pytest.mark.parametrize(
    ("notified", "received", "end"),
    [
        ("2026-04-09", "2026-04-15", "return"),  # reported on day 30, arrived on day 36
        ("2026-04-10", "2026-04-15", "uncounted_return"),  # reported on day 31
        (None, "2026-04-15", "uncounted_return"),  # arrived on day 36, no report recorded
    ],
)
def test_a_pending_claim_is_inside_the_term_by_the_day_it_was_reported(notified, received, end):
    result = followed(
        {"received": "2026-03-01", "handed_back": "2026-03-10", "term_days": 30},
        {"received": received, "notified": notified, "decision": "pending"},
        count="covered",
    )
    assert (first(result)["days"], first(result)["end"]) == (36, end)


def test_an_unrecorded_root_cause_is_kept_as_unknown():
    result = followed(*two_visits())
    assert first(result)["cause"] == "unknown"
    assert ("unknown_cause", 1) in [(note.code, note.jobs) for note in result.notes]


def test_arrival_before_the_earlier_hand_back_is_reported_not_repaired():
    result = followed(
        {"received": "2026-03-01", "handed_back": "2026-03-10"},
        {"received": "2026-03-05", "handed_back": "2026-03-20"},
    )
    assert only(result)["job"] == 1
    assert result.problems[["job_id", "column", "value"]].to_numpy().tolist() == [
        ["J0", "received", "2026-03-05"]
    ]


def test_two_open_jobs_on_one_unit_are_reported():
    result = followed(
        {"received": "2026-01-01", "handed_back": "2026-01-05", "unit": 1},
        {"received": "2026-03-01", "unit": 0},
        {"received": "2026-03-05", "unit": 0},
    )
    assert result.problems["job_id"].tolist() == ["J1"]
    assert result.problems["problem"].str.contains("still open").all()


def test_arrival_after_the_data_date_is_reported_and_censored():
    result = followed(
        {"received": "2026-03-01", "handed_back": "2026-03-10"},
        {"received": "2026-05-01"},
        data_date="2026-04-09",
    )
    assert (only(result)["days"], only(result)["end"]) == (30, "data_date")
    assert result.problems["job_id"].tolist() == ["J1"]


def test_default_data_date_is_the_latest_arrival_or_hand_back():
    result = followed(
        {"received": "2026-03-01", "handed_back": "2026-03-10", "unit": 0},
        {"received": "2026-04-01", "unit": 1},
        data_date=None,
    )
    assert result.data_date == pd.Timestamp("2026-04-01")
    assert only(result)["days"] == 22


def test_units_keep_their_own_clocks_whatever_the_order_of_rows():
    result = followed(
        {"received": "2026-05-01", "handed_back": "2026-05-02", "unit": 1},
        {"received": "2026-03-01", "handed_back": "2026-03-10", "unit": 0},
        {"received": "2026-03-15", "handed_back": "2026-03-16", "unit": 1},
    )
    assert result.episodes[["unit", "job", "days"]].to_numpy().tolist() == [
        [0, 1, 296],
        [1, 2, 46],
        [1, 0, 243],
    ]


def test_filter_keeps_the_comeback_of_a_job_it_keeps():
    result = followed(
        {"received": "2026-03-01", "handed_back": "2026-03-10", "technician": "Ada"},
        {"received": "2026-03-30", "handed_back": "2026-04-04", "technician": "Bo"},
    )
    kept = select(result, where={"technician": ("Ada",)})
    assert (only(kept)["days"], only(kept)["end"]) == (20, "return")
    assert only(select(result, since="2026-04-01"))["repair_number"] == 2
    assert only(select(result, until="2026-03-31"))["repair_number"] == 1


@pytest.mark.parametrize(
    ("rules", "words"),
    [
        ({"follow": "some"}, "Choose one of: covered, all"),
        ({"count": "some"}, "Choose one of: all, faults, covered"),
        ({"grace_days": -1}, "zero or more"),
        ({"data_date": "31/12/2026"}, "year-month-day"),
        ({"data_date": "2020-01-01"}, "later data date"),
    ],
)
def test_rules_that_make_no_sense_are_refused(rules, words):
    with pytest.raises(RequestError, match=words):
        followed({"received": "2026-03-01", "handed_back": "2026-03-10"}, **rules)


def test_filters_that_make_no_sense_are_refused():
    result = followed({"received": "2026-03-01", "handed_back": "2026-03-10"})
    with pytest.raises(RequestError, match="Recorded: boiler"):
        select(result, where={"model": ("kettle",)})
    with pytest.raises(RequestError, match="leaves no hand-back"):
        select(result, since="2026-06-01")
    with pytest.raises(RequestError, match="Columns that can be: model"):
        result.values("colour")


def test_a_filter_remarks_only_on_what_it_keeps():
    result = followed(
        {"received": "2026-01-01", "handed_back": "2026-01-02", "unit": 0, "model": "boiler"},
        {"received": "2026-02-01", "unit": 0, "model": "boiler"},
        {"received": "2026-01-01", "handed_back": "2026-01-02", "unit": 1, "model": "grill"},
    )
    counts = {note.code: note.jobs for note in select(result, where={"model": ("grill",)}).notes}
    assert counts == {"no_term": 1}
    counts = {note.code: note.jobs for note in select(result, where={"model": ("boiler",)}).notes}
    assert counts == {"no_term": 1, "unknown_cause": 1}


def test_grouping_keeps_what_was_not_recorded():
    result = followed(
        {"received": "2026-01-30", "handed_back": "2026-01-31", "unit": 0, "unit_age_years": 1.9},
        {"received": "2026-02-01", "handed_back": "2026-02-02", "unit": 1, "unit_age_years": 2.0},
        {"received": "2026-02-01", "handed_back": "2026-02-02", "unit": 2},
    )
    assert result.values("age_band").tolist() == ["0 to 2 years", "2 to 4 years", "(not recorded)"]
    assert result.values("month").tolist() == ["2026-01", "2026-02", "2026-02"]
    assert result.values("technician").tolist() == ["(not recorded)"] * 3


@st.composite
def histories(draw) -> list[dict]:
    jobs = []
    day = pd.Timestamp("2026-01-01")
    for number in range(draw(st.integers(1, 12))):
        received = day + pd.Timedelta(days=draw(st.integers(0, 300)))
        stay = draw(st.one_of(st.none(), st.integers(0, 30)))
        jobs.append(
            {
                "job_id": f"J{number}",
                "unit": draw(st.integers(0, 3)),
                "received": received,
                "handed_back": None if stay is None else received + pd.Timedelta(days=stay),
                "term_days": draw(st.sampled_from([0, 30, 90, None])),
                "relation": draw(st.sampled_from([None, "same_fault", "misuse"])),
            }
        )
    jobs[0]["handed_back"] = jobs[0]["received"]
    return jobs


@settings(max_examples=60, deadline=None, derandomize=True)
@given(histories(), st.sampled_from(["covered", "all"]), st.sampled_from(["all", "faults"]))
def test_a_clock_read_job_by_job_agrees(jobs, follow, count):
    """A second, plain implementation: one loop over each unit's jobs."""
    expected = {}
    until = pd.Timestamp("2026-12-31")
    in_order = sorted(
        enumerate(jobs),
        key=lambda pair: (
            pair[1]["unit"],
            pair[1]["received"],
            pair[1]["handed_back"] or pd.Timestamp.max,
            pair[0],
        ),
    )
    for place, (row, job) in enumerate(in_order):
        after = in_order[place + 1][1] if place + 1 < len(in_order) else None
        back = after["received"] if after and after["unit"] == job["unit"] else None
        start = job["handed_back"]
        if start is None or start > until or (back is not None and back < start):
            continue
        days, end = (until - start).days, "data_date"
        if follow == "covered" and job["term_days"] is not None and job["term_days"] + 14 <= days:
            days, end = job["term_days"] + 14, "term"
        if back is not None and back <= until and (back - start).days <= days:
            counted = count == "all" or after["relation"] != "misuse"
            days, end = (back - start).days or 0.5, "return" if counted else "uncounted_return"
        expected[row] = (days, end)
    if not expected:
        return
    result = followed(*[dict(job) for job in jobs], follow=follow, count=count)
    found = dict(
        zip(
            result.episodes["job"],
            zip(result.episodes["days"], result.episodes["end"], strict=True),
            strict=True,
        )
    )
    assert found == expected
