"""What a comparison refuses, remarks and carries, word for word; its defaults and its edges."""

from __future__ import annotations

import numpy as np
import pytest
from benches import followed_groups, group, mixed_bench, spread

from insights.errors import EvidenceError, RequestError
from insights.evidence.practice import compare_practice
from insights.followup import Followup

QUICK = {"replicates": 40, "seed": 5}


@pytest.fixture(scope="module")
def bench() -> Followup:
    """Give 100 done and 100 not done, the latter's terms ending with day 200."""
    return followed_groups(
        group(100, "both", back=[*spread(8), (150, "cord", 2)]),
        group(100, "one", back=spread(12), left=[(200, 80)]),
        group(7, None),
    )


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        ({"day": 0}, "Day 0 can't be asked for. Give a day above zero, like 180."),
        (
            {"day": float("inf")},
            "Day inf can't be asked for. Give a day above zero, like 180.",
        ),
        (
            {"day": float("nan")},
            "Day nan can't be asked for. Give a day above zero, like 180.",
        ),
        (
            {"replicates": 39},
            "replicates is 39. Give 40 or more, so that the ends of the interval can be found.",
        ),
        ({"confidence": 0}, "The confidence is 0. Give one between 0 and 1, like 0.95."),
        ({"confidence": 1}, "The confidence is 1. Give one between 0 and 1, like 0.95."),
        (
            {"day": 365},
            "Day 365 is past the follow-up: fewer than 10 jobs done 'one' are still followed then. "
            "Day 200 is the last that can be compared.",
        ),
        (
            {"day": 201, "level": "one", "against": "both"},
            "Day 201 is past the follow-up: fewer than 10 jobs done 'one' are still followed then. "
            "Day 200 is the last that can be compared.",
        ),
    ],
)
def test_what_can_not_be_asked_is_refused(asked, text):
    jobs = followed_groups(
        group(100, "both", back=spread(8)), group(100, "one", left=[(200, 91)], back=spread(2))
    )
    with pytest.raises(RequestError) as refused:
        compare_practice(jobs, "pair", **asked)
    assert str(refused.value) == text


def test_the_last_day_followed_by_ten_of_both_can_be_asked_for():
    jobs = followed_groups(
        group(100, "both", back=spread(8)), group(100, "one", left=[(200, 91)], back=spread(2))
    )
    assert compare_practice(jobs, "pair", day=200, **QUICK).day == 200


@pytest.mark.parametrize(
    ("groups", "asked", "text"),
    [
        (
            [group(50, "both"), group(50, "one", back=[(170, "cord", 1)])],
            {"day": 169},
            "No comeback by day 169 on these 100 jobs, so there is nothing to compare yet. Ask for "
            "a later day, or wait for more jobs.",
        ),
        (
            [group(50, "both", back=[(9, "seal", 1)]), group(60, "one", back=[(170, "cord", 1)])],
            {"day": 169, "cause": "cord"},
            "No comeback for 'cord' by day 169 on these 110 jobs, so there is nothing to compare "
            "yet. Ask for a later day, or wait for more jobs.",
        ),
        (
            [group(9, "both"), group(50, "one", back=[(170, "cord", 1)])],
            {},
            "Fewer than 10 jobs done 'both' are followed at all, too few to compare. Wait for more "
            "jobs.",
        ),
        (
            [group(50, "both"), group(9, "one", back=[(170, "cord", 1)])],
            {},
            "Fewer than 10 jobs done 'one' are followed at all, too few to compare. Wait for more "
            "jobs.",
        ),
    ],
)
def test_what_the_record_can_not_answer_yet(groups, asked, text):
    with pytest.raises(EvidenceError) as refused:
        compare_practice(followed_groups(*groups), "pair", **asked)
    assert str(refused.value) == text


def test_comebacks_on_the_day_count_and_ten_jobs_an_arm_are_enough():
    jobs = followed_groups(group(10, "both"), group(10, "one", back=[(170, "cord", 1)]))
    found = compare_practice(jobs, "pair", day=170, **QUICK)
    assert (found.returns, found.returns_level, found.returns_against) == (1, 0, 1)


def test_what_is_asked_and_how_is_carried(bench):
    found = compare_practice(
        bench,
        "pair",
        day=160,
        cause="cord",
        population="done",
        control_causes=["contacts"],
        confidence=0.8,
        **QUICK,
    )
    assert (found.practice, found.level, found.against) == ("pair", "both", "one")
    assert (found.day, found.cause, found.population) == (160, "cord", "done")
    assert (found.control.causes, found.confidence) == (("contacts",), 0.8)
    assert (found.jobs, found.units, found.returns, found.returns_level) == (200, 200, 2, 2)
    both = found.adjusted.risk_level / found.adjusted.risk_against
    assert found.ratio.low < found.ratio.estimate < found.ratio.high
    assert found.ratio.estimate == pytest.approx(both)
    assert len(found.draws) == 40
    assert found.method.startswith("Discrete intervals of constant hazard on counts, one model")
    low, high = np.quantile(found.draws, [0.1, 0.9])
    assert (found.adjusted.low, found.adjusted.high) == pytest.approx((low, high), abs=0.01)


