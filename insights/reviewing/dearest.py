"""What comebacks cost, by root cause, and what the dearest causes would save if halved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.followup import ENDS, Followup
from insights.notes import Note, counted
from insights.survival.intervals import normal_quantile

DEAREST = 10
HALF = 0.5
DAYS_A_YEAR = 365.25
METHOD = (
    "Costs as recorded on the jobs that came back. Savings: half of the recorded cost a year; "
    "their range is that of a compound Poisson total (variance: the sum of squared costs)."
)


@dataclass(frozen=True, eq=False)
class CostsByCause:
    """The cost of comebacks by root cause, the dearest first.

    Parameters
    ----------
    table
        One row a cause of counted comebacks: ``cause``, ``comebacks``, ``billed`` (with a cost on
        record, zero included), ``cost`` (sum, in the history's currency), ``mean_cost``,
        ``cost_share``, ``cumulative_share``, ``halved_saves_a_year`` with
        ``saves_low`` and ``saves_high``.
    apart
        The same first four for arrivals on which nothing was found wrong, or the user was:
        ``what``, ``arrivals``, ``billed``, ``cost``.
    dearest_save_a_year
        What the :data:`DEAREST` dearest causes together would save if halved; missing where no
        cost is on record.
    cost, comebacks, billed
        In all.
    years
        From the first hand-back to the data date.
    currency
        Of every amount; empty where it was not stated.
    method, notes
        How, and what a reader should know.
    """

    table: pd.DataFrame
    apart: pd.DataFrame
    dearest_save_a_year: float
    cost: float
    comebacks: int
    billed: int
    years: float
    currency: str
    method: str
    notes: tuple[Note, ...]


def costs_by_cause(followup: Followup, *, level: float = 0.95) -> CostsByCause:
    """Add up what comebacks cost, by their root cause.

    Parameters
    ----------
    followup
        The hand-backs; a comeback's cost is ``claim_cost`` of the job that came back.
    level
        Of the range of savings.

    Returns
    -------
    CostsByCause

    Raises
    ------
    RequestError
        The level is not between 0 and 1.
    """
    quantile = normal_quantile(level)
    episodes, jobs = followup.episodes, followup.history.jobs
    back = episodes[(episodes["end"] == ENDS[0]).to_numpy()]
    amount = jobs["claim_cost"].to_numpy()[back["return_job"]]
    years = _years(followup)
    frame = pd.DataFrame(
        {
            "cause": back["cause"].astype(str).to_numpy(),
            "comebacks": 1,
            "billed": ~np.isnan(amount),
            "cost": np.nan_to_num(amount),
            "squares": np.nan_to_num(amount) ** 2,
        }
    )
    table = frame.groupby("cause", sort=True).sum().reset_index()
    table = table.sort_values("cost", ascending=False, kind="stable").reset_index(drop=True)
    billed, total = table["billed"], float(table["cost"].sum())
    table.insert(4, "mean_cost", table["cost"] / billed.where(billed > 0))
    table["cost_share"] = table["cost"] / total if total > 0 else np.nan
    table["cumulative_share"] = table["cost_share"].cumsum()
    saved = HALF * table["cost"] / years
    wide = quantile * HALF * np.sqrt(table.pop("squares")) / years
    table["halved_saves_a_year"] = saved
    table["saves_low"], table["saves_high"] = (saved - wide).clip(lower=0), saved + wide
    unbilled = int(len(back) - billed.sum())
    return CostsByCause(
        table=table,
        apart=_apart(followup),
        dearest_save_a_year=float(saved.head(DEAREST).sum()) if billed.sum() else float("nan"),
        cost=total,
        comebacks=len(back),
        billed=int(billed.sum()),
        years=years,
        currency=followup.history.currency,
        method=METHOD,
        notes=(*followup.notes, *_no_cost(unbilled)),
    )


def _years(followup: Followup) -> float:
    handed_back = followup.history.jobs["handed_back"].to_numpy()[followup.episodes["job"]]
    days = (followup.data_date.to_datetime64() - handed_back.min()) / np.timedelta64(1, "D")
    return max(float(days), 1.0) / DAYS_A_YEAR


def _apart(followup: Followup) -> pd.DataFrame:
    """Add up the arrivals that show no failure, whether or not they count."""
    jobs = followup.history.jobs
    back = followup.episodes["return_job"]
    came = back[back >= 0].to_numpy()
    relation, amount = jobs["relation"].take(came), jobs["claim_cost"].to_numpy()[came]
    rows = []
    for what in ("no_fault_found", "misuse"):
        cost = amount[(relation == what).to_numpy()]
        known = cost[~np.isnan(cost)]
        rows.append((what, len(cost), len(known), float(known.sum())))
    return pd.DataFrame(rows, columns=["what", "arrivals", "billed", "cost"])


def _no_cost(unbilled: int) -> list[Note]:
    if not unbilled:
        return []
    return [
        Note(
            "no_cost",
            f"{counted(unbilled, 'comeback has', 'comebacks have')} no cost on record; the sums go "
            "without.",
            unbilled,
        )
    ]
