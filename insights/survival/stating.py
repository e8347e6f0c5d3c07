"""What of a curve may be stated: inside the follow-up, with enough at risk, with bounds."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.followup import Followup
from insights.notes import Note
from insights.survival.incidence import Incidence

AT_DAYS = (90, 180, 365)
MIN_AT_RISK = 10

Bounds = Callable[
    [np.ndarray, np.ndarray, np.ndarray, np.ndarray, float], tuple[np.ndarray, np.ndarray]
]
"""share, variance, at risk, returns so far, level -> low, high."""


@dataclass(frozen=True)
class Request:
    """What every curve is asked for.

    Parameters
    ----------
    at
        Days at which to state the share, rising.
    min_at_risk
        Nothing is stated where fewer are at risk.
    level
        Confidence of the bounds.
    """

    at: tuple[float, ...]
    min_at_risk: int
    level: float


@dataclass(frozen=True)
class Measured:
    """A curve with its variance and its reach.

    Parameters
    ----------
    labels
        What it is of, by key.
    curve, variance
        The curve, and its variance on its own days.
    supported
        The last day that may be stated; NaN where there is none.
    """

    labels: dict[str, str]
    curve: Incidence
    variance: np.ndarray
    supported: float


def request(at: Sequence[float], min_at_risk: int, level: float) -> Request:
    """Check what is asked for.

    Raises
    ------
    RequestError
        A day is not above zero, ``min_at_risk`` is below 1, or ``level`` not between 0 and 1.
    """
    days = tuple(sorted({float(day) for day in at}))
    bad = [day for day in days if not 0 < day < float("inf")]
    if bad:
        raise RequestError(f"Day {bad[0]:g} can't be asked for. Give days above zero, like 180.")
    if min_at_risk < 1:
        raise RequestError(f"min_at_risk is {min_at_risk}. Give 1 or more.")
    if not 0 < level < 1:
        raise RequestError(f"The confidence level is {level}. Give one between 0 and 1, like 0.95.")
    return Request(days, int(min_at_risk), float(level))


def names(by: str | Sequence[str] | None) -> tuple[str, ...]:
    """Give the grouping columns as a tuple, whichever way they were asked for."""
    if by is None:
        return ()
    return (by,) if isinstance(by, str) else tuple(by)


def supported_days(days: np.ndarray, at_risk: np.ndarray, min_at_risk: int) -> float:
    """Find the last day up to which at least ``min_at_risk`` are always at risk.

    NaN where fewer are at risk from the outset. Days on which the clock has not begun (day 0,
    a hand-back on the data date itself) don't support anything.
    """
    running = days > 0
    days, enough = days[running], at_risk[running] >= min_at_risk
    reach = len(enough) if enough.all() else int(enough.argmin())
    return float(days[reach - 1]) if reach else float("nan")


def step_table(
    parts: Sequence[Measured], keys: Sequence[str], wanted: Request, bounds: Bounds
) -> pd.DataFrame:
    """State curves as steps, each from day 0 to its last supported day.

    Parameters
    ----------
    parts
        The curves; one without a supported day gives no row.
    keys
        Names of their labels.
    wanted, bounds
        The confidence, and how to bound.

    Returns
    -------
    pandas.DataFrame
        ``keys``, ``day``, ``at_risk``, ``returns`` (on the day), ``share``, ``low``, ``high``.
    """
    grids = []
    for part in parts:
        days = part.curve.days
        inside = days[(days > 0) & (days <= part.supported)]
        grids.append(inside if np.isnan(part.supported) else np.append(0.0, inside))
    return _state(parts, grids, keys, wanted.level, bounds)


def at_table(
    parts: Sequence[Measured], keys: Sequence[str], wanted: Request, bounds: Bounds
) -> pd.DataFrame:
    """State curves at the days asked for.

    Returns
    -------
    pandas.DataFrame
        ``keys``, ``day``, ``at_risk``, ``share``, ``low``, ``high``; the last three are missing
        where the day is not supported.
    """
    stated = _state(parts, [np.array(wanted.at)] * len(parts), keys, wanted.level, bounds)
    supported = np.repeat([part.supported for part in parts], len(wanted.at))
    beyond = ~(stated["day"].to_numpy() <= supported)
    stated.loc[beyond, ["share", "low", "high"]] = np.nan
    return stated.drop(columns="returns")


def _state(
    parts: Sequence[Measured],
    grids: Sequence[np.ndarray],
    keys: Sequence[str],
    level: float,
    bounds: Bounds,
) -> pd.DataFrame:
    """Read each curve on its own grid of days, and bound all of them at once."""
    sizes = [len(grid) for grid in grids]
    labels = {
        key: np.repeat(np.array([part.labels[key] for part in parts], dtype=object), sizes)
        for key in keys
    }
    read = [np.empty((5, 0)), *map(_read, parts, grids)]
    share, variance, so_far, returns, at_risk = np.concatenate(read, axis=1)
    day = np.concatenate([np.empty(0), *grids])
    low, high = bounds(share, variance, at_risk, so_far, level)
    begun = day > 0  # at day 0 nothing can have come back yet
    return pd.DataFrame(
        {
            **labels,
            "day": day,
            "at_risk": at_risk.astype(np.int64),
            "returns": returns.astype(np.int64),
            "share": share,
            "low": np.where(begun, low, 0.0),
            "high": np.where(begun, high, 0.0),
        }
    )


def _read(part: Measured, days: np.ndarray) -> np.ndarray:
    """Share, variance, returns so far, returns on the day, at risk: shape (5, days)."""
    curve = part.curve
    place = curve.place(days) + 1
    steps = (curve.share, part.variance, np.cumsum(curve.events), curve.events)
    at_risk = np.append(curve.at_risk, 0.0)[np.searchsorted(curve.days, days, side="left")]
    return np.stack([*(np.append(0.0, values)[place] for values in steps), at_risk])


def past_follow_up(label: str, supported: float, wanted: Request) -> tuple[Note, ...]:
    """Say which days asked for can't be stated for a group, and which is the last that can."""
    beyond = [f"{day:g}" for day in wanted.at if not day <= supported]
    if not beyond:
        return ()
    reach = "no day is" if np.isnan(supported) else f"day {supported:g} is the last that is"
    return (
        Note(
            "past_follow_up",
            f"{label}: nothing is stated for day {', '.join(beyond)}, where fewer than "
            f"{wanted.min_at_risk} jobs are still followed; {reach} supported.",
        ),
    )


def mixed_terms(followup: Followup, by: Sequence[str], wanted: Request) -> tuple[Note, ...]:
    """Say which jobs the latest day stated rests on, where others' terms end before it.

    Hazards of all jobs are chained inside their own terms. Where work of another kind gets the
    longer terms, the later days are told by other work than the earlier ones.
    """
    if followup.follow != "covered" or "term_days" in by:
        return ()
    days = followup.episodes["days"].to_numpy()
    stated = [day for day in wanted.at if (days >= day).sum() >= wanted.min_at_risk]
    if not stated:
        return ()
    day, jobs = stated[-1], len(days)
    term = followup.history.jobs["term_days"].to_numpy()[followup.episodes["job"]]
    reach = int((~(term + followup.grace_days < day)).sum())
    if reach == jobs:
        return ()
    return (
        Note(
            "terms_differ",
            f"Terms differ: {reach:,} of {jobs:,} jobs have none that ends before day {day:g}, and "
            "what happens past the shorter terms is told by these alone. If other work gets the "
            "longer terms, compare by term days.",
            reach,
        ),
    )
