"""The estimator behind every curve: by hand and at its edges."""

from __future__ import annotations

import numpy as np
import pytest

from insights.survival.incidence import accumulate

DAYS = np.array([10.0, 20.0, 30.0])


def by_hand():
    """Of ten: on day 10 two events; on day 20 one event, one other exit; day 30 censored."""
    return accumulate(DAYS, np.array([10.0, 8, 5]), np.array([2.0, 1, 0]), np.array([2.0, 2, 0]))


def test_a_share_by_hand():
    curve = by_hand()
    assert curve.in_play == pytest.approx([1, 0.8, 0.6])
    assert curve.share == pytest.approx([0.2, 0.3, 0.3])


def test_nobody_at_risk_adds_nothing_and_nobody_leaves():
    nobody = np.array([4.0, 0, 4]), np.array([1.0, 0, 1]), np.array([1.0, 0, 1])
    curve = accumulate(DAYS, *nobody)
    assert curve.in_play == pytest.approx([1, 0.75, 0.75])
    assert curve.share == pytest.approx([0.25, 0.25, 0.25 + 0.75 / 4])


def test_the_last_one_back_makes_it_all():
    curve = accumulate(DAYS[:2], np.array([2.0, 1]), np.array([1.0, 1]), np.array([1.0, 1]))
    assert curve.share.tolist() == [0.5, 1]


def test_all_gone_stays_gone():
    curve = accumulate(DAYS, np.array([4.0, 2, 2]), np.array([2.0, 2, 2]), np.array([2.0, 2, 2]))
    assert curve.share == pytest.approx([0.5, 1, 1])


def test_a_day_has_the_place_of_the_last_step_at_or_before_it():
    assert by_hand().place(np.array([0, 9.5, 10, 19, 20, 30, 99])).tolist() == [
        -1, -1, 0, 0, 1, 2, 2,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("until", "area"), [(0, 0), (9, 0), (10, 0), (15, 1), (20, 2), (25, 3.5), (30, 5), (40, 8)]
)
def test_the_area_by_hand(until, area):
    assert by_hand().area(until) == pytest.approx(area)


def test_no_day_no_area():
    none = np.empty(0)
    assert accumulate(none, none, none, none).area(30) == 0


def test_the_last_one_at_risk_ends_play_for_those_who_enter_later():
    curve = accumulate(DAYS[:2], np.array([1.0, 2]), np.array([0.0, 1]), np.array([1.0, 1]))
    assert curve.in_play.tolist() == [1, 0]
    assert curve.share.tolist() == [0, 0]