def test_by_default_all_causes_by_day_180_on_jobs_not_yet_done_so(bench):
    plain = compare_practice(bench, "pair")
    assert (plain.day, plain.cause, plain.population, plain.confidence) == (
        180,
        None,
        "not_yet",
        0.95,
    )
    assert plain.control.verdict == "not_asked"
    assert len(plain.draws) == 200
    assert (plain.draws == compare_practice(bench, "pair", seed=1).draws).all()
    wider = compare_practice(bench, "pair", confidence=0.95)
    assert wider.adjusted == plain.adjusted


def test_remarks_stand_in_order_from_the_record_to_the_like_jobs():
    groups = [
        group(100, "both", practice_switch="cleaned", back=spread(8)),
        group(60, "both", practice_switch="left", back=spread(6)),
        group(100, "one", practice_switch="left", technician="Ada", back=spread(9)),
        group(100, "one", practice_switch="cleaned", back=spread(2)),
        group(7, None, practice_switch="cleaned"),
    ]
    groups[0][0]["root_cause"] = None
    groups[0][1]["root_cause"] = None
    found = compare_practice(followed_groups(*groups), "pair", adjust=["model"], **QUICK)
    assert [note.code for note in found.notes] == [
        "unknown_cause",
        "neither_level",
        "constant_covariate",
        "other_practice",
    ]
    aside = found.notes[1]
    assert aside.text == "7 jobs are left aside: neither 'both' nor 'one' is recorded."
    assert aside.jobs == 7
    assert "Like jobs done 'both' also differ in switch" in found.notes[-1].text


def test_one_job_left_aside_is_spoken_of_as_one_and_the_first_day_can_be_asked_for():
    jobs = followed_groups(
        group(60, "both", back=[(1, "cord", 4)]),
        group(60, "one", back=[(1, "cord", 9)]),
        group(1, None),
    )
    found = compare_practice(jobs, "pair", day=1, **QUICK)
    assert (found.returns_level, found.returns_against) == (4, 9)
    (aside,) = [note for note in found.notes if note.code == "neither_level"]
    assert aside.text == "1 job is left aside: neither 'both' nor 'one' is recorded."


def test_objections_to_a_verdict_are_among_the_remarks():
    few = followed_groups(group(60, "both", back=spread(3)), group(60, "one", back=spread(5)))
    found = compare_practice(few, "pair", **QUICK)
    assert found.verdict == "too_early"
    assert [note.text for note in found.notes if note.code == "too_early"] == [
        "8 comebacks are too few to tell: the prior weighs as much as the record."
    ]


def test_units_are_counted_once_and_only_where_compared():
    rows = group(60, "both", back=spread(6)) + group(60, "one", back=spread(6))
    again = [row for row in rows if row["job_id"].endswith("again")]
    for row in again:
        row["handed_back"] = row["received"]
    found = compare_practice(followed_groups(rows, group(5, None)), "pair", day=90, **QUICK)
    assert found.units == 120
    assert found.jobs == 132


def test_balance_tells_what_was_adjusted_for_from_what_was_not():
    groups = [
        group(100, "both", model="boiler", practice_switch="cleaned", back=spread(8)),
        group(50, "both", model="grill", practice_switch="left", back=spread(6)),
        group(50, "one", model="boiler", practice_switch="cleaned", back=spread(6)),
        group(100, "one", model="grill", practice_switch="left", back=spread(8)),
    ]
    followup = followed_groups(*groups)
    found = compare_practice(followup, "pair", adjust=["model"], population="all", **QUICK)
    balance = found.balance
    assert balance.index.tolist() == list(range(len(balance)))
    told = balance.groupby("covariate")["is_adjusted"].unique().map(list).to_dict()
    assert told == {"model": [True], "practice_switch": [False]}
    own = balance[balance["covariate"] == "model"].set_index("value")
    # Boilers are 100 of 150 against 50 of 150: (2/3 - 1/3) / sqrt(2/9) before, alike after.
    assert own.loc["boiler", ["share_level", "share_against"]].tolist() == pytest.approx(
        [2 / 3, 1 / 3]
    )
    assert own.loc["boiler", "before"] == pytest.approx((1 / 3) / np.sqrt(2 / 9))
    assert own["after"].abs().max() < 0.02
    # The chance to be done so is 2/3 for boilers and 1/3 for grills.
    bands = found.propensity
    for chance, level, against in ((1 / 3, 50, 100), (2 / 3, 100, 50)):
        band = bands[(bands["low"] <= chance) & (chance < bands["high"])]
        assert band["jobs_level"].tolist() == [level]
        assert band["jobs_against"].tolist() == [against]
    assert found.incomparable.empty
    assert found.overlap.share_outside == 0


def test_every_technicians_choices_add_up_to_the_arms():
    found = compare_practice(mixed_bench(60, seed=3), "pair", day=100, **QUICK)
    assert found.technicians["technician"].tolist() == ["Ada", "Bo", "Cleo"]
    arms = found.technicians[["jobs_level", "jobs_against"]].sum()
    assert arms.tolist() == [found.jobs_level, found.jobs_against]
    assert found.switch is None
