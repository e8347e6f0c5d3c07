"""How long a million jobs take to read (run with -m bench --benchmark-enable)."""

import numpy as np
import pandas as pd
import pytest

from insights.history.intake import read_history

JOBS = 1_000_000


@pytest.fixture(scope="module")
def million(tmp_path_factory):
    rng = np.random.default_rng(1)
    number = np.arange(JOBS)
    received = np.datetime64("2016-01-01") + rng.integers(0, 3600, JOBS)
    frame = pd.DataFrame(
        {
            "job_id": pd.Series(number).astype(str).str.zfill(7),
            "received": received.astype(str),
            "handed_back": (received + rng.integers(0, 6, JOBS)).astype(str),
            "model": rng.choice(["boiler S", "steamer", "grill", "NA"], JOBS),
            "unit_serial": pd.Series(rng.integers(0, 900_000, JOBS)).astype(str).str.zfill(8),
            "customer": "K" + pd.Series(rng.integers(0, 400_000, JOBS)).astype(str),
            "postcode": rng.integers(10_000, 99_999, JOBS).astype(str),
            "phone": rng.integers(10**8, 10**9, JOBS).astype(str),
            "unit_age_years": rng.gamma(2, 2, JOBS).round(1),
            "condition": rng.integers(1, 6, JOBS),
            "earlier_repair": rng.choice(["never", "here", "elsewhere"], JOBS),
            "complaint": rng.choice(["cold", 'leaks, at the "seal"', "trips\nthe fuse"], JOBS),
            "root_cause": rng.choice(["relay", "cord", "seal", "board", "lamp", "pump"], JOBS),
            "technician": rng.choice(["Ada", "Ben", "Cleo"], JOBS),
            "bench_minutes": rng.integers(10, 200, JOBS),
            "parts_cost": rng.gamma(2, 8, JOBS).round(2),
            "price": rng.gamma(3, 20, JOBS).round(2),
            "term_days": rng.choice([90, 180, 365], JOBS),
            "relation": rng.choice(["same_fault", "misuse", ""], JOBS),
            "practice_pair": rng.choice(["both", "one"], JOBS),
            "reading_plate_c": rng.normal(200, 5, JOBS).round(1),
        }
    )
    path = tmp_path_factory.mktemp("million") / "jobs.csv"
    frame.to_csv(path, index=False)
    return path


@pytest.mark.bench
def test_read_a_million_jobs(benchmark, million, measured):
    history = benchmark.pedantic(read_history, (million,), rounds=3)
    measured.seconds("read and check a CSV of 21 columns", benchmark, jobs=JOBS)
    assert len(history.jobs) == JOBS
    assert history.refused_count == 0
