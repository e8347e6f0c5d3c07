"""Variances clustered by unit, against brute force from the definition, unit by unit."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_tables import life_table_of, only_stratum, stretches_of

from insights.survival.incidence import Kinds, Spans, accumulate, area_variance, variance
from insights.survival.logrank import group_test, scores
from insights.survival.service import Stretches, collapse, mean_returns
from insights.survival.strata import all_returns, estimate

STEP = 1e-6


def weighted_shares(days, outcome, weight, cause, at) -> np.ndarray:
    """Aalen-Johansen from rows that carry weights, written out day by day."""
    free, share, found = 1.0, 0.0, []
    grid = np.unique(days)
    for day in grid:
        n = weight[days >= day].sum()
        share += free * weight[(days == day) & (outcome == cause)].sum() / n
        free *= 1 - weight[(days == day) & (outcome > 0)].sum() / n
        found.append(share)
    return np.array([found[np.searchsorted(grid, day, "right") - 1] for day in at])


def weighted_means(rows, weight, at) -> np.ndarray:
    """Mean cumulative returns from (unit, start, end, outcome) rows, leaving service included."""
    unit, start, end, outcome = rows
    grid = np.unique(end)
    w = weight[unit]
    stays, mean, found = 1.0, 0.0, []
    for day in grid:
        n = w[(start < day) & (day <= end)].sum()
        mean += stays * w[(end == day) & (outcome == 1)].sum() / n
        stays *= 1 - w[(end == day) & (outcome == 2)].sum() / n
        found.append(mean)
    return np.array([found[np.searchsorted(grid, day, "right") - 1] for day in at])


def jackknife(statistic, units: int) -> np.ndarray:
    """Sum over units of the squared derivative by the unit's weight (central differences)."""
    total = 0.0
    for unit in range(units):
        up, down = np.ones(units), np.ones(units)
        up[unit] += STEP
        down[unit] -= STEP
        total = total + ((statistic(up) - statistic(down)) / (2 * STEP)) ** 2
    return total


@pytest.fixture(scope="module")
def jobs():
    """Sixty jobs of twenty-five units, with ties, two causes and an end that competes."""
    draw = np.random.default_rng(8)
    unit = np.sort(draw.integers(0, 25, 60))
    unit = np.unique(unit, return_inverse=True)[1]
    return unit, draw.integers(1, 15, 60).astype(float), draw.choice([0, 0, 1, 2, 3], 60)


@pytest.mark.parametrize("cause", [1, 2, 3])
def test_share_variance_is_the_jackknife_over_units(jobs, cause):
    unit, days, outcome = jobs
    stratum = only_stratum(days, outcome, unit=unit, causes=("a", "b"), endings=("scrapped",))
    found = estimate(stratum, cause, cause)
    at = found.curve.days[:-1]  # on the last day the risk set empties: no derivative there
    brute = jackknife(
        lambda w: weighted_shares(days, outcome, w[unit], cause, at), int(unit.max()) + 1
    )
    assert found.variance[: len(at)] == pytest.approx(brute, rel=1e-5)


def test_area_variance_is_the_jackknife_over_units(jobs):
    unit, days, outcome = jobs
    returned = np.where(outcome == 2, 1, outcome) * (outcome != 3)
    found = all_returns(only_stratum(days, returned, unit=unit))

    def area(w):
        return weighted_shares(days, returned, w[unit], 1, np.arange(1, 12)).sum()

    brute = jackknife(area, int(unit.max()) + 1)
    assert found.area_variance(12) == pytest.approx(float(brute), rel=1e-5)


def test_mean_returns_variance_is_the_jackknife_over_units():
    # Gaps, repeats on one day, units that leave service; unit 3 enters late.
    rows = [
        *[(0, 0, 30, 1), (0, 30, 90, 1), (0, 90, 200, 0)],
        *[(1, 0, 60, 1), (1, 80, 150, 2)],
        *[(2, 0, 60, 1), (2, 60, 60, 1), (2, 60, 150, 1), (2, 150, 160, 2)],
        *[(3, 40, 100, 0), (4, 0, 90, 1), (4, 90, 180, 0), (5, 0, 200, 0)],
    ]
    unit, start, end, outcome = (np.array(column) for column in zip(*rows, strict=True))
    stretches = Stretches(unit, start.astype(float), end.astype(float), outcome, np.ones(len(rows)))
    curve, variance = mean_returns(stretches)
    at = np.array([30, 60, 90, 150, 180])
    place = curve.place(at)

    def brute_mean(w):
        return weighted_means((unit, start, end, outcome), w, at)

    assert curve.share[place] == pytest.approx(brute_mean(np.ones(6)), rel=1e-12)
    assert variance[place] == pytest.approx(jackknife(brute_mean, 6), rel=1e-5)


LATE_ROWS = [
    # unit, start, end, outcome (0 stays, 1 event, 2 leaves): gaps and late entries
    *[(0, 0, 30, 1), (0, 50, 90, 1), (0, 90, 200, 0)],
    *[(1, 0, 60, 1), (1, 80, 150, 2)],
    *[(2, 40, 100, 0), (3, 0, 90, 1), (3, 120, 180, 0)],
    *[(4, 0, 200, 0), (5, 10, 60, 2), (6, 30, 150, 1)],
]
LATE_UNITS = 7


