"""Months completed: chain ladder, Bornhuetter-Ferguson, survival."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from shop import fleet, followed

from insights.errors import EvidenceError, RequestError
from insights.survival.chain_ladder import bornhuetter_ferguson, chain_ladder
from insights.survival.maturity import maturity

GAP = np.nan


def test_small_triangle_by_hand():
    # (7 + 8) / (4 + 5) = 1.667; 9 / 7 = 1.286; 8 x 1.286 = 10.3; 3 x 1.667 x 1.286 = 6.4.
    ladder = chain_ladder(np.array([[4, 7, 9], [5, 8, GAP], [3, GAP, GAP]]))
    assert ladder.factors == pytest.approx([15 / 9, 9 / 7])
    assert ladder.ultimates == pytest.approx([9, 72 / 7, 45 / 7])
    assert ladder.ultimates[1:] == pytest.approx([10.3, 6.4], abs=0.05)
    assert ladder.maturity == pytest.approx([1, 7 / 9, 7 / 15])
    # Scatter of the first factor: (4 (7/4 - 5/3)^2 + 5 (8/5 - 5/3)^2) / 1 = 0.05.
    assert ladder.sigma[0] ** 2 == pytest.approx(0.05)
    # One row alone shows no scatter, and there are no two before it to carry on.
    assert np.isnan(ladder.sigma[1])
    assert np.isnan(ladder.total_se)


def test_young_cohort_by_hand():
    # 100 jobs, 2 back, 40% mature, 4% expected: 2 / .4 = 5.0 against 2 + 100 x .04 x .6 = 4.4.
    assert bornhuetter_ferguson(np.array([2]), np.array([100]), 0.04, np.array([0.4])) == (
        pytest.approx([4.4])
    )


def mack_by_recursion(C: np.ndarray) -> tuple[np.ndarray, float]:
    """Mack (1999, ASTIN Bulletin 29:361-366), the recursive form, cell by cell."""
    rows, columns = C.shape
    f, s2 = np.empty(columns - 1), np.empty(columns - 1)
    for k in range(columns - 1):
        seen = [i for i in range(rows) if not np.isnan(C[i, k + 1])]
        f[k] = sum(C[i, k + 1] for i in seen) / sum(C[i, k] for i in seen)
        if len(seen) > 1:
            s2[k] = sum(C[i, k] * (C[i, k + 1] / C[i, k] - f[k]) ** 2 for i in seen)
            s2[k] /= len(seen) - 1
        else:
            s2[k] = min(s2[k - 1] ** 2 / s2[k - 2], s2[k - 2], s2[k - 1])
    filled, error = C.copy(), np.zeros(rows)
    total_value, total_error = 0.0, 0.0
    for k in range(columns - 1):
        volume = np.nansum(C[~np.isnan(C[:, k + 1]), k])
        f_error = s2[k] / volume
        ahead = [i for i in range(rows) if np.isnan(C[i, k + 1])]
        total_value = sum(filled[i, k] for i in ahead)
        total_error = (
            total_error * f[k] ** 2
            + sum(filled[i, k] for i in ahead) * s2[k]
            + total_value**2 * f_error
        )
        for i in ahead:
            error[i] = error[i] * f[k] ** 2 + filled[i, k] * s2[k] + filled[i, k] ** 2 * f_error
            filled[i, k + 1] = filled[i, k] * f[k]
    return np.sqrt(error), np.sqrt(total_error)


def triangle(seed: int, size: int = 6) -> np.ndarray:
    rng = np.random.default_rng(seed)
    counts = rng.poisson([40, 25, 14, 8, 5, 3][:size], (size, size)).cumsum(axis=1).astype(float)
    counts[np.add.outer(np.arange(size), np.arange(size)) >= size] = np.nan
    return counts


@pytest.mark.parametrize("seed", range(5))
def test_standard_errors_as_by_macks_recursion(seed, outside):
    C = triangle(seed)
    ladder = chain_ladder(C)
    se, total = mack_by_recursion(C)
    source = "Mack 1999, ASTIN Bulletin 29:361-366; the recursive form, written out in the test"
    outside.agrees("chain ladder: errors of months", ladder.se, se, source=source, rel=1e-9)
    outside.agrees("chain ladder: error of all", ladder.total_se, total, source=source, rel=1e-9)
    assert ladder.total_se > np.sqrt((ladder.se**2).sum())


def test_standard_errors_count_no_cohort_that_shows_nothing():
    with_none = np.array([[4, 7, 9, 9], [5, 8, 9, GAP], [0, 2, GAP, GAP], [3, GAP, GAP, GAP]])
    ladder = chain_ladder(with_none)
    # The row that starts with nothing adds its 2 to the factor, not to its scatter.
    assert ladder.factors[0] == pytest.approx(17 / 9)
    by_hand = 4 * (7 / 4 - 17 / 9) ** 2 + 5 * (8 / 5 - 17 / 9) ** 2
    assert ladder.sigma[0] ** 2 == pytest.approx(by_hand)


@settings(max_examples=40, derandomize=True, deadline=None)
@given(arrays.arrays(int, (5, 5), elements=st.integers(0, 20)), st.integers(2, 9))
def test_scale_and_bounds(steps, times):
    C = steps.cumsum(axis=1).astype(float)
    C[np.add.outer(np.arange(5), np.arange(5)) >= 5] = np.nan
    one, more = chain_ladder(C), chain_ladder(C * times)
    np.testing.assert_allclose(more.ultimates, one.ultimates * times)
    np.testing.assert_allclose(more.factors, one.factors)
    known = ~np.isnan(one.ultimates)
    assert (one.ultimates[known] >= one.latest[known] - 1e-9).all()


@pytest.mark.parametrize("row", [[GAP, GAP], [1, GAP, 3]])
def test_a_triangle_with_gaps_is_refused(row):
    with pytest.raises(RequestError, match="start with a count"):
        chain_ladder(np.array([row]))


def staggered() -> list[dict]:
    """A hundred jobs a month from January to September; each fifth back after 20, 80 or 140 days.

    So 6 of 100 after 20 days, 8 after 80 and 6 after 140: 20 of 100 by day 180.
    """
    jobs = []
    for month in range(1, 10):
        for unit in range(100):
            start = pd.Timestamp(2026, month, 1)
            name = month * 1000 + unit
            jobs.append(
                {"job_id": f"{name}", "unit": name, "received": start, "handed_back": start}
            )
            after = 20 if unit < 6 else 80 if unit < 14 else 140 if unit < 20 else None
            if after is not None:
                back = start + pd.Timedelta(days=after)
                if back <= pd.Timestamp("2026-09-30"):
                    jobs.append({"job_id": f"{name}b", "unit": name, "received": back})
    return jobs


def test_steady_months_complete_to_the_same_count():
    result = maturity(followed(*staggered(), data_date="2026-09-30"), day=180)
    table = result.table.set_index("month")
    assert result.share == pytest.approx(0.20)
    # June: 20 and 80 days are past, 140 not: 14 of 100 back, 70% of 20.
    assert table.loc["2026-06", "returns"] == 14
    assert table.loc["2026-06", "mature_share"] == pytest.approx(0.70)
    assert table.loc["2026-06", "immature"]
    assert not table.loc["2026-03", "immature"]
    # Every month is alike, so every way must find 20 in the end.
    for way in ("survival", "bornhuetter_ferguson"):
        assert table[way].to_numpy() == pytest.approx(np.full(9, 20.0)), way
    # Day 80 falls two or three calendar months on, so the pattern in months is not quite steady.
    assert table["chain_ladder"].to_numpy() == pytest.approx(np.full(9, 20.0), rel=0.25)
    assert table["chain_ladder"].to_numpy()[:3] == pytest.approx(np.full(3, 20.0))
    assert (table["returns"] <= table["survival"] + 1e-9).all()
    # By the end of September, lag 0 of that month: those back after 20 days.
    assert result.triangle.loc["2026-09", 0] == 6
    assert np.isnan(result.triangle.loc["2026-09", 1])


def test_the_triangle_ends_with_the_last_whole_month():
    result = maturity(followed(*staggered(), data_date="2026-09-25"), day=180)
    assert str(result.triangle.index[-1]) == "2026-08"
    last = result.table.iloc[-1]
    assert last["month"] == "2026-09"
    assert np.isnan(last["chain_ladder"])
    assert last["survival"] > last["returns"]


def test_only_jobs_whose_term_reaches_the_day():
    short = fleet(40, (20, 30), term_days=90, model="grinder")
    long = fleet(60, (20, 100, 150), term_days=365)
    result = maturity(followed(*short, *long), day=180)
    assert (result.jobs, result.returns) == (60, 3)
    assert [note.jobs for note in result.notes if note.code == "shorter_terms"] == [40]
    everyone = maturity(followed(*short, *long, follow="all"), day=180)
    assert (everyone.jobs, everyone.returns) == (100, 5)


def test_nothing_back_yet():
    result = maturity(followed(*fleet(30), data_date="2026-03-31"), day=60)
    assert result.share == 0
    assert result.table["survival"].tolist() == [0.0]
    assert result.table["mature_share"].tolist() == [1.0]


def test_refusals():
    with pytest.raises(RequestError, match="whole number of days"):
        maturity(followed(*fleet(30)), day=0)
    with pytest.raises(EvidenceError, match="longest is 90"):
        maturity(followed(*fleet(30, (5,), term_days=90)), day=180)
    with pytest.raises(EvidenceError, match="day 300"):
        maturity(followed(*fleet(30, (5,)), data_date="2026-02-28"), day=300)
