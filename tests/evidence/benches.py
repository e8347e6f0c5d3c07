"""Hand-written benches: groups of jobs done one way, with the comebacks of each."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from shop import followed

from insights.evidence.compared import Compared, compare_cells, split_causes
from insights.followup import Followup
from insights.survival.lifetable import life_table

START = pd.Timestamp("2026-01-01")


def group(
    jobs: int,
    practice: str,
    *,
    back: Sequence[tuple[int, str, int]] = (),
    left: Sequence[tuple[int, int]] = (),
    **facts: object,
) -> list[dict]:
    """Hand back ``jobs`` units on one day.

    ``back`` lists (day, cause, how many) of comebacks, ``left`` (days, how many) of warranty
    terms shorter than the rest's.
    """
    rows, unit = [], 0
    shared = {"practice_pair": practice, **facts}
    name = "/".join(str(value) for value in shared.values())
    ends = [(day, cause) for day, cause, many in back for _ in range(many)]
    ends += [(days, None) for days, many in left for _ in range(many)]
    ends += [(None, None)] * (jobs - len(ends))
    for unit, (day, cause) in enumerate(ends):
        first = {"job_id": f"{name}/{unit}", "received": START, "handed_back": START, **shared}
        first["unit"] = int.from_bytes(f"{name}/{unit}".encode(), "big") % 1_000_000_007
        first["term_days"] = 365 if day is None or cause else day
        rows.append(first)
        if cause:
            again = dict(first, job_id=f"{name}/{unit}/again", root_cause=cause, handed_back=None)
            again["received"] = START + pd.Timedelta(days=day)
            rows.append(again)
    return rows


def spread(many: int, cause: str = "contacts", until: int = 180) -> list[tuple[int, str, int]]:
    """Spread comebacks evenly over the days."""
    return [(round((place + 0.5) * until / many), cause, 1) for place in range(many)]


def followed_groups(*groups: list[dict]) -> Followup:
    """Follow groups to the end of 2026, without days of grace."""
    rows = [row for rows in groups for row in rows]
    return followed(*rows, grace_days=0)


def cells_of(
    followup: Followup,
    covariates: Sequence[str] = (),
    *,
    day: float = 180,
    cause: str | None = None,
    control: Sequence[str] = (),
) -> Compared:
    """Count ``both`` against ``one``."""
    table = life_table(followup, ("practice_pair", *covariates))
    parts = split_causes(table.causes, cause, control)
    return compare_cells(table, "practice_pair", ("one", "both"), day, parts)


def worked_check() -> Followup:
    """Give the case that the plain comparison reads backwards.

    Among 400 old units 18 of 300 done and 12 of 100 not done came back, among 600 new ones 1 of 50
    and 22 of 550: an invented table, worked by hand in the tests.
    """
    return followed_groups(
        group(300, "both", model="old", back=spread(18)),
        group(100, "one", model="old", back=spread(12)),
        group(50, "both", model="new", back=spread(1)),
        group(550, "one", model="new", back=spread(22)),
    )


def mixed_bench(jobs: int = 400, seed: int = 1) -> Followup:
    """Draw a bench with several covariates, causes, terms and units that come back often."""
    random = np.random.default_rng(seed)
    rows: list[dict] = []
    for unit in range(jobs):
        start = START - pd.Timedelta(days=int(random.integers(400, 900)))
        facts = {
            "model": str(random.choice(["boiler", "grill"])),
            "technician": str(random.choice(["Ada", "Bo", "Cleo"])),
            "unit_age_years": float(random.gamma(2.5, 2.0)),
            "condition": int(random.integers(1, 6)),
            "term_days": int(random.choice([120, 365])),
        }
        while True:
            odds = 0.3 * (facts["unit_age_years"] - 5) + 0.4 * (facts["condition"] - 3)
            done = random.random() < 1 / (1 + np.exp(-odds))
            job = {"job_id": f"{unit}-{len(rows)}", "unit": unit, "received": start, **facts}
            job |= {"handed_back": start, "practice_pair": "both" if done else "one"}
            job |= {"root_cause": str(random.choice(["contacts", "cord", "seal"]))}
            rows.append(job)
            wait = random.exponential(900 if done else 600) + 1
            start = start + pd.Timedelta(days=int(wait))
            if start > pd.Timestamp("2026-06-30"):
                break
    return followed(*rows, data_date="2026-06-30")
