"""Small hand-written histories for tests."""

from __future__ import annotations

import numpy as np
import pandas as pd

from insights.followup import Followup, follow_up
from insights.history.schema import History, to_schema
from insights.history.units import Links


def followed(*jobs: dict, data_date: str = "2026-12-31", **rules) -> Followup:
    """Follow hand-written jobs; ``unit`` in each says which unit it is (0 when left out)."""
    rows = [dict(job) for job in jobs]
    units = [row.pop("unit", 0) for row in rows]
    frame = pd.DataFrame(rows)
    if "model" not in frame:
        frame["model"] = "boiler"
    if "job_id" not in frame:
        frame["job_id"] = [f"J{row}" for row in range(len(frame))]
    links = Links(np.array(units), pd.DataFrame())
    return follow_up(History(to_schema(frame)), links=links, data_date=data_date, **rules)


def fleet(size: int, back_after_days: tuple[int, ...] = (), **facts) -> list[dict]:
    """Hand back ``size`` units on 1 January 2026; some come back after the days given."""
    jobs = []
    for unit in range(size):
        name = f"{facts.get('model', 'boiler')}-{unit}"
        jobs.append(
            {
                "job_id": f"{name}-1",
                "unit": hash_free(name),
                "received": "2025-12-30",
                "handed_back": "2026-01-01",
                **facts,
            }
        )
        if unit < len(back_after_days):
            back = pd.Timestamp("2026-01-01") + pd.Timedelta(days=back_after_days[unit])
            jobs.append(
                {
                    "job_id": f"{name}-2",
                    "unit": hash_free(name),
                    "received": back,
                    "root_cause": "contacts",
                    **facts,
                }
            )
    return jobs


def hash_free(name: str) -> int:
    """Number a unit by its name, the same in every run."""
    return int.from_bytes(name.encode(), "big") % 1_000_003
