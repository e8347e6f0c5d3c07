"""Evidence that a part wears out, asked before renewing a sound one is called prevention."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.followup import Followup
from insights.grouping import AGE_BAND_EDGES_YEARS
from insights.notes import Note, counted
from insights.survival.weibull import WeibullFit, fit_weibull, piecewise_hazard

Clock = Literal["repair", "unit"]
Verdict = Literal["wears_out", "no_sign", "falls", "too_few"]

CLOCKS: tuple[Clock, ...] = ("repair", "unit")
FEWEST_RETURNS = 10
DAYS_PER_YEAR = 365.25
REPAIR_EDGES_DAYS = (0, 30, 90, 180, 365, 730)
METHOD = (
    "Weibull life by maximum likelihood on counts, right-censored (from the age at hand-back on, "
    "where the clock is the unit's age); limits of the shape from the profile likelihood. Beside "
    "it returns and days at risk by band of age, with exact Poisson limits."
)


@dataclass(frozen=True)
class WearEvidence:
    """Whether the rate of comebacks rises with age.

    Parameters
    ----------
    table
        By band of age: ``from_days``, ``to_days``, ``days_at_risk``, ``returns``,
        ``per_1000_days``, ``low``, ``high``.
    shape, low, high
        Weibull shape and its limits: above 1 it wears out, below 1 a new part fails more often
        than one that has proved itself; missing where too few came back.
    scale_days
        The age by which 63.2% would have failed.
    p
        Chance of a shape so far from 1 if the rate were constant.
    verdict
        ``wears_out`` or ``falls`` where the limits exclude 1, ``no_sign`` where they do not,
        ``too_few`` under 10 returns.
    clock
        ``repair``: age since the hand-back, the age of a part renewed then. ``unit``: age of
        the unit, that of a part never renewed.
    causes
        The root causes counted, empty for all.
    jobs, returns
        How many.
    method, notes
        How, and what a reader should know.
    """

    table: pd.DataFrame
    shape: float
    low: float
    high: float
    scale_days: float
    p: float
    verdict: Verdict
    clock: Clock
    causes: tuple[str, ...]
    jobs: int
    returns: int
    method: str
    notes: tuple[Note, ...]


def wear_out(
    followup: Followup,
    *,
    causes: Sequence[str] = (),
    clock: Clock = "repair",
    edges_days: Sequence[float] | None = None,
    level: float = 0.95,
) -> WearEvidence:
    """Look for a rate of comebacks that rises with age.

    Parameters
    ----------
    followup
        The episodes; narrow them with :func:`insights.followup.select`, to jobs on which the
        part was renewed for the ``repair`` clock, to jobs on which it was left for ``unit``.
    causes
        Root causes that are the part's; all where empty. Other ends stop the watch.
    clock
        Which age is meant.
    edges_days
        Ages that part the bands; sensible ones for the clock by default.
    level
        Confidence, between 0 and 1.

    Returns
    -------
    WearEvidence

    Raises
    ------
    RequestError
        An unknown clock or cause, edges that do not rise, or no unit with a known age.
    """
    if clock not in CLOCKS:
        raise RequestError(f"clock is '{clock}'. Choose one of: {', '.join(CLOCKS)}.")
    event = _events(followup, tuple(causes))
    days = followup.episodes["days"].to_numpy()
    entry = _age_at_hand_back(followup) if clock == "unit" else np.zeros(len(days))
    known = np.isfinite(entry)
    if not known.any():
        raise RequestError(
            "No job has a unit_age_years recorded, so the unit's age can't be the clock. "
            "Use the clock 'repair'."
        )
    age, entry, event = (entry + days)[known], entry[known], event[known]
    edges = _edges(edges_days, clock, float(age.max()))
    table = piecewise_hazard(age, event, edges, entry=entry, level=level)
    returns = int(event.sum())
    fit = (
        fit_weibull(age, event, entry=entry, level=level)
        if returns >= FEWEST_RETURNS
        else _unknown(len(age), returns)
    )
    verdict = _verdict(fit)
    return WearEvidence(
        table=table,
        shape=fit.shape,
        low=fit.low,
        high=fit.high,
        scale_days=fit.scale_days,
        p=fit.p,
        verdict=verdict,
        clock=clock,
        causes=tuple(causes),
        jobs=len(age),
        returns=returns,
        method=METHOD,
        notes=(*followup.notes, *_notes(verdict, clock, returns, int((~known).sum()))),
    )


def risk_ahead(
    shape: float, scale_days: float, age_days: np.ndarray | float, ahead_days: np.ndarray | float
) -> np.ndarray:
    """Give the chance that a part of a given age fails within the days ahead.

    ``(F(age + ahead) - F(age)) / (1 - F(age))`` of the Weibull life; age 0 is a new part.

    Parameters
    ----------
    shape, scale_days
        The life.
    age_days, ahead_days
        Age now, and how far ahead to look.

    Raises
    ------
    RequestError
        A shape, scale or number of days that can't be used.
    """
    age, ahead = np.asarray(age_days, dtype=float), np.asarray(ahead_days, dtype=float)
    if not (shape > 0 and scale_days > 0 and (age >= 0).all() and (ahead >= 0).all()):
        raise RequestError(
            f"A life of shape {shape} and scale {scale_days} days can't be looked ahead at age "
            f"{age_days} by {ahead_days} days. Shape and scale are above zero, days not below."
        )
    return -np.expm1((age / scale_days) ** shape - ((age + ahead) / scale_days) ** shape)


def aged_against_new(
    shape: float, scale_days: float, ages_days: Sequence[float], ahead_days: float
) -> pd.DataFrame:
    """Set parts of several ages beside a new one.

    Returns
    -------
    pandas.DataFrame
        ``age_days``, ``ahead_days``, ``aged_share``, ``new_share``, ``avoided_share``: below
        zero where the new part is the worse one.
    """
    aged = risk_ahead(shape, scale_days, np.asarray(ages_days, dtype=float), ahead_days)
    new = float(risk_ahead(shape, scale_days, 0.0, ahead_days))
    return pd.DataFrame(
        {
            "age_days": np.asarray(ages_days, dtype=float),
            "ahead_days": float(ahead_days),
            "aged_share": aged,
            "new_share": new,
            "avoided_share": aged - new,
        }
    )


def _events(followup: Followup, causes: tuple[str, ...]) -> np.ndarray:
    cause = followup.episodes["cause"]
    unknown = [name for name in causes if name not in cause.cat.categories]
    if unknown:
        recorded = ", ".join(map(str, cause.cat.categories)) or "none"
        raise RequestError(f"No comeback has root cause '{unknown[0]}'. Recorded: {recorded}.")
    if causes:
        return cause.isin(causes).to_numpy()
    return (followup.episodes["end"] == "return").to_numpy()


def _age_at_hand_back(followup: Followup) -> np.ndarray:
    years = followup.history.jobs["unit_age_years"].take(followup.episodes["job"]).to_numpy()
    return years * DAYS_PER_YEAR


def _edges(wanted: Sequence[float] | None, clock: Clock, oldest: float) -> np.ndarray:
    if wanted is not None:
        edges = np.asarray(wanted, dtype=float)
        if len(edges) < 2 or edges[0] < 0 or not (np.diff(edges) > 0).all():
            raise RequestError(f"The edges {list(wanted)} do not rise. Give two or more, rising.")
        return edges
    usual = np.array(REPAIR_EDGES_DAYS, dtype=float)
    if clock == "unit":
        usual = np.array(AGE_BAND_EDGES_YEARS) * DAYS_PER_YEAR
    return np.append(usual[usual < oldest], oldest)


def _unknown(jobs: int, returns: int) -> WeibullFit:
    nothing = float("nan")
    return WeibullFit(nothing, nothing, nothing, nothing, nothing, nothing, jobs, returns)


def _verdict(fit: WeibullFit) -> Verdict:
    if np.isnan(fit.shape):
        return "too_few"
    if fit.low > 1:
        return "wears_out"
    return "falls" if fit.high < 1 else "no_sign"


def _notes(verdict: Verdict, clock: Clock, returns: int, ageless: int) -> list[Note]:
    notes = []
    if verdict == "too_few":
        notes.append(
            Note(
                "too_few",
                f"{counted(returns, 'comeback is', 'comebacks are')} too few to tell a rising rate "
                f"from a falling one; {FEWEST_RETURNS} is the least.",
            )
        )
    if verdict == "falls":
        notes.append(
            Note(
                "mixed_units",
                "A falling rate can also come from units that differ: the weak ones come back "
                "first and the sound ones are left. Either way age gives no ground for renewing a "
                "sound part.",
            )
        )
    if clock == "unit":
        notes.append(
            Note(
                "part_age_assumed",
                "The unit's age stands for the part's; a part renewed earlier is younger.",
            )
        )
    if ageless:
        left = counted(ageless, "job without a unit_age_years is", "jobs without one are")
        notes.append(Note("no_age", f"{left} left out.", ageless))
    return notes
