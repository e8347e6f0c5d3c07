"""A light shop with a known claims curve, for coverage of quotes."""

from __future__ import annotations

import numpy as np
import pandas as pd

from insights.followup import Followup, follow_up
from insights.history.schema import History, to_schema
from insights.history.units import Links

SHAPE = 0.7
BY_90_DAYS = 0.02
SCALE = 90 / (-np.log1p(-BY_90_DAYS)) ** (1 / SHAPE)
DATA_DATE = pd.Timestamp("2026-06-30")
START = pd.Timestamp("2026-01-01")


def truth(days: float | np.ndarray, returning: float = 1.0, scale: float = SCALE) -> np.ndarray:
    """Give the share back by each whole day: Weibull, in units that ever return."""
    return returning * -np.expm1(-((np.asarray(days, dtype=float) / scale) ** SHAPE))


def lifetimes(jobs: int, rng: np.random.Generator, returning: float = 1.0, scale: float = SCALE):
    days = np.ceil(scale * rng.weibull(SHAPE, jobs))
    return np.where(rng.random(jobs) < returning, days, np.inf)


def followed_shop(
    days_to_return: np.ndarray,
    rng: np.random.Generator,
    *,
    since_days: int = 540,
    term_days: float | np.ndarray = 365,
    cost: float = 38.0,
    follow: str = "covered",
) -> Followup:
    """Hand units back evenly over the last ``since_days`` and follow them."""
    jobs = len(days_to_return)
    handed_back = DATA_DATE - pd.to_timedelta(rng.integers(0, since_days, jobs), unit="D")
    back = handed_back + pd.to_timedelta(np.minimum(days_to_return, 9_999), unit="D")
    known = np.flatnonzero(back <= DATA_DATE)
    number = np.append(np.arange(jobs), known)
    frame = pd.DataFrame(
        {
            "job_id": np.arange(len(number)).astype(str),
            "model": "boiler",
            "received": handed_back.append(back[known])
            - pd.to_timedelta(np.repeat([1, 0], [jobs, len(known)]), unit="D"),
            "handed_back": handed_back.append(pd.DatetimeIndex([pd.NaT] * len(known))),
            "term_days": np.append(np.broadcast_to(term_days, jobs), np.full(len(known), np.nan)),
            "claim_cost": np.append(np.full(jobs, np.nan), np.full(len(known), cost)),
        }
    )
    links = Links(number, pd.DataFrame())
    return follow_up(History(to_schema(frame)), links=links, data_date=DATA_DATE, follow=follow)


def day(after: int) -> str:
    return f"{START + pd.Timedelta(days=after):%Y-%m-%d}"


def jobs(size: int, term: int | None, *backs: dict, name: str = "") -> list[dict]:
    """Hand back ``size`` units on the first day; each of ``backs`` returns on its day."""
    rows = []
    for unit in range(size):
        whole = unit + 1000 * (term or 0)
        rows.append(
            {
                "job_id": f"{name}{term}-{unit}",
                "unit": whole,
                "received": "2025-12-30",
                "handed_back": day(0),
                "term_days": term,
            }
        )
        if unit < len(backs):
            facts = dict(backs[unit])
            rows.append(
                {
                    "job_id": f"{name}{term}-{unit}-back",
                    "unit": whole,
                    "received": day(facts.pop("after")),
                    **facts,
                }
            )
    return rows
