"""Counted rows lined up by event day: what a partial likelihood adds up over."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import sparse

from insights.errors import EvidenceError, RequestError

Ties = Literal["efron", "breslow"]
TIES: tuple[Ties, ...] = ("efron", "breslow")


@dataclass(frozen=True)
class Record:
    """Counted rows lined up by event day within stratum.

    A *slot* is one day with events in one stratum; slots are in order of stratum, then day.

    Parameters
    ----------
    X
        Covariates less their mean, one row per covariate pattern, shape (R, p).
    mean
        The mean taken off, shape (p,).
    row, count, event
        Pattern, number of jobs and whether the clock stopped by an event, one per cell, (C,).
    last, before
        The last slot at which a cell was at risk, and the last slot before it entered, (C,);
        -1 for none.
    days, entry
        Day on which a cell's clock stopped, and after which it came under observation, (C,).
    leaving, events
        Jobs by slot and pattern, shape (J, R): those at risk there for the last time (less
        those that enter just after), and those with the event there.
    deaths
        Events in each slot, shape (J,).
    edges
        First slot of each stratum, and one past the last, shape (strata + 1,).
    slot_days
        Day of each slot, shape (J,).
    fraction, slot_of
        For every single event: the share of its slot's tied events already taken out of the risk
        set (Efron; 0 throughout for Breslow), and its slot; shape (events,).
    """

    X: np.ndarray
    mean: np.ndarray
    row: np.ndarray
    count: np.ndarray
    event: np.ndarray
    last: np.ndarray
    before: np.ndarray
    days: np.ndarray
    entry: np.ndarray
    leaving: sparse.csr_array
    events: sparse.csr_array
    deaths: np.ndarray
    edges: np.ndarray
    slot_days: np.ndarray
    fraction: np.ndarray
    slot_of: np.ndarray

    def by_stratum(self, values: np.ndarray, *, backwards: bool = False) -> np.ndarray:
        """Add values up along the slots of each stratum, from the start or from the end."""
        total = np.empty_like(values)
        for first, end in zip(self.edges, self.edges[1:], strict=False):
            part = values[first:end]
            total[first:end] = part[::-1].cumsum(axis=0)[::-1] if backwards else part.cumsum(axis=0)
        return total


def prepare(
    days: np.ndarray,
    event: np.ndarray,
    X: np.ndarray,
    *,
    row: np.ndarray | None = None,
    count: np.ndarray | None = None,
    entry: np.ndarray | None = None,
    stratum: np.ndarray | None = None,
    ties: Ties = "efron",
) -> Record:
    """Line counted rows up by event day.

    Parameters
    ----------
    days, event
        Days at risk and whether an event ended them, shape (C,).
    X
        Covariates, one row per pattern, shape (R, p).
    row
        Pattern of each cell, shape (C,); by default each cell has its own row of ``X``.
    count
        Whole number of jobs in each cell; 1 by default.
    entry
        Day after which each cell came under observation; from the start by default.
    stratum
        Whole number; hazards of different strata are not compared.
    ties
        ``efron`` or ``breslow``.

    Raises
    ------
    RequestError
        Shapes or values that can't be used.
    EvidenceError
        No event at all.
    """
    days = np.asarray(days, dtype=float)
    event = np.asarray(event).astype(bool)
    X = np.asarray(X, dtype=float)
    cells = len(days)
    row = np.arange(cells) if row is None else np.asarray(row)
    count = np.ones(cells) if count is None else np.asarray(count, dtype=float)
    entry = np.full(cells, -1.0) if entry is None else np.asarray(entry, dtype=float)
    stratum = np.zeros(cells, dtype=np.int64) if stratum is None else np.asarray(stratum)
    _check(days, event, X, row, count, entry, stratum, ties)
    event = event & (count > 0)
    if not event.any():
        raise EvidenceError("No comeback is counted, so hazards can't be compared. Wait for some.")

    ranks, rank = np.unique(days, return_inverse=True)
    key = stratum * len(ranks) + rank
    slots = np.unique(key[event])
    last = _slot_at(slots, key, stratum, len(ranks))
    entered = np.searchsorted(ranks, entry, side="right") - 1
    before = _slot_at(slots, stratum * len(ranks) + entered, stratum, len(ranks))
    before[entered < 0] = -1
    strata = int(stratum.max()) + 1
    shape = (len(slots), len(X))
    deaths = np.bincount(last[event], weights=count[event], minlength=len(slots)).astype(np.int64)
    slot_of = np.repeat(np.arange(len(slots)), deaths)
    ordinal = np.arange(len(slot_of)) - np.repeat(deaths.cumsum() - deaths, deaths)
    mean = np.bincount(row, weights=count, minlength=len(X)) @ X / count.sum()
    return Record(
        X=X - mean,
        mean=mean,
        row=row,
        count=count,
        event=event,
        last=last,
        before=before,
        days=days,
        entry=entry,
        leaving=_table(last, row, count, shape) - _table(before, row, count, shape),
        events=_table(last[event], row[event], count[event], shape),
        deaths=deaths,
        edges=np.searchsorted(slots, np.arange(strata + 1) * len(ranks)),
        slot_days=ranks[slots % len(ranks)],
        fraction=ordinal / deaths[slot_of] if ties == "efron" else np.zeros(len(slot_of)),
        slot_of=slot_of,
    )


def _slot_at(slots: np.ndarray, key: np.ndarray, stratum: np.ndarray, width: int) -> np.ndarray:
    """Find the last slot of the same stratum at or before each key; -1 where there is none."""
    place = np.searchsorted(slots, key, side="right") - 1
    return np.where((place >= 0) & (slots[place] // width == stratum), place, -1)


def _table(
    slot: np.ndarray, row: np.ndarray, count: np.ndarray, shape: tuple[int, int]
) -> sparse.csr_array:
    there = slot >= 0
    return sparse.coo_array((count[there], (slot[there], row[there])), shape=shape).tocsr()


def _check(
    days: np.ndarray,
    event: np.ndarray,
    X: np.ndarray,
    row: np.ndarray,
    count: np.ndarray,
    entry: np.ndarray,
    stratum: np.ndarray,
    ties: str,
) -> None:
    if ties not in TIES:
        raise RequestError(f"ties is '{ties}'. Choose one of: {', '.join(TIES)}.")
    if X.ndim != 2 or X.shape[1] == 0:
        raise RequestError(f"X has shape {X.shape}. Give one column per covariate, at least one.")
    lengths = {len(days), len(event), len(row), len(count), len(entry), len(stratum)}
    if len(lengths) != 1:
        raise RequestError(
            f"The arrays differ in length ({', '.join(map(str, sorted(lengths)))}). "
            "Give one value of each per row."
        )
    if row.min() < 0 or row.max() >= len(X):
        raise RequestError(
            f"X has {len(X)} rows; a row points to {row.max()}. Give a row for each."
        )
    if not np.isfinite(X).all():
        raise RequestError("A covariate holds a missing or infinite value. Fill or drop the row.")
    if not (np.isfinite(days) & (days >= 0)).all():
        raise RequestError(
            "Days must be zero or more. Mend the row with a missing or negative one."
        )
    if not ((count >= 0) & (count == np.floor(count))).all():
        raise RequestError("Counts must be whole numbers of jobs, zero or more.")
    if not (entry < days).all():
        raise RequestError("A row enters on or after the day it ends. Mend or drop it.")
