"""Kinds of lifetime distribution, and their likelihood for counts of lifetimes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import special, stats

from insights.errors import RequestError


@dataclass(frozen=True)
class Observed:
    """What is known of lifetimes, alike ones counted together.

    Parameters
    ----------
    lower, upper
        The lifetime lies in (lower, upper], shape (C,): an infinite ``upper`` is a right
        censoring, ``upper == lower`` an exact time.
    jobs
        How many are alike, shape (C,).
    entry
        The age from which they were watched (0: from the outset), shape (C,). Only lifetimes
        beyond it could be seen: left truncation.
    """

    lower: np.ndarray
    upper: np.ndarray
    jobs: np.ndarray
    entry: np.ndarray

    def __post_init__(self) -> None:
        ended = np.where(np.isinf(self.upper), self.lower, self.upper)
        known = np.isfinite(self.lower) & np.isfinite(ended) & np.isfinite(self.entry)
        if not (known & (self.lower >= 0) & (self.upper >= self.lower) & (ended > 0)).all():
            raise RequestError(
                "A lifetime is missing, negative or ends before it begins. Give days above zero."
            )
        if not ((self.entry >= 0) & (self.entry < ended)).all():
            raise RequestError(
                "A lifetime ends on or before the day from which it was watched. Leave it out, or "
                "correct its entry."
            )

    @property
    def events(self) -> float:
        """How many lifetimes were seen to end."""
        return float(self.jobs[np.isfinite(self.upper)].sum())


def exact_times(
    days: np.ndarray,
    event: np.ndarray,
    jobs: np.ndarray | None = None,
    entry: np.ndarray | None = None,
) -> Observed:
    """Take times as exact.

    Parameters
    ----------
    days, event
        Each time, and whether the lifetime ended then (otherwise it is censored), shape (C,).
    jobs, entry
        As in :class:`Observed`; one each, from the outset, where left out.
    """
    days = np.asarray(days, dtype=float)
    upper = np.where(np.asarray(event, dtype=bool), days, np.inf)
    return Observed(days, upper, *_defaults(len(days), jobs, entry))


def whole_days(
    days: np.ndarray,
    event: np.ndarray,
    jobs: np.ndarray | None = None,
    entry: np.ndarray | None = None,
) -> Observed:
    """Take times as whole days: day 30 lies in (29, 30], the same day (0.5) in (0, 0.5].

    So the fitted share by day 30 means the same as Kaplan and Meier's: day 30 included.
    Censorings on the day of hand-back (0) tell nothing and are left out.
    """
    days = np.asarray(days, dtype=float)
    event = np.asarray(event, dtype=bool)
    before = np.maximum(days - 1, 0.0)
    lower, upper = np.where(event, before, days), np.where(event, days, np.inf)
    jobs, entry = _defaults(len(days), jobs, entry)
    tells = (days > 0) & (jobs > 0)
    return Observed(lower[tells], upper[tells], jobs[tells], entry[tells])


def _defaults(
    size: int, jobs: np.ndarray | None, entry: np.ndarray | None
) -> tuple[np.ndarray, np.ndarray]:
    jobs = np.ones(size) if jobs is None else np.asarray(jobs, dtype=float)
    return jobs, np.zeros(size) if entry is None else np.asarray(entry, dtype=float)


@dataclass(frozen=True)
class Family:
    """A kind of lifetime distribution: a straight line in log time on its own scale.

    Parameters
    ----------
    name
        As shown.
    log_stay, log_slope
        Log survival, and log of its negative slope, of the standard distribution on log time.
    level_at
        Which level gives a share back.
    usual_log_shape
        Log shape at which the share rises in step with time while about 4 in 100 are back; the
        centre of the weak prior.
    cure
        Whether a part of the units never returns.
    """

    name: str
    log_stay: Callable[[np.ndarray], np.ndarray]
    log_slope: Callable[[np.ndarray], np.ndarray]
    level_at: Callable[[float], float]
    usual_log_shape: float = 0.0
    cure: bool = False

    @property
    def size(self) -> int:
        """How many parameters."""
        return 3 if self.cure else 2


def _log_one_minus_cdf(z: np.ndarray) -> np.ndarray:
    return special.log_ndtr(-z)


def _weibull_log_stay(z: np.ndarray) -> np.ndarray:
    return -np.exp(np.minimum(z, 700.0))


def _weibull_level(share: float) -> float:
    return float(np.log(-np.log1p(-share)))


# At 4 in 100 back the normal distribution's log share rises 2.15 per standard deviation, so the
# lognormal needs a shape of 1 / 2.15 to rise in step with time.
LOGNORMAL_SHAPE = float(0.04 / stats.norm.pdf(stats.norm.ppf(0.04)))

WEIBULL = Family("Weibull", _weibull_log_stay, lambda z: z + _weibull_log_stay(z), _weibull_level)
LOGNORMAL = Family(
    "lognormal",
    _log_one_minus_cdf,
    lambda z: -(z**2) / 2 - np.log(2 * np.pi) / 2,
    lambda share: float(special.ndtri(share)),
    float(np.log(LOGNORMAL_SHAPE)),
)
LOG_LOGISTIC = Family(
    "log-logistic",
    lambda z: -np.logaddexp(0.0, z),
    lambda z: z - 2 * np.logaddexp(0.0, z),
    lambda share: float(special.logit(share)),
)
NEVER_RETURNS = Family(
    "never-returns mixture",
    WEIBULL.log_stay,
    WEIBULL.log_slope,
    WEIBULL.level_at,
    cure=True,
)
FAMILIES = (WEIBULL, LOGNORMAL, LOG_LOGISTIC, NEVER_RETURNS)


@dataclass(frozen=True)
class Likelihood:
    """Log likelihood of one family for what was observed.

    The parameters are ``level`` (the standard scale's value at the anchor day), the log of the
    shape, and for a mixture the log odds of ever returning. Level and shape at a day inside the
    follow-up are nearly independent, where location and scale are not.

    Parameters
    ----------
    family, observed
        What to fit, to what.
    anchor
        The day at which the level is taken.
    """

    family: Family
    observed: Observed
    anchor: float

    def __call__(self, theta: np.ndarray) -> np.ndarray:
        """Give the log likelihood of each parameter vector, shape (..., p) -> (...)."""
        total = np.zeros(theta.shape[:-1])
        for kind, times, jobs in self._parts:
            total = total + self._contribution(kind, theta, times) @ jobs
        return total

    def log_stay(self, theta: np.ndarray, days: np.ndarray) -> np.ndarray:
        """Give the log chance of no return by each day, shape (..., p) x (D,) -> (..., D)."""
        return self._log_stay(theta, _log(days / self.anchor))

    @cached_property
    def _parts(self) -> list[tuple[str, np.ndarray, np.ndarray]]:
        """Lay out the lifetimes by what is known of them: kind, log times, weights."""
        seen = self.observed
        lower, upper, entry = (
            _log(days / self.anchor) for days in (seen.lower, seen.upper, seen.entry)
        )
        ended = np.isfinite(seen.upper)
        exact = ended & (seen.upper == seen.lower)
        between = ended & ~exact
        late = seen.entry > 0
        parts = [
            ("stays", lower[~ended], seen.jobs[~ended]),
            ("stays", entry[late], -seen.jobs[late]),
            ("between", np.append(lower[between], upper[between]), seen.jobs[between]),
            ("exact", lower[exact], seen.jobs[exact]),
        ]
        return [part for part in parts if len(part[1])]

    def _contribution(self, kind: str, theta: np.ndarray, log_time: np.ndarray) -> np.ndarray:
        if kind == "stays":
            return self._log_stay(theta, log_time)
        scale = self._scale(theta, log_time)
        returning = special.log_expit(theta[..., 2:3]) if self.family.cure else 0.0
        if kind == "exact":
            per_day = theta[..., 1:2] - log_time - np.log(self.anchor)
            return self.family.log_slope(scale) + per_day + returning
        stays = self.family.log_stay(scale)
        half = stays.shape[-1] // 2
        before, after = stays[..., :half], stays[..., half:]
        return before + _log(-np.expm1(after - before)) + returning

    def _log_stay(self, theta: np.ndarray, log_time: np.ndarray) -> np.ndarray:
        log_stay = self.family.log_stay(self._scale(theta, log_time))
        if not self.family.cure:
            return log_stay
        return np.log1p(special.expit(theta[..., 2:3]) * np.expm1(log_stay))

    def _scale(self, theta: np.ndarray, log_time: np.ndarray) -> np.ndarray:
        return theta[..., 0:1] + np.exp(theta[..., 1:2]) * log_time


def _log(values: np.ndarray) -> np.ndarray:
    """Take logs, minus infinity at zero."""
    with np.errstate(divide="ignore"):
        return np.log(values)
