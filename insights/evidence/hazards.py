"""How fast each part of the comebacks arrives, by arm and pattern: a hazard model on counts.

Within an interval of days a part's daily hazard is ``rate x exp(practice x arm + covariates)``,
with a rate of its own in every interval. Parts have models of their own, so they add up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse, special

from insights.evidence.compared import LEVEL, Compared, indicator, quotient
from insights.evidence.fitting import PRIOR_SD, Design, climb
from insights.evidence.propensity import EXACT, NEAR
from insights.evidence.resampling import Draw
from insights.survival.lifetable import CENSORED

RETURNS_PER_INTERVAL = 5
MOST_INTERVALS = 6


@dataclass(frozen=True)
class Clock:
    """Follow-up cut into intervals, ready to be added up for any weights of the cells.

    Parameters
    ----------
    edges
        First day 0, then the last day of each interval, shape (K + 1,).
    exposure
        Matrix from cells to days at risk by interval, arm and pattern, shape (K 2 P, C).
    events
        For each part, the matrix from cells to comebacks by arm and pattern, (2 P, C).
    by_interval
        For each part, and last for leaving service, the matrix from cells to ends by
        interval, (K, C).
    """

    edges: np.ndarray
    exposure: sparse.csr_array
    events: tuple[sparse.csr_array, ...]
    by_interval: tuple[sparse.csr_array, ...]

    @property
    def widths(self) -> np.ndarray:
        """Days in each interval, shape (K,)."""
        return np.diff(self.edges)


def cut(cells: Compared) -> Clock:
    """Cut follow-up so that every interval holds about as many comebacks."""
    back = (cells.cell_outcome > CENSORED) & (cells.cell_outcome < cells.left_outcome)
    when = np.repeat(cells.cell_day[back], cells.cell_jobs[back].astype(np.int64))
    pieces = int(np.clip(len(when) // RETURNS_PER_INTERVAL, 1, MOST_INTERVALS))
    inner = np.quantile(when, np.arange(1, pieces) / pieces, method="lower") if len(when) else []
    edges = np.unique(np.concatenate([[0.0], inner, [cells.day]]))
    group = cells.cell_arm * cells.pattern_count + cells.cell_pattern
    size = 2 * cells.pattern_count
    days = np.clip(cells.cell_day[None, :] - edges[:-1, None], 0, np.diff(edges)[:, None])
    interval, cell = np.nonzero(days)
    exposure = sparse.coo_array(
        (days[interval, cell], (interval * size + group[cell], cell)),
        shape=(len(days) * size, len(group)),
    ).tocsr()
    ended = np.searchsorted(edges, cells.cell_day, side="left") - 1
    outcomes = range(1, cells.left_outcome + 1)
    return Clock(
        edges=edges,
        exposure=exposure,
        events=tuple(
            indicator(np.where(cells.cell_outcome == code, group, -1), size)
            for code in outcomes[:-1]
        ),
        by_interval=tuple(
            indicator(np.where(cells.cell_outcome == code, ended, -1), len(edges) - 1)
            for code in outcomes
        ),
    )


@dataclass(frozen=True)
class Weighted:
    """The cells added up under B sets of weights.

    Parameters
    ----------
    jobs
        By arm and pattern, shape (2, P, B).
    days_at_risk
        By interval, arm and pattern, shape (K, 2, P, B).
    events
        Comebacks of each part by arm and pattern, each shape (2, P, B).
    by_interval
        Ends of each part, and last of leaving service, by interval, each shape (K, B).
    widths
        Days in each interval, shape (K,).
    draw
        The weights, and the prior as drawn with them.
    """

    jobs: np.ndarray
    days_at_risk: np.ndarray
    events: tuple[np.ndarray, ...]
    by_interval: tuple[np.ndarray, ...]
    widths: np.ndarray
    draw: Draw

    def rates(self, part: int, scaled: np.ndarray) -> np.ndarray:
        """Give a part's daily hazard by interval for a ratio of 1, (K, B).

        ``scaled`` holds days at risk times hazard ratio, shape (K, B). The prior's comebacks
        join in where those of the record fell, or by days at risk where it has none.
        """
        seen = self.by_interval[part]
        shares = np.where(seen.sum(axis=0) > 0, seen, scaled)
        prior = self.draw.prior_rate * quotient(shares, shares.sum(axis=0) * np.ones_like(shares))
        return quotient(seen + prior, scaled)


def add_up(cells: Compared, clock: Clock, draw: Draw) -> Weighted:
    """Add cells up as draws of the record hold them."""
    weights = draw.weights
    shape = (2, cells.pattern_count, weights.shape[1])
    return Weighted(
        jobs=cells.sum_patterns(weights),
        days_at_risk=(clock.exposure @ weights).reshape(len(clock.widths), *shape),
        events=tuple((matrix @ weights).reshape(shape) for matrix in clock.events),
        by_interval=tuple(matrix @ weights for matrix in clock.by_interval),
        widths=clock.widths,
        draw=draw,
    )


@dataclass(frozen=True)
class Hazards:
    """Fitted hazards.

    Parameters
    ----------
    beta
        For each part: the practice's log hazard ratio, then the covariates', shape (1 + p, B).
    rates
        Daily hazard of each part by interval for a pattern of ratio 1 in arm 0, (K, B).
    leaving
        Daily hazard of leaving service by interval, shape (K, B).
    widths
        Days in each interval, shape (K,).
    """

    beta: tuple[np.ndarray, ...]
    rates: tuple[np.ndarray, ...]
    leaving: np.ndarray
    widths: np.ndarray


def fit_hazards(design: Design, data: Weighted, start: Hazards | None = None) -> Hazards:
    """Fit the hazard of every part.

    Parameters
    ----------
    design
        Columns of the covariates.
    data
        The counts.
    start
        Hazards of the whole record, to refit draws from; None fits the whole record itself.

    Notes
    -----
    Piecewise-constant hazards are fitted by Poisson regression of comebacks on days at risk
    (Holford 1980, Biometrics 36:299-305). The rates are profiled out, which leaves
    Breslow's partial likelihood over intervals.

    Prior: Normal(0, 1.5^2) on the covariates' log hazard ratios. On the practice's, log-F(1, 1)
    (Greenland and Mansournia 2015, Statistics in Medicine 34:3133-3143), which is the
    information of half a pseudo-comeback each way; its 95% range of hazard ratios is 1/648 to
    648. Unlike a Normal prior it can be redrawn with the record, so that a level without any
    comeback has about the upper limit of Jeffreys' interval instead of none.

    Leaving service is rare and goes on at one rate for all jobs.
    """
    at_risk = data.days_at_risk.sum(axis=(1, 2))
    leaving = quotient(data.by_interval[-1], at_risk)
    beta, rates = [], []
    for part, events in enumerate(data.events):
        begin = None if start is None else start.beta[part][:, 0]
        found = _fit_part(design, data, events, data.by_interval[part], begin)
        beta.append(found)
        rates.append(data.rates(part, _scaled(data, hazard_ratios(design, found))))
    return Hazards(tuple(beta), tuple(rates), leaving, data.widths)


def _fit_part(
    design: Design,
    data: Weighted,
    events: np.ndarray,
    by_interval: np.ndarray,
    start: np.ndarray | None,
) -> np.ndarray:
    precision = np.append(0.0, np.full(design.width, PRIOR_SD**-2))
    seen = np.vstack([events[LEVEL].sum(axis=0), design.transposed @ events.sum(axis=0)])
    pseudo = data.draw.prior_events
    centre = np.vstack([np.zeros(events.shape[-1]), PRIOR_SD * data.draw.prior_mean])

    def gradient(beta: np.ndarray) -> np.ndarray:
        expected = _expected(data, by_interval, hazard_ratios(design, beta))
        slope = seen - _by_column(design, expected)
        slope[0] += pseudo[LEVEL] - pseudo.sum(axis=0) * special.expit(beta[0])
        return slope - precision[:, None] * (beta - centre)

    def curvature(beta: np.ndarray) -> np.ndarray:
        ratios = hazard_ratios(design, beta)
        expected = _expected(data, by_interval, ratios)
        out = np.empty((beta.shape[1], len(beta), len(beta)))
        out[:, 1:, 1:] = design.cross(expected.sum(axis=0))
        out[:, 0, 1:] = out[:, 1:, 0] = (design.transposed @ expected[LEVEL]).T
        chance = special.expit(beta[0])
        out[:, 0, 0] = expected[LEVEL].sum(axis=0) + pseudo.sum(axis=0) * chance * (1 - chance)
        per_unit = quotient(by_interval, _scaled(data, ratios) ** 2)
        for days, factor in zip(data.days_at_risk, per_unit, strict=True):
            mean = _by_column(design, days * ratios).T
            out -= factor[:, None, None] * mean[:, :, None] * mean[:, None, :]
        return out + np.diag(precision)

    if start is None:
        begin = np.zeros((1 + design.width, events.shape[-1]))
        return climb(gradient, curvature, begin, curvature(begin), EXACT)
    begin = np.repeat(start[:, None], events.shape[-1], axis=1)
    return climb(gradient, curvature, begin, curvature(begin), NEAR)


def _expected(data: Weighted, by_interval: np.ndarray, ratios: np.ndarray) -> np.ndarray:
    """Give expected comebacks by arm and pattern, (2, P, B)."""
    per_day = quotient(by_interval, _scaled(data, ratios))
    return np.einsum("kapb,kb->apb", data.days_at_risk, per_day) * ratios


def _scaled(data: Weighted, ratios: np.ndarray) -> np.ndarray:
    """Give days at risk times hazard ratio by interval, (K, B)."""
    return np.einsum("kapb,apb->kb", data.days_at_risk, ratios)


def hazard_ratios(design: Design, beta: np.ndarray) -> np.ndarray:
    """Give the hazard ratio of each arm and pattern, shape (2, P, B)."""
    ratio = np.exp(design.matrix @ beta[1:])
    return np.stack([ratio, ratio * np.exp(beta[0])])


def _by_column(design: Design, values: np.ndarray) -> np.ndarray:
    """Add (2, P, B) up to the practice and the covariate columns: (1 + p, B)."""
    return np.vstack([values[LEVEL].sum(axis=0), design.transposed @ values.sum(axis=0)])
