"""The arithmetic of charts: run lengths held to published tables and exact chains."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from run_lengths import (
    bernoulli_cusum_mean_run,
    ewma_mean_run,
    normal_cusum_mean_run,
    two_sided,
)

from insights.reviewing.cusum import NEVER, climb, event_maxima, first_day

LUCAS_CROSIER = "Lucas and Crosier 1982, Technometrics 24:199-205"
SHIFTS = (0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4, 5)
PRINTED_H4 = (168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71, 1.31)
CROWDER = "Crowder 1987, Technometrics 29:401-407"
CROWDER_SHIFTS = (0, 0.5, 1, 2, 3, 4)
CROWDER_HALF = (26.45, 11.89, 4.91, 1.95, 1.26, 1.05)
CROWDER_TWENTIETH = (127.53, 18.97, 8.38, 4.04, 2.76, 2.15)


def run_lengths(steps: np.ndarray, limit: float) -> np.ndarray:
    """Days to the first signal of each chart; every chart must get there."""
    first = first_day(climb(steps).level >= limit)
    assert (first != NEVER).all()
    return first + 1


def test_the_exact_run_lengths_are_the_published_ones(outside):
    exact = [
        two_sided(normal_cusum_mean_run(shift), normal_cusum_mean_run(-shift)) for shift in SHIFTS
    ]
    outside.agrees(
        "mean run length, k = 0.5, h = 4, two-sided",
        exact,
        PRINTED_H4,
        source=f"{LUCAS_CROSIER}; table 1, as quoted with an R package",
        rel=0.004,
    )


@pytest.mark.parametrize(("shift", "days"), [(1.0, 120), (0.5, 400)])
def test_our_charts_run_as_long(shift, days, outside):
    charts = 4000
    rng = np.random.default_rng(1)
    found = run_lengths(rng.normal(shift - 0.5, 1, (charts, days)), 4.0)
    outside.agrees(
        f"simulated mean run length of our chart, one-sided, shift {shift:g}",
        found.mean(),
        normal_cusum_mean_run(shift),
        source=f"{LUCAS_CROSIER}; the same integral equation, solved in the tests",
        abs=4 * found.std() / np.sqrt(charts),
    )


def test_siegmund_s_approximation_is_within_one_in_a_hundred(outside):
    # Formula from memory: (exp(-2 D b) + 2 D b - 1) / (2 D^2), b = h + 1.166, D = mean - k.
    for h, shift in ((4, 0.0), (4, 1.0), (5, 0.0), (5, 1.0)):
        b, drift = h + 1.166, shift - 0.5
        near = (np.exp(-2 * drift * b) + 2 * drift * b - 1) / (2 * drift**2)
        outside.agrees(
            f"mean run length, h = {h}, shift {shift:g}",
            normal_cusum_mean_run(shift, h=h),
            near,
            source="Siegmund 1985, Sequential Analysis; approximation, formula from memory",
            rel=0.01,
        )


def test_a_weighted_average_would_run_as_published(outside):
    # No chart here is an EWMA: a sum of evidence finds a change as soon and has its own estimate
    # of when it began. Kept to show that the tests' integral equations are right.
    for weight, printed in ((0.5, CROWDER_HALF), (0.05, CROWDER_TWENTIETH)):
        outside.agrees(
            f"mean run length of an EWMA, weight {weight:g}, limits of 2",
            [ewma_mean_run(shift, weight, 2) for shift in CROWDER_SHIFTS],
            printed,
            source=f"{CROWDER}; table 1, as quoted with an R package",
            abs=0.006,
        )


@pytest.mark.parametrize(
    ("p", "jobs"), [(0.05, 1283.70657), (0.1, 122.627139), (0.15, 47.2812652), (0.2, 28.0886101)]
)
def test_jobs_one_at_a_time(p, jobs, outside):
    outside.agrees(
        f"mean jobs to a signal, {p:.0%} left",
        bernoulli_cusum_mean_run(p, 10, 30),
        jobs,
        source="Reynolds and Stoumbos 1999, Journal of Quality Technology 31:87-108; their chain, "
        "computed apart from this project",
        rel=1e-8,
    )
    if p < 0.15:
        return  # runs too long to simulate in passing
    charts = 4000
    rng = np.random.default_rng(2)
    steps = np.where(rng.random((charts, int(16 * jobs))) < p, 9.0, -1.0)
    found = run_lengths(steps, 30.0)
    assert found.mean() == pytest.approx(jobs, abs=4 * found.std() / np.sqrt(charts))


def test_a_worked_example():
    # Twice the rate: log 2 a comeback, one less for each expected. By hand: .693, 1.086, 1.579,
    # 1.373 after comebacks before which .4, .3, .2 and .9 were expected.
    up = np.log(2)
    path = climb(np.array([[-0.4, up, -0.3, up, -0.2, up, -0.9, up]]))
    assert path.level[0, 1::2] == pytest.approx([0.693, 1.086, 1.579, 1.373], abs=0.001)
    assert path.began[0].tolist() == [0] * 8
    assert climb(np.array([[0.5, -1.0, 0.2]]), 2.0).began[0].tolist() == [NEVER, NEVER, NEVER]


@given(
    st.lists(st.floats(-3, 3, allow_nan=False), min_size=1, max_size=30),
    st.floats(0, 4, allow_nan=False),
)
@settings(max_examples=60, deadline=None)
def test_the_same_as_day_by_day(steps, start):
    level, began, path = start, NEVER, climb(np.array([steps]), start)
    for day, step in enumerate(steps):
        level = max(0.0, level + step)
        assert path.level[0, day] == pytest.approx(level, abs=1e-9)
        if path.level[0, day] == 0:
            began = day
        assert path.began[0, day] == began


def test_maxima_along_the_clock_of_returns():
    gaps = np.array([[0.4, 0.3, 0.2, 0.9, 50.0]])
    found = event_maxima(gaps, np.log(2), 1.0, np.array([0.3, 0.5, 0.95, 3.0]))
    assert found[0] == pytest.approx([0.0, 0.693, 1.579, 1.579], abs=0.001)
