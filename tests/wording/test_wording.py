"""The sentences: the numbers in them are those of the results, and they claim no more."""

from __future__ import annotations

import pandas as pd
import pytest
from shop import fleet, followed

from insights import wording
from insights.standing import standing
from insights.survival.causes import cause_curves
from insights.survival.curves import GroupTest, return_curves
from insights.survival.recurrent import repeat_returns


def test_small_shares_get_a_digit_more():
    assert wording.per_100(0.0421) == "4.2"
    assert wording.per_100(0.0042) == "0.42"
    assert wording.per_100(0) == "0.0"
    assert wording.per_100(-0.0042) == "-0.42"


@pytest.mark.parametrize(
    ("column", "said"),
    [
        ("practice_contact_pair", "contact pair"),
        ("lot_contact", "lot of the contact"),
        ("age_band", "age band"),
    ],
)
def test_columns_are_spoken(column, said):
    assert wording.spoken(column) == said


def test_dates_have_the_month_in_words():
    assert wording.day_of(pd.Timestamp("2026-03-09")) == "9 March 2026"


@pytest.mark.parametrize(
    ("p", "words"),
    [
        (0.0004, "rarely make such a difference (p below 0.001, log-rank)"),
        (0.049, "rarely make such a difference (p = 0.049, log-rank)"),
        (0.05, "could be chance (p = 0.050, log-rank)"),
    ],
)
def test_chance(p, words):
    assert words in wording.chance(GroupTest("log-rank", 1.0, 1, p))


def test_one_group_in_a_sentence():
    # 12 of 100 back on day 20; all are followed past day 180, so the share is 12 of 100.
    finding = wording.of_curves(return_curves(followed(*fleet(100, (20,) * 12))))
    assert finding.sentence.startswith("Within 180 days 12.0 of 100 (likely between ")
    assert finding.sentence.endswith("repaired units come back (12 comebacks on 100 jobs in all).")
    assert wording.RETURNED_ONLY in finding.caveats
    assert not any("too early" in caveat for caveat in finding.caveats)


def test_few_comebacks_are_called_too_early():
    finding = wording.of_curves(return_curves(followed(*fleet(100, (20,) * 3))))
    assert finding.caveats[0].startswith("Fewer than 10 comebacks")


def test_none_of_forty_is_not_nothing():
    finding = wording.of_curves(return_curves(followed(*fleet(40))))
    assert "0.0 of 100 (likely between 0.0 and 8.8)" in finding.sentence


def test_groups_are_a_plain_comparison():
    jobs = [
        *fleet(60, (20,) * 12, model="grill"),
        *fleet(60, (20,) * 2, model="boiler"),
    ]
    finding = wording.of_curves(return_curves(followed(*jobs), by="model"))
    assert "of 100 units come back, by model: boiler 3.3 (" in finding.sentence
    assert "grill 20.0 (" in finding.sentence
    assert "rarely make such a difference" in finding.sentence
    assert finding.caveats[0] == wording.PLAIN_COMPARISON


def test_many_groups_are_no_league_table():
    jobs = [
        job
        for number in range(6)
        for job in fleet(30, (20,) * (number + 1), model=f"model {number}")
    ]
    finding = wording.of_curves(return_curves(followed(*jobs), by="model"))
    assert "from 3.3 (model 0) to 20.0 (model 5) over 6 groups" in finding.sentence


def test_nothing_is_said_past_the_follow_up():
    followup = followed(*fleet(40, (20,)), data_date="2026-02-15")
    finding = wording.of_curves(return_curves(followup))
    assert "Ask for an earlier day" in finding.sentence


def test_headline_falls_back_to_the_latest_day_that_is_supported():
    followup = followed(*fleet(40, (20,) * 4), data_date="2026-05-01")
    finding = wording.of_curves(return_curves(followup))
    assert finding.sentence.startswith("Within 90 days 10.0 of 100")


def test_causes_add_up_in_the_sentence():
    jobs = fleet(100, (20,) * 6)
    for job in [job for job in jobs if "root_cause" in job][:2]:
        job["root_cause"] = "cord"
    finding = wording.of_causes(cause_curves(followed(*jobs)))
    assert finding.sentence == (
        "Of 100 repaired units, within 180 days come back: "
        "4.0 for contacts, 2.0 for cord; 6.0 in all."
    )


def test_standing_in_a_sentence():
    followup = followed(*fleet(1200, (20,) * 6))
    sentence = wording.of_standing(standing(followup)).sentence
    assert sentence == (
        "Up to 31 December 2026 we followed 1,200 hand-backs of 1,200 units; 6 came back and "
        "count as comebacks. 0 units are still inside their term and 6 are on the bench."
    )


def test_repeats_in_a_sentence():
    sentence = wording.of_repeats(repeat_returns(followed(*fleet(50, (20,) * 5)))).sentence
    assert sentence.startswith("100 units make, in 180 days out of our hands")
    assert "10.0 (likely" in sentence


def test_one_of_a_kind_is_said_in_the_singular():
    followup = followed(*fleet(1, (30,)), data_date="2026-02-10", follow="all")
    sentence = wording.of_standing(standing(followup)).sentence
    assert "1 hand-back of 1 unit; 1 came back and counts as a comeback." in sentence
    assert sentence.endswith("and 1 is on the bench.")
    assert wording.counted(1, "unit is", "units are") == "1 unit is"
    assert wording.counted(1200, "unit") == "1,200 units"


def test_no_comeback_is_not_taken_for_too_few_jobs():
    finding = wording.of_causes(cause_curves(followed(*fleet(60, term_days=180))))
    assert finding.sentence.startswith("No unit came back on 60 jobs, so there is no root cause")
    few = wording.of_causes(cause_curves(followed(*fleet(3, term_days=180))))
    assert few.sentence.startswith("Too few jobs are followed")


def test_a_rest_of_one_cause_is_named_like_the_others():
    def said(causes: int) -> str:
        jobs = fleet(60, tuple(range(20, 20 + causes)))
        backs = [job for job in jobs if job["job_id"].endswith("-2")]
        for number, job in enumerate(backs):
            job["root_cause"] = f"cause {number}"
        return wording.of_causes(cause_curves(followed(*jobs), at=(90,))).sentence

    assert "for the rest" not in said(6)
    assert said(6).count(" for cause ") == 6
    assert said(7).count(" for cause ") == 5
    assert "for the rest; " in said(7)
