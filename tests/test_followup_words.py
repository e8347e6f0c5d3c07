"""What a follow-up says: contradictions, remarks, groups, filters; and its days at the edges."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from shop import followed

from insights.errors import RequestError
from insights.followup import PROBLEM_COLUMNS, follow_up, select
from insights.grouping import DERIVED
from insights.history.schema import History, to_schema
from insights.history.units import Links

FIRST = {"job_id": "A", "received": "2026-01-01", "handed_back": "2026-01-10", "term_days": 90}


def second(**facts: object) -> dict:
    return {"job_id": "B", "received": "2026-02-01", **facts}


@pytest.mark.parametrize(
    ("jobs", "line"),
    [
        (
            [
                FIRST,
                {"job_id": "B", "received": "2026-01-05"},
                {**FIRST, "job_id": "C", "unit": 1},
            ],
            (
                "A",
                "received",
                "2026-01-05",
                "the unit arrived again before this job handed it back",
                "correct one of the two dates, or say that these are two units",
            ),
        ),
        (
            [{"job_id": "A", "received": "2026-01-01"}, second(handed_back="2026-02-03")],
            (
                "A",
                "received",
                "2026-02-01",
                "the unit arrived again while this job was still open",
                "enter this job's hand-back, or say that these are two units",
            ),
        ),
        (
            [{**FIRST, "ended_on": "2026-01-09"}, second(unit=1, handed_back="2026-02-03")],
            (
                "A",
                "ended_on",
                "2026-01-09",
                "the unit left service before it was handed back",
                "correct one of the two dates",
            ),
        ),
        (
            [{**FIRST, "handed_back": "2025-12-31"}, second(unit=1, handed_back="2026-02-03")],
            (
                "A",
                "handed_back",
                "2025-12-31",
                "the unit was handed back before it arrived",
                "correct one of the two dates",
            ),
        ),
        (
            # Only the later of its dates is wrong, and that one is named.
            [FIRST, second(unit=1, handed_back="2027-01-02")],
            (
                "B",
                "handed_back",
                "2027-01-02",
                "the job has a date after the data date 2026-12-31",
                "correct the date, or give a later data date",
            ),
        ),
        (
            # Several late dates are one problem, under the first of them.
            [FIRST, second(unit=1, received="2027-01-02", handed_back="2027-01-03")],
            (
                "B",
                "received",
                "2027-01-02",
                "the job has a date after the data date 2026-12-31",
                "correct the date, or give a later data date",
            ),
        ),
        (
            [FIRST, second(unit=1, received="2027-01-02")],
            (
                "B",
                "received",
                "2027-01-02",
                "the job has a date after the data date 2026-12-31",
                "correct the date, or give a later data date",
            ),
        ),
    ],
)
def test_each_contradiction_names_the_job_the_date_and_what_to_do(jobs, line):
    problems = followed(*jobs).problems
    assert tuple(problems.columns) == PROBLEM_COLUMNS
    assert problems.index.tolist() == [0]
    assert tuple(problems.iloc[0]) == line


def test_contradictions_stand_in_the_order_of_units_and_only_these_hand_backs_are_left_out():
    result = followed(
        {**FIRST, "job_id": "A", "unit": 1, "ended_on": "2026-01-02"},
        {**FIRST, "job_id": "B", "unit": 0, "handed_back": "2025-12-30"},
        {**FIRST, "job_id": "C", "unit": 2},
    )
    assert result.problems["job_id"].tolist() == ["B", "A"]
    assert result.history.jobs["job_id"].take(result.episodes["job"]).tolist() == ["C"]
    assert tuple(followed(FIRST).problems.columns) == PROBLEM_COLUMNS


def test_dates_on_the_day_of_hand_back_and_on_the_data_date_contradict_nothing():
    result = followed({**FIRST, "ended_on": "2026-01-10"}, data_date="2026-01-10")
    assert result.problems.empty
    assert result.episodes["end"].tolist() == ["scrapped"]
    last = followed({**FIRST, "ended_on": "2026-03-01"}, data_date="2026-03-01")
    assert last.episodes["end"].tolist() == ["scrapped"]
    assert last.episodes["days"].tolist() == [50]


def test_a_unit_that_left_service_on_the_day_of_hand_back_was_out_for_half_a_day():
    result = followed({**FIRST, "ended_on": "2026-01-10"}, data_date="2026-06-01")
    assert result.episodes[["days", "end"]].to_numpy().tolist() == [[0.5, "scrapped"]]


def test_a_day_out_of_our_hands_is_a_day_and_not_half_of_one():
    result = followed({**FIRST, "ended_on": "2026-01-11"}, data_date="2026-06-01")
    assert result.episodes["days"].tolist() == [1]
    back = followed(FIRST, second(received="2026-01-11"), data_date="2026-06-01")
    assert back.episodes["days"].tolist() == [1]


def test_episodes_have_every_end_as_a_category_and_no_comeback_is_minus_one():
    result = followed(FIRST, data_date="2026-01-31")
    assert result.episodes["return_job"].tolist() == [-1]
    assert result.episodes["end"].cat.categories[:2].tolist() == ["return", "uncounted_return"]
    assert result.episodes.index.tolist() == [0]


def test_what_is_remarked_names_the_kind_the_count_and_the_meaning():
    jobs = to_schema(
        pd.DataFrame(
            [
                {**FIRST, "model": "grill", "term_days": None},
                {**second(), "model": "grill"},
                {**FIRST, "job_id": "C", "model": "grill", "ended_on": "2026-01-01"},
            ]
        )
    )
    history = History(jobs, refused_rows=pd.DataFrame({"row": [7, 8]}))
    links = Links(np.array([0, 0, 1]), pd.DataFrame())
    result = follow_up(history, links=links, data_date="2026-12-31")
    assert [(note.code, note.text, note.jobs) for note in result.notes] == [
        (
            "refused",
            "2 rows of the source could not be used and are missing here; the check of the source "
            "says why.",
            2,
        ),
        (
            "no_term",
            "1 job has no warranty term recorded, so it is followed to the data date.",
            1,
        ),
        ("contradictions", "1 date contradicts another; the list says which and why.", 1),
        ("unknown_cause", "1 comeback has no root cause recorded.", 1),
    ]
    without_terms = follow_up(history, links=links, data_date="2026-12-31", follow="all")
    assert "no_term" not in {note.code for note in without_terms.notes}


def test_two_of_a_kind_are_spoken_of_as_two():
    rows = [
        row | {"job_id": f"{row['job_id']}{copy}", "model": "grill", "term_days": None}
        for copy in range(2)
        for row in (FIRST, second(), {**FIRST, "job_id": "C", "ended_on": "2026-01-01"})
    ]
    history = History(to_schema(pd.DataFrame(rows)))
    links = Links(np.array([0, 0, 1, 2, 2, 3]), pd.DataFrame())
    notes = follow_up(history, links=links, data_date="2026-12-31").notes
    assert [note.text for note in notes] == [
        "2 jobs have no warranty term recorded, so they are followed to the data date.",
        "2 dates contradict each other; the list says which and why.",
        "2 comebacks have no root cause recorded.",
    ]


def test_one_row_refused_is_spoken_of_as_one():
    history = History(to_schema(pd.DataFrame([{**FIRST, "model": "grill"}])))
    one = replace(history, refused_rows=pd.DataFrame({"row": [7]}))
    links = Links(np.array([0]), pd.DataFrame())
    (note,) = follow_up(one, links=links, data_date="2026-12-31").notes
    assert note.text == (
        "1 row of the source could not be used and is missing here; the check of the source says "
        "why."
    )


def test_no_term_is_remarked_only_where_a_term_is_missing():
    assert followed(FIRST).notes == ()


def groups(result, name: str) -> list[str]:
    return result.values(name).astype(str).tolist()


def test_derived_groups():
    jobs = [
        {"job_id": f"J{n}", "received": day, "handed_back": day, "unit_age_years": age}
        for n, (day, age) in enumerate(
            [
                ("2024-12-30", 0),
                ("2025-01-02", 2.0),
                ("2025-04-01", 99.5),
                ("2025-07-01", None),
                ("2026-01-01", 1.99),
            ]
        )
    ]
    result = followed(*jobs, data_date="2026-06-01")
    assert groups(result, "repair_number") == ["1", "2", "3+", "3+", "3+"]
    assert result.values("repair_number").cat.categories.tolist() == ["1", "2", "3+"]
    assert groups(result, "month") == ["2024-12", "2025-01", "2025-04", "2025-07", "2026-01"]
    assert groups(result, "quarter") == ["2024Q4", "2025Q1", "2025Q2", "2025Q3", "2026Q1"]
    assert groups(result, "year") == ["2024", "2025", "2025", "2025", "2026"]
    bands = groups(result, "age_band")
    assert bands[3] == "(not recorded)"
    assert bands[0] == bands[4] == "0 to 2 years"
    assert bands[1] == "2 to 4 years"
    assert bands[2] == "12 years and more"
    assert set(DERIVED) == {"repair_number", "age_band", "month", "quarter", "year"}


def test_months_stand_in_order_of_time_however_the_units_stand():
    result = followed(
        {**FIRST, "job_id": "A", "unit": 0, "received": "2025-05-01", "handed_back": "2025-05-02"},
        {**FIRST, "job_id": "B", "unit": 1, "received": "2025-01-01", "handed_back": "2025-01-02"},
    )
    assert result.values("month").cat.categories.tolist() == ["2025-01", "2025-05"]


def test_conditions_are_steps_and_what_is_not_recorded_has_a_name():
    jobs = [
        {**FIRST, "job_id": f"J{unit}", "unit": unit, "condition": condition}
        for unit, condition in enumerate([5, 2, None])
    ]
    result = followed(*jobs)
    assert groups(result, "condition") == ["5", "2", "(not recorded)"]
    assert result.values("condition").cat.categories.tolist() == ["2", "5", "(not recorded)"]
    without = followed(*jobs[:2])
    assert without.values("condition").cat.categories.tolist() == ["2", "5"]


def test_what_cannot_be_grouped_by_lists_what_can():
    with pytest.raises(
        RequestError, match=r"Can't group by 'notes'. .*: model, condition, earlier_repair"
    ):
        followed(FIRST).values("notes")


def test_first_and_last_day_of_a_filter_are_inside_and_filters_add_up():
    jobs = [
        {
            **FIRST,
            "job_id": f"J{unit}",
            "unit": unit,
            "handed_back": f"2026-01-1{unit}",
            "model": "grill" if unit % 2 else "boiler",
        }
        for unit in range(4)
    ]
    result = followed(*jobs)
    both = select(result, since="2026-01-11", until="2026-01-12")
    assert both.episodes["unit"].tolist() == [1, 2]
    assert both.episodes.index.tolist() == [0, 1]
    assert both.episodes.columns.tolist() == result.episodes.columns.tolist()
    dated = select(result, since="2026-01-11", until="2026-01-12", where={"model": ("grill",)})
    assert dated.episodes["unit"].tolist() == [1]


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"since": "soon"}, r"^The since 'soon' is not a date\."),
        ({"until": "late"}, r"^The until 'late' is not a date\."),
        (
            {"where": {"model": ("x", "y")}},
            r"^No job has model = x, y\. Recorded: m00, m01, (m\d\d, ){17}m19\.$",
        ),
        (
            {"since": "2027-01-01"},
            r"^The filter leaves no hand-back\. Widen its dates or values\.$",
        ),
    ],
)
def test_filters_say_what_is_wrong(asked, told):
    jobs = [
        {**FIRST, "job_id": f"J{unit}", "unit": unit, "model": f"m{unit:02d}"} for unit in range(22)
    ]
    with pytest.raises(RequestError, match=told):
        select(followed(*jobs), **asked)


def test_a_data_date_is_named_and_a_history_without_jobs_is_refused():
    with pytest.raises(RequestError, match=r"^The data date '1/2/26' is not a date"):
        followed(FIRST, data_date="1/2/26")
    empty = History(to_schema(pd.DataFrame({"job_id": [], "received": [], "model": []})))
    with pytest.raises(
        RequestError, match=r"^The history holds no job, so there is nothing to follow\.$"
    ):
        follow_up(empty)
    with pytest.raises(
        RequestError,
        match=r"before the data date 2026-01-02\. Give a later data date, or a history with hand",
    ):
        followed(FIRST, data_date="2026-01-02")


def test_the_rules_in_force_are_kept_with_the_answer():
    result = followed(FIRST, count="covered", follow="all", grace_days=3)
    assert (result.count, result.follow, result.grace_days) == ("covered", "all", 3)


def test_following_past_the_terms_is_remarked_where_there_are_terms():
    def codes(**facts):
        return [note.code for note in followed(FIRST | facts, follow="all").notes]

    assert codes(term_days=90) == ["terms_ignored"]
    assert codes(term_days=None) == []
    assert followed(FIRST | {"term_days": 90}).notes == ()


@pytest.mark.parametrize(
    ("pairs", "says"),
    [
        (1, "1 pair of jobs may be one unit and is taken for two, so"),
        (3, "3 pairs of jobs may be one unit each and are taken for two, so"),
    ],
)
def test_pairs_left_undecided_are_remarked_wherever_comebacks_are_counted(pairs, says):
    status = ["doubtful"] * pairs + ["linked", "decided"]
    links = Links(np.array([0]), pd.DataFrame({"status": status}))
    found = follow_up(History(to_schema(pd.DataFrame([{**FIRST, "model": "mill"}]))), links=links)
    assert [(note.code, note.jobs) for note in found.notes] == [("doubtful_units", pairs)]
    assert found.notes[0].text.startswith(says)
    assert select(found, since="2026-01-01").notes == found.notes
