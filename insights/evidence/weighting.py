"""Aalen-Johansen shares of weighted jobs, and of strata, for many draws at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse

from insights.evidence.compared import Compared, indicator, quotient
from insights.survival.lifetable import CENSORED


@dataclass(frozen=True)
class Daily:
    """Cells lined up by group and by day with an end, ready to be added up under any weights.

    Parameters
    ----------
    groups
        How many groups, G.
    days
        Days on which something ended, rising, shape (T,).
    last
        Matrix from cells to jobs by group and the last such day they were at risk, (G T, C).
    ends
        For each part and last for leaving service, the matrix from cells to ends, (G T, C).
    """

    groups: int
    days: np.ndarray
    last: sparse.csr_array
    ends: tuple[sparse.csr_array, ...]


def line_up(cells: Compared, group: np.ndarray, groups: int) -> Daily:
    """Line cells up by the group of each, shape (C,), and day."""
    ended = cells.cell_outcome > CENSORED
    days = np.unique(cells.cell_day[ended])
    day = np.searchsorted(days, cells.cell_day, side="right") - 1
    place = np.where(day >= 0, group * len(days) + day, -1)
    size = groups * len(days)
    return Daily(
        groups=groups,
        days=days,
        last=indicator(place, size),
        ends=tuple(
            indicator(np.where(cells.cell_outcome == code, place, -1), size)
            for code in range(1, cells.left_outcome + 1)
        ),
    )


def weighted_shares(daily: Daily, weights: np.ndarray) -> np.ndarray:
    """Estimate each group's share back by the last day, by part.

    Parameters
    ----------
    daily
        The cells.
    weights
        Weight of each cell (its jobs, times any weight of a job), shape (C, B).

    Returns
    -------
    numpy.ndarray
        Shape (parts, G, B); NaN for a group with no weight at all.

    Notes
    -----
    Aalen and Johansen (1978, Scand. J. Statist. 5:141-150) with weighted counts; leaving
    service competes. The parts add up to the share back for whatever cause.
    """
    shape = (daily.groups, len(daily.days), weights.shape[1])
    last = (daily.last @ weights).reshape(shape)
    at_risk = last[:, ::-1].cumsum(axis=1)[:, ::-1]
    ends = [(matrix @ weights).reshape(shape) for matrix in daily.ends]
    hazards = [quotient(count, at_risk) for count in ends]
    staying = np.cumprod(1 - sum(hazards), axis=1)
    in_play = np.concatenate([np.ones_like(staying[:, :1]), staying[:, :-1]], axis=1)
    shares = np.stack([(in_play * hazard).sum(axis=1) for hazard in hazards[:-1]])
    empty = (
        at_risk[:, 0] <= 0 if len(daily.days) else np.ones((daily.groups, weights.shape[1]), bool)
    )
    return np.where(empty, np.nan, shares)


def strata_of(chance: np.ndarray, population: np.ndarray, strata: int) -> np.ndarray:
    """Cut patterns into strata of about equal weight by their chance of being treated, (P,)."""
    order = np.argsort(chance, kind="stable")
    before = np.cumsum(population[order]) - population[order] / 2
    stratum = np.empty(len(chance), dtype=np.int64)
    stratum[order] = np.minimum(strata * before / population.sum(), strata - 1).astype(np.int64)
    return stratum


def stratified_shares(
    daily: Daily, weights: np.ndarray, stratum: np.ndarray, population: np.ndarray
) -> np.ndarray:
    """Average the strata's shares as the population has them.

    Parameters
    ----------
    daily
        Cells lined up by arm and, within it, stratum.
    weights
        Of each cell, shape (C, B).
    stratum, population
        Stratum and weight of each pattern, shape (P,) and (P, B).

    Returns
    -------
    numpy.ndarray
        Shape (parts, 2, B); strata without jobs of both arms are left out, NaN where all are.
    """
    strata = daily.groups // 2
    shares = weighted_shares(daily, weights)
    shares = shares.reshape(shares.shape[0], 2, strata, -1)
    size = indicator(stratum, strata) @ population
    usable = np.isfinite(shares).all(axis=(0, 1))
    size = np.where(usable, size, 0.0)
    total = size.sum(axis=0)
    summed = (np.where(usable, shares, 0.0) * size).sum(axis=2)
    return np.divide(summed, total, out=np.full_like(summed, np.nan), where=total > 0)
