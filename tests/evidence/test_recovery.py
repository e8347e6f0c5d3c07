"""Does the comparison recover what is true of the invented shops? On demand (-m study).

``STAYSFIXED_SHOPS`` sets how many seeded shops a cell has (300 in the full design; the default is
quick to run and wide in its limits).
"""

from __future__ import annotations

import os

import numpy as np
import pytest
from recovery import run

SHOPS = int(os.environ.get("STAYSFIXED_SHOPS", "24"))
JOBS = (300, 1000, 5000)
TABLE = "What a practice changes, against the truth of invented workshops"
RISKS = (0.02, 0.05, 0.08)

pytestmark = pytest.mark.study


def margin(share: float) -> float:
    """Three standard errors of a share over the shops."""
    return 3 * float(np.sqrt(share * (1 - share) / SHOPS))


@pytest.mark.parametrize("jobs", JOBS)
@pytest.mark.parametrize("risk", RISKS)
@pytest.mark.parametrize("effect", [0.4, 1.0, 2.0])
def test_adjusted_differences_recover_the_truth(jobs, risk, effect, measured):
    row = run(
        f"{jobs} jobs, {risk:.0%}, effect {effect:g}", SHOPS, jobs=jobs, risk=risk, effect=effect
    ).summary()
    measured.row(TABLE, **row)
    allowed = abs(row["plain_bias_pp"]) / 5 + 3 * row["se_bias_pp"]
    assert abs(row["bias_pp"]) < allowed
    assert row["plain_bias_pp"] > 0
    assert row["covered_share"] >= 0.92 - margin(0.95)
    if effect == 1:
        assert row["pays_share"] <= 0.05 + margin(0.05)
        assert row["helps_share"] <= 0.05 + margin(0.05)
    assert row["control_differs_share"] <= 0.10 + margin(0.10)


@pytest.mark.parametrize("jobs", JOBS)
@pytest.mark.parametrize("risk", RISKS)
def test_a_level_without_comebacks_is_covered(jobs, risk, measured):
    row = run(
        f"{jobs} jobs, {risk:.0%}, none", SHOPS, jobs=jobs, risk=risk, zero_event=True
    ).summary()
    measured.row(TABLE, **row)
    assert row["covered_share"] >= 0.92 - margin(0.95)


@pytest.mark.parametrize("effect", [0.4, 1.0])
def test_the_control_cause_gives_an_unmeasured_reason_away(effect, measured):
    hidden = run("unmeasured", SHOPS, jobs=5000, risk=0.05, effect=effect, unmeasured=1.0).summary()
    print(hidden)
    measured.row(TABLE, **hidden | {"cell": f"5000 jobs, 5%, effect {effect:g}, hidden reason"})
    assert hidden["control_differs_share"] >= 0.80 - margin(0.80)
