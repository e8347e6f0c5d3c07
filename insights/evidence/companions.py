"""Other practices decided in the same repair, which may differ even between like jobs."""

from __future__ import annotations

import numpy as np
import pandas as pd

from insights.evidence.balance import BALANCE_COLUMNS, balance_table
from insights.evidence.compared import ARMS
from insights.followup import Followup
from insights.notes import Note

APART = 0.1
"""Standardised difference from which two groups count as different."""


def companion_balance(
    followup: Followup, column: str, facts: pd.DataFrame, arm: np.ndarray, weights: np.ndarray
) -> pd.DataFrame:
    """Compare the arms in every other practice, before and after weighting.

    Parameters
    ----------
    followup
        The episodes.
    column
        The practice in question.
    facts
        Covariates of each pattern (categories as in the follow-up), P rows.
    arm
        Of every episode; -1 for jobs not compared.
    weights
        Of a job by arm and pattern, shape (2, P).

    Returns
    -------
    pandas.DataFrame
        As :func:`insights.evidence.balance.balance_table`.
    """
    others = [
        f"practice_{name}"
        for name in followup.history.practices
        if f"practice_{name}" not in (column, *facts.columns)
    ]
    tables = [pd.DataFrame({name: [] for name in BALANCE_COLUMNS})]
    if others:
        compared = np.flatnonzero(arm >= 0)
        own = weights[arm[compared], _pattern_of(followup, facts)[compared]]
        jobs = np.stack([arm[compared] == code for code in ARMS]).astype(float)
    for other in others:
        values = followup.values(other).iloc[compared].reset_index(drop=True)
        table = balance_table(pd.DataFrame({other: values}), jobs, np.stack([own, own]))
        tables.append(table[table["before"] != 0])
    return pd.concat(tables, ignore_index=True)


def companion_notes(balance: pd.DataFrame, level: str) -> tuple[Note, ...]:
    """Name the practices that differ between like jobs, as the difference may be their work."""
    apart = balance[balance["after"].abs() > APART]
    return tuple(
        Note(
            "other_practice",
            f"Like jobs done '{level}' also differ in {name.removeprefix('practice_')}, decided in "
            "the same repair, so part of the difference may be its work. Adjust for it to hold it "
            "still.",
        )
        for name in dict.fromkeys(apart["covariate"])
    )


def _pattern_of(followup: Followup, facts: pd.DataFrame) -> np.ndarray:
    """Find the pattern of every episode; any for one whose pattern no compared job has."""
    episode = np.zeros(followup.job_count, dtype=np.int64)
    pattern = np.zeros(len(facts), dtype=np.int64)
    for name in facts:
        size = len(facts[name].cat.categories)
        episode = episode * size + followup.values(str(name)).cat.codes.to_numpy()
        pattern = pattern * size + facts[name].cat.codes.to_numpy()
    order = np.argsort(pattern)
    place = np.searchsorted(pattern[order], episode)
    return order[np.minimum(place, len(order) - 1)]
