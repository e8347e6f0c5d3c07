"""A Weibull life fitted to counts, and rates by band of age: rising, level or falling."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import optimize, special, stats

from insights.errors import EvidenceError, RequestError

SHAPES = (0.01, 100.0)
"""The range of shapes looked at: far beyond anything a part does."""

FEWEST_EVENTS = 2


@dataclass(frozen=True)
class WeibullFit:
    """A Weibull life, ``share failed by day t = 1 - exp(-(t / scale_days) ** shape)``.

    Parameters
    ----------
    shape, low, high
        Above 1 the rate rises with age, below 1 it falls; limits from the profile likelihood
        (0 or infinity where the record does not bound it).
    scale_days
        The age by which 63.2% have failed.
    p
        Chance of a shape so far from 1 if the rate were constant (likelihood ratio).
    log_likelihood
        At the fit.
    jobs, events
        How many.
    """

    shape: float
    low: float
    high: float
    scale_days: float
    p: float
    log_likelihood: float
    jobs: int
    events: int


def fit_weibull(
    days: np.ndarray,
    event: np.ndarray,
    *,
    count: np.ndarray | None = None,
    entry: np.ndarray | None = None,
    level: float = 0.95,
) -> WeibullFit:
    """Fit a Weibull life by maximum likelihood, right-censored and with late entry.

    Parameters
    ----------
    days, event
        Age at the end and whether a failure ended it, shape (n,).
    count
        How many jobs each row stands for; 1 by default.
    entry
        Age from which each row was under observation; 0 by default.
    level
        Confidence, between 0 and 1.

    Returns
    -------
    WeibullFit

    Raises
    ------
    RequestError
        Ages that can't be used.
    EvidenceError
        Fewer than two failures, or all at one age and nothing else, so no shape fits.

    Notes
    -----
    For a given shape the scale has a closed form, so only the shape is searched for. Its limits
    come from the profile likelihood ratio (Lawless 2003, Statistical Models and Methods for
    Lifetime Data, section 5.2), which suit few failures better than a symmetric interval.
    """
    days, event = np.asarray(days, dtype=float), np.asarray(event).astype(bool)
    count = np.ones(len(days)) if count is None else np.asarray(count, dtype=float)
    entry = np.zeros(len(days)) if entry is None else np.asarray(entry, dtype=float)
    check_ages(days, entry, count)
    if (days[event] <= 0).any():
        raise RequestError("A failure stands at age 0. Give it half a day, or mend its dates.")
    profile = _Profile.of(days, event, count, entry)
    if profile.events < FEWEST_EVENTS:
        raise EvidenceError(
            f"{profile.events:g} failures are too few to tell a rising from a falling rate; "
            f"{FEWEST_EVENTS} is the least."
        )
    ends = np.log(SHAPES)
    if profile.slope(ends[0]) <= 0 or profile.slope(ends[1]) >= 0:
        raise EvidenceError(
            "No Weibull shape fits: the failures all stand at one age. Wait for more of them."
        )
    best = float(optimize.brentq(profile.slope, *ends, xtol=1e-12))
    top = profile.value(best)
    wanted = top - float(stats.chi2.ppf(level, 1)) / 2
    return WeibullFit(
        shape=float(np.exp(best)),
        low=profile.crossing(wanted, ends[0], best, beyond=0.0),
        high=profile.crossing(wanted, ends[1], best, beyond=float("inf")),
        scale_days=profile.scale_days(best),
        p=float(stats.chi2.sf(max(2 * (top - profile.value(0.0)), 0.0), 1)),
        log_likelihood=top,
        jobs=int(count.sum()),
        events=int(profile.events),
    )


def piecewise_hazard(
    days: np.ndarray,
    event: np.ndarray,
    edges: np.ndarray,
    *,
    count: np.ndarray | None = None,
    entry: np.ndarray | None = None,
    level: float = 0.95,
) -> pd.DataFrame:
    """Count failures and time at risk by band of age.

    Parameters
    ----------
    days, event, count, entry, level
        As in :func:`fit_weibull`.
    edges
        Ages that part the bands, rising; a failure at an edge belongs to the band it ends.

    Returns
    -------
    pandas.DataFrame
        ``from_days``, ``to_days``, ``days_at_risk``, ``returns``, ``per_1000_days``, ``low``,
        ``high``: the exact limits of a Poisson rate (Garwood 1936, Biometrika 28:437-442);
        missing where nobody was at risk.
    """
    days, event = np.asarray(days, dtype=float), np.asarray(event).astype(bool)
    count = np.ones(len(days)) if count is None else np.asarray(count, dtype=float)
    entry = np.zeros(len(days)) if entry is None else np.asarray(entry, dtype=float)
    check_ages(days, entry, count)
    start, end = np.asarray(edges[:-1], dtype=float), np.asarray(edges[1:], dtype=float)
    inside = [
        (np.clip(np.minimum(days, stop) - np.maximum(entry, begin), 0, None) * count).sum()
        for begin, stop in zip(start, end, strict=True)
    ]
    band = np.searchsorted(end, days[event], side="left")
    failed = np.bincount(band, weights=count[event], minlength=len(end) + 1)[: len(end)]
    at_risk = np.array(inside)
    tail = (1 - level) / 2
    rate = 1000 / np.where(at_risk > 0, at_risk, np.nan)
    return pd.DataFrame(
        {
            "from_days": start,
            "to_days": end,
            "days_at_risk": at_risk,
            "returns": failed.astype(np.int64),
            "per_1000_days": failed * rate,
            "low": stats.gamma.ppf(tail, np.where(failed > 0, failed, 1)) * (failed > 0) * rate,
            "high": stats.gamma.ppf(1 - tail, failed + 1) * rate,
        }
    )


def check_ages(days: np.ndarray, entry: np.ndarray, count: np.ndarray) -> None:
    """Refuse ages that contradict each other.

    Raises
    ------
    RequestError
        A missing or negative age, an entry after the end, or a negative count.
    """
    if not len(days) == len(entry) == len(count):
        raise RequestError("Ages, entries and counts differ in length. Give one of each per row.")
    if not (np.isfinite(days) & (entry >= 0) & (entry <= days)).all():
        raise RequestError("Each row needs an age at entry of zero or more, no later than its end.")
    if not (count >= 0).all():
        raise RequestError("Counts of jobs must be zero or more.")


@dataclass(frozen=True)
class _Profile:
    """Log likelihood by log shape, the scale put at its best for each; ages over the largest."""

    events: float
    log_ages_failed: float
    ages: np.ndarray
    entries: np.ndarray
    count: np.ndarray
    unit_days: float

    @classmethod
    def of(
        cls, days: np.ndarray, event: np.ndarray, count: np.ndarray, entry: np.ndarray
    ) -> _Profile:
        unit_days = float(days.max())
        failed = count[event]
        return cls(
            events=float(failed.sum()),
            log_ages_failed=float(failed @ np.log(days[event] / unit_days)),
            ages=days / unit_days,
            entries=entry / unit_days,
            count=count,
            unit_days=unit_days,
        )

    def value(self, log_shape: float) -> float:
        shape = np.exp(log_shape)
        total = self.count @ (self.ages**shape - self.entries**shape)
        return float(
            self.events * (log_shape - np.log(total / self.events) - 1 - np.log(self.unit_days))
            + (shape - 1) * self.log_ages_failed
        )

    def slope(self, log_shape: float) -> float:
        shape = np.exp(log_shape)
        total = self.count @ (self.ages**shape - self.entries**shape)
        turned = self.count @ (
            special.xlogy(self.ages**shape, self.ages)
            - special.xlogy(self.entries**shape, self.entries)
        )
        return float(self.events + shape * (self.log_ages_failed - self.events * turned / total))

    def scale_days(self, log_shape: float) -> float:
        shape = np.exp(log_shape)
        total = self.count @ (self.ages**shape - self.entries**shape)
        return float(self.unit_days * (total / self.events) ** (1 / shape))

    def crossing(self, wanted: float, end: float, best: float, *, beyond: float) -> float:
        if self.value(end) > wanted:
            return beyond
        return float(np.exp(optimize.brentq(lambda at: self.value(at) - wanted, end, best)))
