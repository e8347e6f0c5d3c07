"""Follow-up collapsed to counts by day, outcome and pattern: rows end here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.followup import ENDINGS, ENDS, Followup

CENSORED = 0
EVERYONE = "all jobs"


@dataclass(frozen=True)
class LifeTable:
    """Counts of hand-backs by pattern, days and outcome.

    These counts are sufficient for every estimator downstream, and tables of several branches
    add up.

    Parameters
    ----------
    by
        The grouping columns behind the patterns.
    patterns
        One row per combination of values seen, one categorical column per name in ``by``.
    causes
        Root causes of counted comebacks, as outcome codes 1, 2, ...
    endings
        Ways of leaving service, as the outcome codes after the causes.
    cells
        One row per combination seen: ``pattern`` (row of ``patterns``), ``days``, ``outcome``
        (0 censored, then causes, then endings), ``jobs``; sorted by the first three.
    repeats
        The episodes of units that have more than one here: ``unit`` and ``cell`` (row of
        ``cells``), sorted by unit. With these, counts carry exact variances clustered by unit.
    units
        How many different units each pattern holds.
    """

    by: tuple[str, ...]
    patterns: pd.DataFrame
    causes: tuple[str, ...]
    endings: tuple[str, ...]
    cells: pd.DataFrame
    repeats: pd.DataFrame
    units: np.ndarray

    @property
    def labels(self) -> tuple[str, ...]:
        """One readable name per pattern."""
        if not self.by:
            return (EVERYONE,)
        return tuple(
            " / ".join(map(str, row)) for row in self.patterns.itertuples(index=False, name=None)
        )

    @property
    def job_count(self) -> int:
        """How many hand-backs are counted."""
        return int(self.cells["jobs"].sum())


@dataclass(frozen=True)
class RiskSets:
    """Who was still at risk, and what happened, on each day on which something did.

    Parameters
    ----------
    days
        The distinct days, rising, shape (D,).
    at_risk
        Hand-backs whose clock had not stopped before that day, shape (D,).
    outcomes
        Counts by day and outcome code (0 censored), shape (D, 1 + causes + endings).
    cause_count
        How many of the outcome codes are root causes.
    """

    days: np.ndarray
    at_risk: np.ndarray
    outcomes: np.ndarray
    cause_count: int

    @property
    def returns(self) -> np.ndarray:
        """Counted comebacks on each day, shape (D,)."""
        return self.outcomes[:, 1 : 1 + self.cause_count].sum(axis=1)

    @property
    def ended(self) -> np.ndarray:
        """Units that left service on each day, shape (D,)."""
        return self.outcomes[:, 1 + self.cause_count :].sum(axis=1)


def life_table(followup: Followup, by: Sequence[str] = ()) -> LifeTable:
    """Collapse episodes to counts.

    Parameters
    ----------
    followup
        The episodes.
    by
        Grouping columns (:attr:`insights.followup.Followup.groupable`).

    Returns
    -------
    LifeTable

    Raises
    ------
    RequestError
        A name in ``by`` is not a column to group by.
    """
    pattern, patterns = _patterns(followup, tuple(by))
    outcome, causes, endings = _outcomes(followup)
    unit = followup.episodes["unit"].to_numpy()
    half_days = (2 * followup.episodes["days"].to_numpy()).astype(np.int64)
    seen_half_days, day, _ = _tally(half_days, int(half_days.max()) + 1)
    days = seen_half_days / 2
    width = 1 + len(causes) + len(endings)
    key = (pattern.astype(np.int64) * len(days) + day) * width + outcome
    seen, cell, jobs = _tally(key, len(patterns) * len(days) * width)
    cells = pd.DataFrame(
        {
            "pattern": seen // (len(days) * width),
            "days": days[seen // width % len(days)],
            "outcome": seen % width,
            "jobs": jobs,
        }
    )
    return LifeTable(
        by=tuple(by),
        patterns=patterns,
        causes=causes,
        endings=endings,
        cells=cells,
        repeats=_repeats(unit, cell),
        units=_units(unit, pattern, len(patterns)),
    )


def risk_sets(table: LifeTable, pattern: int | None = None) -> RiskSets:
    """Count the risk set and the outcomes of each day, for one pattern or for all together.

    Parameters
    ----------
    table
        The counts.
    pattern
        A row of ``table.patterns``; None takes all patterns together.
    """
    cells = table.cells if pattern is None else table.cells[table.cells["pattern"] == pattern]
    width = 1 + len(table.causes) + len(table.endings)
    days, day = np.unique(cells["days"].to_numpy(), return_inverse=True)
    flat = np.bincount(
        day * width + cells["outcome"].to_numpy(),
        weights=cells["jobs"].to_numpy(),
        minlength=len(days) * width,
    )
    outcomes = flat.reshape(len(days), width)
    leaving = outcomes.sum(axis=1)
    at_risk = leaving[::-1].cumsum()[::-1]
    return RiskSets(days, at_risk, outcomes, len(table.causes))


def _patterns(followup: Followup, by: tuple[str, ...]) -> tuple[np.ndarray, pd.DataFrame]:
    key = np.zeros(followup.job_count, dtype=np.int64)
    columns = {name: followup.values(name).cat for name in by}
    for values in columns.values():
        key = key * len(values.categories) + values.codes.to_numpy()
    if not by:
        return key, pd.DataFrame(index=range(1))
    size = int(np.prod([len(values.categories) for values in columns.values()], dtype=float))
    seen, pattern, _ = _tally(key, size)
    data = {}
    rest = seen
    for name, values in reversed(columns.items()):
        rest, code = np.divmod(rest, len(values.categories))
        data[name] = pd.Categorical.from_codes(code, values.categories)
    return pattern, pd.DataFrame({name: data[name] for name in by})


def _outcomes(followup: Followup) -> tuple[np.ndarray, tuple[str, ...], tuple[str, ...]]:
    cause = followup.episodes["cause"].cat
    end = followup.episodes["end"].cat.codes.to_numpy()
    causes = tuple(map(str, cause.categories))
    outcome = np.where(end == ENDS.index("return"), cause.codes.to_numpy() + 1, CENSORED)
    present = tuple(how for how in ENDINGS if (end == ENDS.index(how)).any())
    for code, how in enumerate(present, start=1 + len(causes)):
        outcome[end == ENDS.index(how)] = code
    return outcome.astype(np.int64), causes, present


def _tally(key: np.ndarray, size: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Find the distinct keys, the place of each, and how often each occurs."""
    # Counting into an array beats sorting by far while the array is of the order of the rows.
    if size <= 4 * len(key) + 100_000:
        counts = np.bincount(key, minlength=size)
        seen = np.flatnonzero(counts)
        place = np.zeros(size, dtype=np.int64)
        place[seen] = np.arange(len(seen))
        return seen, place[key], counts[seen]
    return np.unique(key, return_inverse=True, return_counts=True)


def several(unit: np.ndarray) -> np.ndarray:
    """Mark the entries of a sorted array that occur more than once."""
    same = unit[1:] == unit[:-1]
    marked = np.zeros(len(unit), dtype=bool)
    marked[1:] = same
    marked[:-1] |= same
    return marked


def _repeats(unit: np.ndarray, cell: np.ndarray) -> pd.DataFrame:
    often = several(unit)
    return pd.DataFrame({"unit": unit[often], "cell": cell[often]})


def _units(unit: np.ndarray, pattern: np.ndarray, pattern_count: int) -> np.ndarray:
    often = several(unit)
    once = np.bincount(pattern[~often], minlength=pattern_count)
    pairs = np.sort(unit[often] * pattern_count + pattern[often])
    first = pairs[np.append(True, pairs[1:] != pairs[:-1])] if len(pairs) else pairs
    return once + np.bincount(first % pattern_count, minlength=pattern_count)
