"""Decisions that keep the same jobs one unit after what linked them was wiped."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from insights.errors import BookError
from insights.history.schema import History
from insights.history.units import DECISION_COLUMNS, link_units

MOST_ROUNDS = 5


def kept_links(before: History, after: History, decided: pd.DataFrame) -> pd.DataFrame:
    """Find the decisions under which the jobs afterwards are the same units as before.

    Parameters
    ----------
    before, after
        The same jobs in the same order, with and without what is to be wiped.
    decided
        The decisions that stand, as :func:`insights.history.units.link_units` takes them.

    Returns
    -------
    pandas.DataFrame
        The decisions to add; empty where nothing changes.

    Raises
    ------
    BookError
        No set of decisions was found that keeps them; nothing should be wiped then.
    """
    wanted = link_units(before, decisions=decided).unit_of_job
    added = pd.DataFrame(columns=list(DECISION_COLUMNS), dtype=object)
    for _ in range(MOST_ROUNDS):
        whole = pd.concat([decided, added], ignore_index=True)
        found = link_units(after, decisions=whole).unit_of_job
        more = _differing(after, wanted, found)
        if more.empty:
            return added
        added = pd.concat([added, more], ignore_index=True).drop_duplicates(
            ["job_id", "earlier_job_id"], keep="last", ignore_index=True
        )
    raise BookError(
        "Wiping these jobs would change which jobs are the same unit, and so the statistics. "
        "Nothing was wiped. Decide the doubtful pairs first, then try again."
    )


def _differing(after: History, wanted: np.ndarray, found: np.ndarray) -> pd.DataFrame:
    jobs = pd.DataFrame(
        {
            "job_id": after.jobs["job_id"].astype(object).to_numpy(),
            "received": after.jobs["received"].to_numpy(),
            "wanted": wanted,
            "found": found,
        }
    ).sort_values("received", kind="stable")
    parted = _pairs(jobs, "wanted", "found", same=True)
    joined = _pairs(jobs, "found", "wanted", same=False)
    return pd.DataFrame([*parted, *joined], columns=list(DECISION_COLUMNS), dtype=object)


def _pairs(
    jobs: pd.DataFrame, together: str, apart: str, *, same: bool
) -> Iterator[tuple[str, str, bool]]:
    """Pair neighbours of one unit that the other linking puts into different ones."""
    before = jobs.groupby(together, sort=False)[["job_id", apart]].shift()
    differs = before[apart].notna() & (before[apart] != jobs[apart])
    rows = zip(jobs.loc[differs, "job_id"], before.loc[differs, "job_id"], strict=True)
    for later, earlier in rows:
        yield later, earlier, same
