"""How fast the review is, beside the same expectation fitted on rows with a library."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from sklearn.linear_model import PoissonRegressor

from insights.followup import Followup, follow_up
from insights.history.schema import History, to_schema
from insights.history.units import Links
from insights.reviewing.cohorts import cohorts
from insights.reviewing.expected import MIX, case_mix, returned
from insights.reviewing.rates import review

pytestmark = pytest.mark.bench

DAYS = 3650
LOTS, TECHNICIANS = 200, 12


def shop(jobs: int) -> Followup:
    """Hand back over ten years: 12 technicians, 200 lots; one unit in thirteen comes back."""
    rng = np.random.default_rng(1)
    day = rng.integers(0, DAYS, jobs)
    handed_back = np.datetime64("2016-01-01") + day.astype("timedelta64[D]")
    wait = (2500 * rng.weibull(0.9, jobs)).astype(int)
    back = np.flatnonzero(wait < 180)

    def one_of(names: list[str]) -> pd.Categorical:
        return pd.Categorical.from_codes(rng.integers(0, len(names), jobs), names)

    first = {
        "job_id": np.char.add("J", np.arange(jobs).astype(str)),
        "received": handed_back - np.timedelta64(2, "D"),
        "handed_back": handed_back,
        "model": one_of(["boiler", "steamer", "grill", "grinder"]),
        "technician": one_of([f"bench {number:02d}" for number in range(TECHNICIANS)]),
        "root_cause": one_of([f"cause {number}" for number in range(8)]),
        "condition": rng.integers(1, 6, jobs).astype(float),
        "unit_age_years": rng.uniform(0, 14, jobs),
        "earlier_repair": one_of(["never", "here", "elsewhere", "unknown"]),
        "term_days": rng.choice([90.0, 180.0, 365.0], jobs),
        "lot_contact": pd.Categorical.from_codes(
            day * LOTS // DAYS, [f"CO{number:03d}" for number in range(LOTS)]
        ),
    }
    again = {name: values[back] for name, values in first.items()}
    again["job_id"] = np.char.add("R", np.arange(len(back)).astype(str))
    again["received"] = handed_back[back] + wait[back].astype("timedelta64[D]")
    again["handed_back"] = np.full(len(back), np.datetime64("NaT", "D"))
    frame = pd.concat([pd.DataFrame(first), pd.DataFrame(again)], ignore_index=True)
    unit = np.append(np.arange(jobs), back)
    history = History(to_schema(frame))
    return follow_up(history, data_date="2026-01-01", links=Links(unit, pd.DataFrame()))


def on_rows(followup: Followup) -> np.ndarray:
    """Fit one rate a job by its facts with a library: no bands of days, a row a job."""
    facts = pd.get_dummies(pd.DataFrame({name: followup.values(name) for name in MIX}))
    days = followup.episodes["days"].to_numpy().clip(min=0.5)
    model = PoissonRegressor(alpha=1e-6, max_iter=300)
    model.fit(facts.to_numpy(float), returned(followup) / days, sample_weight=days)
    return model.predict(facts.to_numpy(float)) * days


def seconds_of(work: Callable[[], object]) -> float:
    """Take the processor's time, not the clock's: other work on the machine does not count."""
    began = time.process_time()
    work()
    return time.process_time() - began


def test_a_hundred_thousand_jobs(measured):
    followup = shop(100_000)
    review(followup)
    ours = min(seconds_of(lambda: review(followup)) for _ in range(3))
    plain = seconds_of(lambda: on_rows(followup))
    measured.row("Speed", what="the review", jobs=100_000, seconds=round(ours, 3))
    print(f"\n100,000 jobs: review {ours:.2f} s; one fit on rows with a library {plain:.2f} s")
    found = on_rows(followup).sum()
    assert found == pytest.approx(case_mix(followup).expected(followup).sum(), rel=0.01)
    assert ours < 1


def test_a_million_jobs(measured):
    followup = shop(1_000_000)
    ours, months = seconds_of(lambda: review(followup)), seconds_of(lambda: cohorts(followup))
    measured.row("Speed", what="the review", jobs=1_000_000, seconds=round(ours, 2))
    measured.row("Speed", what="months of hand-back", jobs=1_000_000, seconds=round(months, 2))
    print(f"\n1,000,000 jobs: review {ours:.2f} s, months of hand-back {months:.2f} s")
    assert ours < 10
