"""The keys other programs rely on, and that no NaN gets out."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
from shop import fleet, followed

from insights import as_json
from insights.survival.causes import cause_curves
from insights.survival.curves import return_curves


def test_what_is_not_known_is_null():
    frame = pd.DataFrame({"a": [1.0, np.nan], "day": [pd.Timestamp("2026-03-09"), pd.NaT]})
    assert json.loads(as_json.dumps({"rows": frame, "x": np.int64(3)})) == {
        "rows": [{"a": 1, "day": "2026-03-09"}, {"a": None, "day": None}],
        "x": 3,
    }


def test_curves_have_the_agreed_keys():
    followup = followed(*fleet(40, (20,) * 4), data_date="2026-05-01")
    data = json.loads(as_json.dumps(as_json.curves(return_curves(followup, at=(90, 180)))))
    (group,) = data["groups"]
    assert {"group", "jobs", "units", "returns", "at"} <= set(group)
    assert (group["jobs"], group["units"], group["returns"]) == (40, 40, 4)
    near, far = group["at"]
    assert set(near) == {"day", "share", "low", "high", "at_risk"}
    assert (near["day"], near["share"], near["at_risk"]) == (90, pytest.approx(0.1), 36)
    assert (far["share"], far["low"], far["high"]) == (None, None, None)
    assert data["test"] is None


def test_test_has_the_agreed_keys():
    jobs = [*fleet(40, (20,) * 4, model="grill"), *fleet(40, (20,), model="boiler")]
    data = as_json.curves(return_curves(followed(*jobs), by="model"))
    assert set(data["test"]) == {"name", "statistic", "df", "p"}


def test_causes_add_up_to_the_total():
    jobs = fleet(100, (20,) * 6)
    for job in [job for job in jobs if "root_cause" in job][:2]:
        job["root_cause"] = "cord"
    data = json.loads(as_json.dumps(as_json.causes(cause_curves(followed(*jobs), at=(180,)))))
    (group,) = data["groups"]
    split = {cause["cause"]: cause["at"][0]["share"] for cause in group["causes"]}
    assert split == {"contacts": pytest.approx(0.04), "cord": pytest.approx(0.02)}
    assert group["at"][0]["share"] == pytest.approx(sum(split.values()))
