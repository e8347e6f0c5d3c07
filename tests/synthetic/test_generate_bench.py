"""How long an invented history takes: run with -m bench --benchmark-enable."""

from __future__ import annotations

import pytest

from synthetic.cafe import cafe_workshop
from synthetic.generate import generate
from synthetic.presets import practice_shop


@pytest.mark.bench
@pytest.mark.parametrize("jobs", [100_000, 1_000_000])
def test_generate(benchmark, jobs, measured):
    history, _ = benchmark.pedantic(generate, (cafe_workshop(jobs),), rounds=1)
    measured.seconds("generate an invented history", benchmark, jobs=jobs)
    assert len(history.jobs) > 0.95 * jobs


@pytest.mark.bench
def test_truth_of_a_practice(benchmark, measured):
    _, truth = generate(practice_shop(0.4, 0.05, 5000, 1))
    benchmark(truth.practice_difference, "contact_pair", 180)
    measured.seconds("true difference of a practice", benchmark, jobs=5000)
