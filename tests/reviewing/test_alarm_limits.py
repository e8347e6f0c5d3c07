"""Limits by simulation, against the chance of an alarm from a Markov chain."""

from __future__ import annotations

import numpy as np
import pytest
from run_lengths import poisson_cusum_chance
from scipy import stats

from insights.reviewing.alarm_limits import HIGHEST, Load, chance_to_sound, limit, scores
from insights.reviewing.kept_limits import KeptLimits


def unsure_chance(length: float, at: float, ratio: float, certainty: float) -> float:
    """Average the chain's chance over baselines that could have been seen."""
    middles = (np.arange(16) + 0.5) / 16
    rates = stats.gamma.ppf(middles, certainty, scale=1 / certainty)
    return float(
        np.mean([poisson_cusum_chance(length, at, ratio, rate, cells=120) for rate in rates])
    )


@pytest.mark.parametrize("length", [10, 25, 50])
@pytest.mark.parametrize("ratio", [2.0, 3.0])
def test_a_sure_baseline(length, ratio):
    found = limit(Load.of(np.array([float(length)]), 1.0, 1e6, ratio), 0.1)
    # 2,500 walks: three standard errors of a tenth, and the grain of the chain.
    assert poisson_cusum_chance(length, found, ratio) == pytest.approx(0.1, abs=0.025)


def test_the_chain_is_right_about_a_limit_worked_out_apart():
    # Ratio 2, 50 expected, limit 4.71: 9.7%, by a lattice of another program.
    assert poisson_cusum_chance(50, 4.71, 2.0) == pytest.approx(0.097, abs=0.003)


def test_an_unsure_baseline_needs_a_higher_limit():
    load = Load.of(np.array([50.0]), 1.0, 50.0, 2.0)
    found = limit(load, 0.1)
    assert found > limit(Load.of(np.array([50.0]), 1.0, 1e6, 2.0), 0.1) + 0.3
    # The walks' certainty stands on a scale of steps of half as much again.
    assert unsure_chance(50, found, 2.0, 50.0) == pytest.approx(0.1, abs=0.03)


def test_false_alarms_add_up_over_charts():
    lots = Load.of(np.full(20, 8.0), 0.5, 1e6, 3.0)
    benches = Load.of(np.full(4, 30.0), 0.5, 1e6, 2.0)
    found = limit(Load.together([lots, benches]), 0.4)
    a_year = 10 * poisson_cusum_chance(8, found, 3.0) + 2 * poisson_cusum_chance(30, found, 2.0)
    assert a_year == pytest.approx(0.4, rel=0.2)


def test_habits_sound_as_often_as_their_chain():
    # One chart of 400 jobs, a tenth left, the odds trebled: steps of one job.
    load = Load.of(np.array([40.0]), 1.0, 1e6, 3.0, 0.1)
    found = limit(load, 0.1)
    jump, fall = scores(3.0, 0.1)
    rng = np.random.default_rng(3)
    left = rng.random((20_000, 400)) < 0.1
    level, highest = np.zeros(len(left)), np.zeros(len(left))
    for job in left.T:
        level = np.maximum(level + job * jump - 0.1 * fall, 0)
        highest = np.maximum(highest, level)
    assert (highest >= found).mean() == pytest.approx(0.1, abs=0.025)


def test_nothing_to_watch_needs_no_limit():
    assert limit(Load.of(np.array([]), 1.0, 10.0, 2.0), 1.0) == HIGHEST
    assert limit(Load.of(np.array([0.0]), 1.0, 10.0, 2.0), 1.0) == HIGHEST


def test_the_chance_to_notice_a_trebling():
    at = 5.0
    found = chance_to_sound(np.array([0.0, 2.0, 10.0, 1000.0]), 3.0, at, 3.0)
    assert found[0] == 0
    assert found[1] == pytest.approx(poisson_cusum_chance(2, at, 3.0, 3.0), abs=0.06)
    assert found[2] == pytest.approx(poisson_cusum_chance(10, at, 3.0, 3.0), abs=0.06)
    assert found[3] == pytest.approx(1, abs=0.001)


def test_limits_are_kept_by_content(tmp_path):
    kept = KeptLimits(tmp_path / "home" / "limits.json")
    load = Load.of(np.array([10.0]), 1.0, 30.0, 2.0)
    first = limit(load, 0.1, kept=kept)
    assert kept.save() == ""
    again = KeptLimits(tmp_path / "home" / "limits.json")
    assert list(again.values()) == [first]
    (name,) = again
    again[name] = 99.0
    assert limit(load, 0.1, kept=again) == 99.0
    assert limit(load, 0.2, kept=again) < first


def test_a_spoilt_or_forbidden_file_costs_time_only(tmp_path):
    path = tmp_path / "limits.json"
    path.write_text('{"a": "high", "b": 3.5, "c": -1, "d": true}')
    assert dict(KeptLimits(path)) == {"b": 3.5}
    path.write_text("{")
    assert dict(KeptLimits(path)) == {}
    taken = tmp_path / "file"
    taken.write_text("")
    kept = KeptLimits(taken / "limits.json")
    kept["a"] = 1.0
    assert "can't be written" in kept.save()
