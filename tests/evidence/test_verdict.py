"""Where each objection begins to hold."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from insights.evidence.balance import incomparable, overlap_of, propensity_table
from insights.evidence.result import Control, Overlap, RiskDifference
from insights.evidence.verdict import is_close_call, judge

BETTER = RiskDifference(0.02, 0.05, -0.03, -0.05, -0.01)
WORSE = RiskDifference(0.05, 0.02, 0.03, 0.01, 0.05)
EITHER = RiskDifference(0.04, 0.05, -0.01, -0.03, 0.01)
OPEN = Overlap(0.1, 100.0, 100.0)


def verdict(
    returns: int = 60,
    *,
    adjusted: RiskDifference = BETTER,
    disagree: bool = False,
    overlap: Overlap = OPEN,
    control: str = "near_zero",
    switched: bool = False,
) -> tuple[str, list[str]]:
    found, notes = judge(
        returns=returns,
        reading=SimpleNamespace(
            adjusted=adjusted, disagree=disagree, draws=np.full(200, -0.03), confidence=0.95
        ),
        overlap=overlap,
        control=Control(("cord",), EITHER, control),
        switched=switched,
    )
    return found, [note.code for note in notes]


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        ({}, "helps"),
        ({"adjusted": WORSE}, "harms"),
        ({"adjusted": EITHER}, "not_clear"),
        ({"returns": 9}, "too_early"),
        ({"returns": 10}, "helps"),
        ({"switched": True}, "switched_on"),
        ({"overlap": Overlap(0.51, 100, 100)}, "cannot_compare"),
        ({"overlap": Overlap(0.50, 100, 100)}, "helps"),
        ({"overlap": Overlap(0.1, 9.9, 100)}, "cannot_compare"),
        ({"overlap": Overlap(0.1, 100, 9.9)}, "cannot_compare"),
        ({"overlap": Overlap(0.1, 10, 10)}, "helps"),
        ({"disagree": True}, "estimators_disagree"),
        ({"control": "differs"}, "different_units"),
        ({"control": "says_little"}, "helps"),
    ],
)
def test_each_objection_alone(asked, expected):
    found, codes = verdict(**asked)
    assert found == expected
    assert codes == ([] if expected in ("helps", "harms", "not_clear") else [expected])


@pytest.mark.parametrize(
    ("beyond", "draws", "close"),
    [
        # Ends where 2.5% of the draws lie beyond zero: of 200, 5 with a binomial spread of 2.2,
        # of 2,000, 50 with 7.0 (sqrt(n p q), by hand).
        (0, 200, False),
        (1, 200, True),
        (9, 200, True),
        (10, 200, False),
        (37, 2000, True),
        (36, 2000, False),
        (63, 2000, True),
        (64, 2000, False),
    ],
)
def test_an_end_is_a_close_call_where_the_luck_of_the_draws_can_move_it_over_zero(
    beyond, draws, close
):
    difference = np.where(np.arange(draws) < beyond, 0.01, -0.03)
    assert is_close_call(difference, 0.95) == close
    assert is_close_call(-difference, 0.95) == close


def test_the_first_objection_goes_before_and_all_are_named():
    found, codes = verdict(9, disagree=True, control="differs", switched=True)
    assert found == "too_early"
    assert codes == ["too_early", "switched_on", "estimators_disagree", "different_units"]


def test_share_of_the_population_whose_choice_was_closed():
    chance = np.array([0.04, 0.06, 0.5, 0.94, 0.96])
    weights = np.ones((2, 5))
    found = overlap_of(np.ones((2, 5)), weights, chance, np.array([1.0, 2, 3, 4, 10]))
    assert found.share_outside == pytest.approx(11 / 20)


def test_a_value_counts_as_always_from_98_of_100():
    facts = pd.DataFrame({"technician": pd.Categorical(["Ada", "Bo", "Cleo", "Di"])})
    jobs = np.array([[2.0, 3.0, 4.0, 0.0], [98.0, 97.0, 0.0, 5.0]])
    assert list(incomparable(facts, jobs)["value"]) == ["Ada", "Di"]


def test_bands_of_the_chance_hold_every_job():
    table = propensity_table(
        np.array([[3.0, 4.0, 5.0], [1.0, 2.0, 6.0]]), np.array([0.0, 0.31, 1.0])
    )
    assert len(table) == 20
    held = table[table[["jobs_level", "jobs_against"]].sum(axis=1) > 0]
    assert list(held["low"]) == [0.0, 0.30, 0.95]
    assert list(held["jobs_level"]) == [1, 2, 6]
    assert list(held["jobs_against"]) == [3, 4, 5]
