"""Practices left out: what is asked for, what was left, how such jobs fared."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from shop import followed
from watched import followed as shop_of

from insights.errors import RequestError
from insights.reviewing.missing import missing_practices
from synthetic.presets import practice_shop, slip_shop


def jobs_with(*levels: str | None, model: str = "boiler", first: int = 0) -> list[dict]:
    return [
        {
            "unit": first + number,
            "job_id": f"{model}{first + number}",
            "model": model,
            "received": "2025-12-30",
            "handed_back": f"2026-{1 + number % 2:02d}-01",
            "practice_switch": level,
            "technician": "Bo",
        }
        for number, level in enumerate(levels)
    ]


@pytest.fixture(scope="module")
def small():
    boilers = jobs_with(*["cleaned"] * 22, *["left"] * 6, None)
    grills = jobs_with(*[None] * 25, "left", model="grill", first=100)
    return followed(*boilers, *grills)


def test_without_a_checklist_what_is_usual_is_asked_for(small):
    found = missing_practices(small)
    (row,) = found.checklist.itertuples()
    assert (row.model, row.level, row.jobs, row.is_usual) == ("boiler", "cleaned", 29, True)
    assert row.done_share == pytest.approx(22 / 28)
    counts = found.table.set_index("done")["jobs"]
    assert counts.to_dict() == {"with": 22, "without": 6, "not recorded": 1}
    assert len(found.handed_back) == 7
    assert found.handed_back["handed_back"].is_monotonic_decreasing
    assert set(found.handed_back["recorded"].dropna()) == {"left"}
    assert "usual_checklist" in [note.code for note in found.notes]


def test_a_checklist_says_what_is_asked_for(small):
    found = missing_practices(small, {"grill": {"switch": "left"}})
    assert found.checklist["model"].tolist() == ["grill"]
    assert found.table.set_index("done")["jobs"].to_dict() == {"with": 1, "not recorded": 25}
    assert not found.checklist["is_usual"].any()
    assert missing_practices(small, {}).table.empty


def test_a_checklist_of_unknown_practices_is_refused(small):
    with pytest.raises(RequestError, match="asks for polish"):
        missing_practices(small, {"grill": {"polish": "done"}})


def test_use_by_month_adds_up(small):
    use = missing_practices(small).use
    assert use["month"].tolist() == ["2026-01", "2026-02"]
    assert use["jobs"].sum() == 29
    assert use["done"].sum() == 22
    assert (use["done_share"] == use["done"] / use["recorded"]).all()


def test_jobs_left_fare_as_the_truth_says(outside):
    # The practice quarters the hazard of a cause that is half of all comebacks.
    found = missing_practices(shop_of(slip_shop(jobs=6000, seed=1)))
    rows = found.table.set_index("done")
    assert rows.loc["without", "low"] > 1.3
    assert rows.loc["with", "high"] < 1.1
    seen = rows["returns"].to_numpy(dtype=float)
    outside.agrees(
        "exact limits of a Poisson count over its expectation",
        np.column_stack([rows["low"], rows["high"]]) * rows["expected"].to_numpy()[:, None],
        np.column_stack(
            [stats.chi2.ppf(0.025, 2 * seen) / 2, stats.chi2.ppf(0.975, 2 * seen + 2) / 2]
        ),
        source="Garwood 1936, Biometrika 28:437-442; chi-square form, scipy",
        rel=1e-9,
    )


def test_expected_is_like_for_like():
    # A practice that does nothing, done more on old and poor units: ratios don't differ.
    found = missing_practices(
        shop_of(practice_shop(effect=1.0, risk=0.08, jobs=6000, seed=3)),
        {"grill": {"contact_pair": "both"}, "boiler": {"contact_pair": "both"}},
    )
    rows = found.table.set_index("done")
    plain = rows["returns"] / rows["jobs"]
    assert plain["with"] > 1.3 * plain["without"]
    assert 0.8 < rows.loc["without", "ratio"] < 1.2
    assert isinstance(found.use, pd.DataFrame)
