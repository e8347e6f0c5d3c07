"""A triangle of counts completed by its own pattern in time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from insights.errors import RequestError


@dataclass(frozen=True, eq=False)
class ChainLadder:
    """A completed triangle.

    Parameters
    ----------
    latest
        The last count seen of each cohort, shape (I,).
    factors
        From each column to the next, shape (J - 1,); NaN where nothing was seen to grow from.
    sigma
        Mack's scatter about each factor, shape (J - 1,).
    maturity
        Share of the final count already seen of each cohort, shape (I,); NaN where it can't be
        said.
    ultimates
        Expected final counts, shape (I,).
    se
        Standard errors of the ultimates, shape (I,); NaN where the scatter can't be told.
    total_se
        Standard error of their sum.
    """

    latest: np.ndarray
    factors: np.ndarray
    sigma: np.ndarray
    maturity: np.ndarray
    ultimates: np.ndarray
    se: np.ndarray
    total_se: float


def chain_ladder(triangle: np.ndarray) -> ChainLadder:
    """Complete a triangle of cumulative counts.

    Parameters
    ----------
    triangle
        One row a cohort, one column a period since its start, shape (I, J); NaN where not yet
        seen. Every row starts with a number, and has none after its first NaN.

    Returns
    -------
    ChainLadder

    Raises
    ------
    RequestError
        A row is empty or has a gap.

    Notes
    -----
    Volume-weighted factors, and the standard errors of Mack (1993, ASTIN Bulletin 23:213-225),
    the last scatter by his rule min(s4/s2', s2', s2''). Cohorts with nothing yet say nothing
    about a factor's scatter.
    """
    C = np.array(triangle, dtype=float)
    seen = ~np.isnan(C)
    lengths = seen.sum(axis=1)
    if not lengths.all() or (seen != (np.arange(C.shape[1]) < lengths[:, None])).any():
        raise RequestError(
            "Every row of the triangle must start with a count, and have none after its first gap."
        )
    both = seen[:, 1:]
    before = np.where(both, C[:, :-1], 0.0)
    after = np.where(both, C[:, 1:], 0.0)
    volume = before.sum(axis=0)
    factors = np.divide(
        after.sum(axis=0), volume, out=np.full(len(volume), np.nan), where=volume > 0
    )
    variance = _scatter(before, after, factors)
    latest = C[np.arange(len(C)), lengths - 1]
    # From each column to the last.
    to_end = np.append(np.cumprod(factors[::-1])[::-1], 1.0)
    ultimates = latest * to_end[lengths - 1]
    se, total_se = _mack(C, lengths, factors, variance, volume, ultimates)
    return ChainLadder(
        latest=latest,
        factors=factors,
        sigma=np.sqrt(variance),
        maturity=1 / to_end[lengths - 1],
        ultimates=ultimates,
        se=se,
        total_se=total_se,
    )


def bornhuetter_ferguson(
    seen: np.ndarray, jobs: np.ndarray, share: float, maturity: np.ndarray
) -> np.ndarray:
    """Complete counts by an expected share instead of by what each cohort has shown so far.

    Seen plus jobs times share times the part not yet mature (Bornhuetter and Ferguson 1972,
    Proceedings of the Casualty Actuarial Society 59:181-195): a young cohort is not judged by
    its first returns.

    Parameters
    ----------
    seen, jobs
        Returns so far and jobs of each cohort.
    share
        Expected final share of jobs.
    maturity
        Share of the final count already seen.
    """
    return seen + jobs * share * (1 - maturity)


def _scatter(before: np.ndarray, after: np.ndarray, factors: np.ndarray) -> np.ndarray:
    """Estimate the variance of one unit of volume about each factor."""
    used = before > 0
    misfit = np.divide(
        (after - before * factors) ** 2, before, out=np.zeros_like(before), where=used
    )
    freedom = used.sum(axis=0) - 1
    variance = np.divide(
        misfit.sum(axis=0), freedom, out=np.full(len(factors), np.nan), where=freedom > 0
    )
    if len(variance) >= 3 and freedom[-1] <= 0:
        last, earlier = variance[-2], variance[-3]
        ratio = last**2 / earlier if earlier > 0 else 0.0
        variance[-1] = min(ratio, last, earlier)
    return variance


def _mack(
    C: np.ndarray,
    lengths: np.ndarray,
    factors: np.ndarray,
    variance: np.ndarray,
    volume: np.ndarray,
    ultimates: np.ndarray,
) -> tuple[np.ndarray, float]:
    steps = np.arange(len(factors))
    to_come = steps >= lengths[:, None] - 1
    relative = np.divide(variance, factors**2, out=np.full(len(factors), np.nan), where=factors > 0)
    filled = C.copy()
    for step in steps:
        fresh = np.isnan(filled[:, step + 1])
        filled[fresh, step + 1] = filled[fresh, step] * factors[step]
    own = np.divide(
        1.0, filled[:, :-1], out=np.zeros_like(filled[:, :-1]), where=filled[:, :-1] > 0
    )
    shared = np.divide(1.0, volume, out=np.zeros_like(volume), where=volume > 0)
    squares = ultimates**2 * np.where(to_come, relative * (own + shared), 0.0).sum(axis=1)
    # Cohorts share the same estimated factors, so their errors go together.
    pull = np.where(to_come, 2 * relative * shared, 0.0).sum(axis=1)
    order = np.argsort(-lengths, kind="stable")
    younger = np.zeros(len(C))
    younger[order] = np.append(np.cumsum(ultimates[order][::-1])[::-1][1:], 0.0)
    return np.sqrt(squares), float(np.sqrt((squares + ultimates * younger * pull).sum()))
