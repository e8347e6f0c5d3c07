"""Do the groups' curves differ? Log-rank tests from counts, clustered by unit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse, special

from insights.survival.lifetable import LifeTable

NUMBERS_AT_ONCE = 2_000_000
"""Units times groups held in memory together."""


@dataclass(frozen=True)
class GroupTest:
    """A test of no difference between groups.

    Parameters
    ----------
    name
        Which test.
    statistic
        Chi-square statistic.
    df
        Its degrees of freedom.
    p
        Chance of a statistic at least as large if the groups do not differ.
    """

    name: str
    statistic: float
    df: int
    p: float


@dataclass(frozen=True)
class Scores:
    """Observed and expected events by group, weighted by day, and the covariance of both.

    Parameters
    ----------
    observed, expected
        Shape (G,).
    covariance
        Of observed less expected, hypergeometric, as if every job were a unit of its own,
        shape (G, G).
    weight, hazard
        The weight of each day and the pooled events per unit at risk, shape (D,).
    fraction
        The share of those at risk that each group makes up, shape (G, D).
    """

    observed: np.ndarray
    expected: np.ndarray
    covariance: np.ndarray
    weight: np.ndarray
    hazard: np.ndarray
    fraction: np.ndarray

    def residuals(self, group: np.ndarray, place: np.ndarray, event: np.ndarray) -> np.ndarray:
        """Give what single jobs add to observed less expected, shape (E, G).

        Parameters
        ----------
        group, place, event
            Each job's group, the place of its last day, and whether it ended with an event,
            shape (E,).
        """
        share_expected = np.cumsum(self.weight * self.hazard * self.fraction, axis=1)
        added = -self.fraction * self.weight
        scores = event[:, None] * added[:, place].T + share_expected[:, place].T
        own = event * self.weight[place] - np.cumsum(self.weight * self.hazard)[place]
        scores[np.arange(len(group)), group] += own
        return scores


def scores(at_risk: np.ndarray, events: np.ndarray, rho: float = 0.0) -> Scores:
    """Compare observed with expected events.

    Parameters
    ----------
    at_risk, events
        By group and day, shape (G, D).
    rho
        Each day is weighted by the pooled chance of no event before it, to this power
        (Harrington and Fleming 1982, Biometrika 69:553-566): 0 is the log-rank test, 1 Peto
        and Peto's, which looks at the early days.
    """
    total, happened = at_risk.sum(axis=0), events.sum(axis=0)
    some = total > 0
    at_risk, events, total, happened = (x[..., some] for x in (at_risk, events, total, happened))
    hazard = happened / total
    free = np.append(1.0, np.cumprod((total - happened) / total))[:-1]
    weight = free**rho
    fraction = at_risk / total
    spread = weight**2 * happened * (total - happened) / np.maximum(total - 1, 1)
    covariance = np.diag((spread * fraction).sum(axis=1)) - (spread * fraction) @ fraction.T
    return Scores(
        (weight * events).sum(axis=1),
        (weight * happened * fraction).sum(axis=1),
        covariance,
        weight,
        hazard,
        fraction,
    )


def chi_square(name: str, difference: np.ndarray, covariance: np.ndarray) -> GroupTest | None:
    """Test whether differences that add up to zero are all zero; None where it can't be told."""
    values, vectors = np.linalg.eigh(covariance)
    tolerance = 1e-9 * max(float(values.max(initial=0.0)), 1e-300)
    used = values > tolerance
    if not used.any() or (values < -1e3 * tolerance).any():
        return None
    along = vectors.T @ difference
    statistic = float((along[used] ** 2 / values[used]).sum())
    df = int(used.sum())
    return GroupTest(name, statistic, df, float(special.chdtrc(df, statistic)))


def group_test(
    table: LifeTable, codes: tuple[int, ...], name: str = "log-rank", rho: float = 0.0
) -> GroupTest | None:
    """Test whether the patterns of a life table differ in the hazard of some outcomes.

    Parameters
    ----------
    table
        The counts. All days count, also those with few at risk.
    codes
        The outcome codes that are events; everything else censors.
    name, rho
        See :func:`scores`.

    Returns
    -------
    GroupTest or None
        None where there is one pattern only, or no event, or too little to estimate a variance.

    Notes
    -----
    The covariance is the hypergeometric one plus, for units with several jobs, the products of
    the score residuals of different jobs of one unit; so it is the textbook test exactly
    where no unit came twice.
    """
    cells = table.cells
    groups = len(table.patterns)
    days, place = np.unique(cells["days"].to_numpy(), return_inverse=True)
    group = cells["pattern"].to_numpy()
    event = np.isin(cells["outcome"].to_numpy(), codes)
    if groups < 2 or not event.any():
        return None
    jobs = cells["jobs"].to_numpy()
    flat = group * len(days) + place
    size = groups * len(days)
    leaving = np.bincount(flat, weights=jobs, minlength=size).reshape(groups, -1)
    events = np.bincount(flat, weights=jobs * event, minlength=size).reshape(groups, -1)
    at_risk = leaving[:, ::-1].cumsum(axis=1)[:, ::-1]
    found = scores(at_risk, events, rho)
    within = _within_units(found, table, group, place, event)
    return chi_square(name, found.observed - found.expected, found.covariance + within)


def _within_units(
    found: Scores, table: LifeTable, group: np.ndarray, place: np.ndarray, event: np.ndarray
) -> np.ndarray:
    """Add up the products of residuals of different jobs of one unit, shape (G, G)."""
    total = np.zeros_like(found.covariance)
    unit, cell = (table.repeats[name].to_numpy() for name in ("unit", "cell"))
    first = np.flatnonzero(np.append(True, unit[1:] != unit[:-1])) if len(unit) else unit
    edges = np.append(first, len(unit))
    at_once = max(1, NUMBERS_AT_ONCE // len(total))
    for chunk in range(0, len(first), at_once):
        starts = edges[chunk : chunk + at_once + 1]
        often = np.bincount(cell[starts[0] : starts[-1]], minlength=len(group))
        used = np.flatnonzero(often)
        row = np.zeros(len(group), dtype=np.int64)
        row[used] = np.arange(len(used))
        cells = row[cell[starts[0] : starts[-1]]]
        by_cell = found.residuals(group[used], place[used], event[used])
        jobs_of_units = sparse.csr_array(
            (np.ones(len(cells)), cells, starts - starts[0]),
            shape=(len(starts) - 1, len(used)),
        )
        summed = jobs_of_units @ by_cell
        total += summed.T @ summed - (by_cell * often[used, None]).T @ by_cell
    return total