@pytest.fixture(scope="module")
def late():
    """A curve of stretches that enter late, its timeline, what ends mean, and the rows."""
    unit, start, end, outcome = (np.array(column) for column in zip(*LATE_ROWS, strict=True))
    days = np.unique(np.append(start, end))
    days = days[days > 0].astype(float)
    at_risk = np.array([((start < day) & (day <= end)).sum() for day in days], dtype=float)
    events, exits = (
        np.array([((end == day) & (outcome == code)).sum() for day in days], dtype=float)
        for code in (1, 2)
    )
    spans = Spans(
        unit,
        np.searchsorted(days, start, side="right") - 1,
        np.searchsorted(days, end),
        outcome,
        np.ones(len(unit)),
        3,
    )
    kinds = Kinds(np.arange(3) == 1, np.arange(3) == 2)
    curve = accumulate(days, at_risk, events, exits)
    return curve, spans.timeline(len(days)), kinds, (unit, start, end, outcome)


def test_variance_with_late_entries_is_the_jackknife_over_units(late):
    curve, timeline, kinds, rows = late
    brute = jackknife(lambda w: weighted_means(rows, w, curve.days[3:-1]), LATE_UNITS)
    assert variance(curve, timeline, kinds)[3:-1] == pytest.approx(brute, rel=1e-5)


@pytest.mark.parametrize("until", [61, 100, 135.5, 190])
def test_area_variance_with_late_entries_is_the_jackknife_over_units(late, until):
    curve, timeline, kinds, rows = late
    grid = np.append(np.arange(30, until), until)

    def area(w):
        return weighted_means(rows, w, grid[:-1]) @ np.diff(grid)

    found = area_variance(curve, timeline, kinds, until)
    assert found == pytest.approx(float(jackknife(area, LATE_UNITS)), rel=1e-5)


def test_without_repeats_the_variance_is_greenwoods():
    draw = np.random.default_rng(3)
    days, outcome = draw.integers(1, 40, 200).astype(float), draw.integers(0, 2, 200)
    found = all_returns(only_stratum(days, outcome))
    n, d = found.curve.at_risk, found.curve.events
    inside = n > d
    greenwood = np.cumsum(d[inside] / (n[inside] * (n[inside] - d[inside])))
    free = 1 - found.curve.share[inside]
    assert found.variance[inside] == pytest.approx(free**2 * greenwood, rel=1e-10)


def test_units_seen_twice_alike_double_the_variance():
    # Every unit's two jobs end alike, so the record holds half as much as it seems to.
    draw = np.random.default_rng(4)
    days, outcome = draw.integers(1, 40, 80).astype(float), draw.integers(0, 2, 80)
    once = all_returns(only_stratum(days, outcome))
    twice = all_returns(
        only_stratum(np.tile(days, 2), np.tile(outcome, 2), unit=np.tile(np.arange(80), 2))
    )
    apart = all_returns(only_stratum(np.tile(days, 2), np.tile(outcome, 2)))
    assert twice.variance == pytest.approx(once.variance, rel=1e-9)
    assert apart.variance == pytest.approx(once.variance / 2, rel=1e-9)


def test_log_rank_covariance_adds_products_of_residuals_within_units(jobs):
    unit, days, outcome = jobs
    event = (outcome == 1).astype(int)
    group = np.arange(60) % 3
    test = group_test(life_table_of(days, event, group=group, unit=unit), (1,))
    grid = np.unique(days)
    residual = np.zeros((60, 3))
    for day in grid:
        at_risk = days >= day
        hazard = event[days == day].sum() / at_risk.sum()
        for row in np.flatnonzero(at_risk):
            for g in range(3):
                expected = (at_risk & (group == g)).sum() / at_risk.sum()
                happened = float(days[row] == day and event[row])
                residual[row, g] += ((group[row] == g) - expected) * (happened - hazard)
    at_risk = np.array([[((days >= day) & (group == g)).sum() for day in grid] for g in range(3)])
    events = np.array(
        [[((days == day) & (group == g) & (event == 1)).sum() for day in grid] for g in range(3)]
    )
    found = scores(at_risk, events)
    difference = residual.sum(axis=0)
    assert found.observed - found.expected == pytest.approx(difference, abs=1e-12)
    summed = np.array([residual[unit == u].sum(axis=0) for u in range(unit.max() + 1)])
    covariance = found.covariance + summed.T @ summed - residual.T @ residual
    by_hand = difference[:2] @ np.linalg.solve(covariance[:2, :2], difference[:2])
    assert test is not None
    assert test.statistic == pytest.approx(by_hand, rel=1e-9)
    assert test.df == 2


@settings(max_examples=40, derandomize=True, deadline=None)
@given(
    st.lists(
        st.tuples(st.lists(st.integers(1, 20), max_size=3), st.integers(20, 25)),
        min_size=2,
        max_size=12,
    )
)
def test_collapsing_units_changes_nothing(units):
    stretches = stretches_of([(sorted(map(float, back)), float(end)) for back, end in units])
    whole, whole_variance = mean_returns(stretches)
    curve, variance = mean_returns(collapse(stretches))
    assert curve.share == pytest.approx(whole.share, abs=1e-12)
    assert variance == pytest.approx(whole_variance, abs=1e-12)


def test_units_taken_in_small_batches_give_the_same_test(jobs, monkeypatch):
    unit, days, outcome = jobs
    table = life_table_of(days, outcome == 1, group=np.arange(60) % 3, unit=unit)
    whole = group_test(table, (1,))
    monkeypatch.setattr("insights.survival.logrank.NUMBERS_AT_ONCE", 6)
    batched = group_test(table, (1,))
    assert whole is not None
    assert batched is not None
    assert batched.statistic == pytest.approx(whole.statistic, rel=1e-12)
