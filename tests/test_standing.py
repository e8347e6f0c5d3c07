"""Counts on the data date, each counted by hand."""

from __future__ import annotations

from shop import followed

from insights.standing import standing


def test_counts_of_a_small_workshop():
    # Data date 1 June. Unit 0: back once, then handed back with 90 days of cover (49 used).
    # Unit 1: term over. Unit 2: on the bench. Unit 3: scrapped inside its term. Unit 4: misuse.
    result = standing(
        followed(
            {"unit": 0, "received": "2026-03-01", "handed_back": "2026-03-10", "term_days": 90},
            {
                "unit": 0,
                "received": "2026-04-10",
                "handed_back": "2026-04-13",
                "term_days": 90,
                "root_cause": "contacts",
                "decision": "covered",
            },
            {"unit": 1, "received": "2026-01-01", "handed_back": "2026-01-02", "term_days": 90},
            {"unit": 2, "received": "2026-05-30"},
            {
                "unit": 3,
                "received": "2026-05-01",
                "handed_back": "2026-05-02",
                "term_days": 90,
                "ended_on": "2026-05-20",
            },
            {"unit": 4, "received": "2026-05-01", "handed_back": "2026-05-02", "term_days": 90},
            {"unit": 4, "received": "2026-05-20", "relation": "misuse"},
            data_date="2026-06-01",
        )
    )
    assert (result.jobs, result.units, result.returns) == (5, 4, 1)
    assert result.uncounted_returns == 1
    assert (result.open_exposure, result.open_exposure_days) == (1, 41)
    assert result.on_bench == 2
    assert result.attention[["what", "count"]].to_numpy().tolist() == [
        ["comebacks have no decision yet", 1]
    ]


def test_last_day_of_cover_is_still_exposed():
    jobs = {"received": "2026-03-01", "handed_back": "2026-03-02", "term_days": 30}
    assert standing(followed(jobs, data_date="2026-04-01")).open_exposure == 1
    assert standing(followed(jobs, data_date="2026-04-02")).open_exposure == 0


def test_no_warranty_is_no_exposure():
    jobs = {"received": "2026-03-01", "handed_back": "2026-03-02", "term_days": 0}
    assert standing(followed(jobs, data_date="2026-03-02")).open_exposure == 0


def test_contradictions_and_missing_causes_want_attention():
    result = standing(
        followed(
            {"received": "2026-03-01", "handed_back": "2026-03-10"},
            {"received": "2026-03-05", "handed_back": "2026-03-20"},
            {"received": "2026-04-05", "decision": "covered"},
        )
    )
    assert result.attention[["what", "count"]].to_numpy().tolist() == [
        ["dates contradict each other", 1],
        ["comebacks have no root cause", 1],
        ["jobs have no warranty term recorded", 2],
    ]
