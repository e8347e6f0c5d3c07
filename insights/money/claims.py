"""The claims curve: how many jobs bring a claim by the end of a term."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.followup import ENDS, Followup, select
from insights.money.bills import Bills, recorded_bills
from insights.notes import Note, counted
from insights.survival.lifetable import EVERYONE, life_table
from insights.survival.outlook import Outlook, outlook
from insights.survival.strata import strata

LONGEST_TERM = 3650
DRAWS = 4000


@dataclass(frozen=True, eq=False)
class Claims:
    """What is known of claims by term, ready for any pricing.

    Parameters
    ----------
    outlooks
        One a group of jobs, each with its weight in the mix quoted for.
    weights
        Adding up to one, shape (G,).
    arrival_days
        Mean days from the customer's report to the unit's arrival, to the half day.
    bills
        What recorded claims cost.
    mix
        The job mix in words.
    jobs, units, claims
        How many are behind it.
    data_date
        The day up to which the record is complete.
    notes
        What a reader should know.
    currency
        Of every amount; empty: not stated.
    """

    outlooks: tuple[Outlook, ...]
    weights: np.ndarray
    arrival_days: float
    bills: Bills
    mix: str
    jobs: int
    units: int
    claims: int
    data_date: pd.Timestamp
    notes: tuple[Note, ...]
    currency: str = ""

    def share(self, terms: Sequence[float] | np.ndarray) -> np.ndarray:
        """Estimate the share of jobs with a claim inside each term; NaN where not supported."""
        days = self._clock(terms)
        return self.weights @ np.array([one.share(days) for one in self.outlooks])

    def at_risk(self, term_days: float) -> int:
        """Count the jobs still followed, inside their own term, at the end of a term."""
        day = self._clock([term_days])[0]
        return sum(one.at_risk(day) for one in self.outlooks)

    def why_not(self, term_days: float) -> str:
        """Say why a term can't be quoted; empty where it can."""
        day = self._clock([term_days])[0]
        reasons = [one.why_not(day) for one in self.outlooks]
        named = zip(self.outlooks, reasons, strict=True)
        if len(self.outlooks) == 1:
            return reasons[0]
        return " ".join(f"{one.stratum.label}: {reason}" for one, reason in named if reason)

    def is_seen(self, term_days: float) -> bool:
        """Tell whether a term lies inside the follow-up, so that no model is needed."""
        day = self._clock([term_days])[0]
        return all(day <= one.seen_until for one in self.outlooks)

    def model_spread(self, terms: Sequence[float] | np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Give the lowest and highest share by any single model; NaN where none is needed."""
        spread = np.array([one.model_spread(self._clock(terms)) for one in self.outlooks])
        low, high = np.tensordot(self.weights, spread, axes=1)
        return low, high

    @property
    def longest_term(self) -> float:
        """The longest whole term that can be quoted, in days; NaN where none can."""
        reach = np.array([one.longest for one in self.outlooks]).min() - self.arrival_days
        return float(np.floor(reach)) if reach >= 1 else float("nan")

    @property
    def models(self) -> pd.DataFrame:
        """The models past the follow-up, with ``group`` before their own columns."""
        tables = [one.models.table.assign(group=one.stratum.label) for one in self.outlooks]
        return pd.concat(tables, ignore_index=True)

    @cached_property
    def _drawn(self) -> dict[tuple[tuple[float, ...], int, int], np.ndarray]:
        """Draws made before: a change of price or batch asks for the same ones again."""
        return {}

    def _clock(self, terms: Sequence[float] | np.ndarray) -> np.ndarray:
        return np.asarray(terms, dtype=float) + self.arrival_days


def claims_curve(
    followup: Followup,
    *,
    where: dict[str, tuple[str, ...]] | None = None,
    by: str | None = None,
    mix: Mapping[str, float] | None = None,
    arrival_days: float | None = None,
) -> Claims:
    """Estimate claims by term for a stated mix of jobs.

    Parameters
    ----------
    followup
        The hand-backs. ``count`` says what a claim is; with ``follow="covered"`` every job
        speaks for the days inside its own term only.
    where
        Only jobs with these values (:func:`insights.followup.select`).
    by, mix
        A column, and how many of the jobs to come have each of its values (any positive
        numbers): the curve is standardised to that mix. With ``by`` alone, the mix of the record.
    arrival_days
        Mean days from the customer's report, which decides about cover, to the unit's arrival,
        which stops the clock. None: as recorded under ``notified``; 0 where it never is.

    Returns
    -------
    Claims

    Raises
    ------
    RequestError
        A filter, column, value or number that can't be used.

    Notes
    -----
    A claim of a 90-day term is one reported by day 90, which arrives some days later: the share
    is read at the term plus the mean arrival time. A job's own record ends so many days after
    its own term, not at the end of the grace in which a late arrival is still accepted, because
    no new claim can be reported there; claims that arrive later in the grace are counted on its
    last day. So a longer term is informed only by jobs that had one.
    """
    chosen = select(followup, where=where) if where else followup
    delay = _arrival_days(chosen, arrival_days)
    clocked, moved = _inside_own_term(chosen, delay)
    keys, shares = _mix(clocked, by, mix)
    parts = [one for one in strata(life_table(clocked, keys)) if one.label in shares]
    return Claims(
        outlooks=tuple(outlook(part) for part in parts),
        weights=np.array([shares[part.label] for part in parts]),
        arrival_days=delay,
        bills=recorded_bills(clocked),
        mix=_in_words(where, by, shares),
        jobs=clocked.job_count,
        units=clocked.unit_count,
        claims=clocked.return_count,
        data_date=clocked.data_date,
        notes=(*chosen.notes, *_notes(chosen, delay, moved)),
        currency=followup.history.currency,
    )


def share_draws(
    claims: Claims, terms: Sequence[float] | np.ndarray, size: int = DRAWS, seed: int = 0
) -> np.ndarray:
    """Draw the share of jobs with a claim by each term from what the record leaves open.

    Parameters
    ----------
    claims
        The claims curve.
    terms
        Days, shape (T,).
    size
        How many draws, each one possible truth, the same over all terms.
    seed
        Of the chance.

    Returns
    -------
    numpy.ndarray
        Shape (size, T), read only; NaN where a term can't be quoted.
    """
    key = tuple(map(float, terms)), size, seed
    if key not in claims._drawn:
        rng = np.random.default_rng(seed)
        days = np.asarray(terms, dtype=float) + claims.arrival_days
        drawn = np.zeros((size, len(days)))
        for weight, one in zip(claims.weights, claims.outlooks, strict=True):
            drawn += weight * one.draws(days, size, rng)
        drawn.flags.writeable = False
        claims._drawn[key] = drawn
    return claims._drawn[key]


def claims_by_term(
    claims: Claims, terms: Sequence[float] | np.ndarray, *, level: float = 0.95, seed: int = 0
) -> pd.DataFrame:
    """Lay out the claims curve, to be drawn.

    Parameters
    ----------
    claims
        The claims curve.
    terms
        Days.
    level
        Confidence of the bounds of the share itself (not of a batch's count).
    seed
        Of the draws.

    Returns
    -------
    pandas.DataFrame
        ``term_days``, ``share``, ``low``, ``high``, ``models_low``, ``models_high`` (missing
        where seen), ``seen`` (no model is needed); numbers are missing where nothing can be
        stated.
    """
    days = check_terms(terms)
    if not 0 < level < 1:
        raise RequestError(f"The confidence level is {level}. Give one between 0 and 1, like 0.95.")
    draws = share_draws(claims, days, DRAWS, seed)
    low, high = np.quantile(draws, [(1 - level) / 2, (1 + level) / 2], axis=0)
    models_low, models_high = claims.model_spread(days)
    return pd.DataFrame(
        {
            "term_days": days.astype(np.int64),
            "share": claims.share(days),
            "low": low,
            "high": high,
            "models_low": models_low,
            "models_high": models_high,
            "seen": [claims.is_seen(day) for day in days],
        }
    )


def check_terms(terms: Sequence[float] | np.ndarray) -> np.ndarray:
    """Check terms asked for.

    Raises
    ------
    RequestError
        None is given, or one is not a whole number of days from 1 to ten years.
    """
    days = np.atleast_1d(np.asarray(terms, dtype=float))
    if not len(days):
        raise RequestError("No term is asked for. Give one or more, in days, like 90.")
    for day in days:
        if not (1 <= day <= LONGEST_TERM and day == np.floor(day)):
            raise RequestError(
                f"The term is {day:g} days. Give a whole number of days from 1 to {LONGEST_TERM}."
            )
    return days


def _arrival_days(followup: Followup, given: float | None) -> float:
    if given is not None:
        if not 0 <= given <= LONGEST_TERM:
            raise RequestError(f"arrival_days is {given}. Give zero or more days.")
        return _to_half_days(given)
    returned = _returned(followup)
    delay = (returned["received"] - returned["notified"]).dt.days.dropna()
    delay = delay[delay >= 0]
    return _to_half_days(min(delay.mean(), followup.grace_days)) if len(delay) else 0.0


def _to_half_days(days: float) -> float:
    """Round as the life table counts."""
    return round(2 * float(days)) / 2


def _returned(followup: Followup) -> pd.DataFrame:
    """Give the jobs of counted comebacks, in the order of the episodes they closed."""
    episodes = followup.episodes
    rows = episodes["return_job"][episodes["end"] == ENDS[0]]
    return followup.history.jobs[["received", "notified", "decision"]].take(rows)


def _inside_own_term(followup: Followup, delay: float) -> tuple[Followup, int]:
    """End every job's record where its own term stops informing; count the claims moved."""
    if followup.follow != "covered":
        return followup, 0
    episodes = followup.episodes
    jobs = followup.history.jobs
    term = jobs["term_days"].to_numpy()[episodes["job"]]
    last = np.where(np.isnan(term), np.inf, term + delay)
    late = episodes["days"].to_numpy() > last
    back = (episodes["end"] == ENDS[0]).to_numpy()
    owed = np.zeros(len(episodes), dtype=bool)
    owed[back] = _is_owed(followup, term[back])
    end = episodes["end"].astype(object).where(~(late & ~owed), "term")
    ended = episodes.assign(
        days=np.where(late, last, episodes["days"]),
        end=pd.Categorical(end, categories=ENDS),
        cause=episodes["cause"].where(~(late & ~owed)),
    )
    return replace(followup, episodes=ended), int((late & owed).sum())


def _is_owed(followup: Followup, term: np.ndarray) -> np.ndarray:
    """Tell which counted comebacks a term covers though they arrived after it."""
    returned = _returned(followup)
    episodes = followup.episodes
    index = episodes["job"][episodes["end"] == ENDS[0]]
    handed_back = followup.history.jobs["handed_back"].to_numpy()[index]
    reported = (returned["notified"].to_numpy() - handed_back) / np.timedelta64(1, "D")
    return (reported <= term) | (returned["decision"] == "covered").to_numpy()


def _mix(
    followup: Followup, by: str | None, mix: Mapping[str, float] | None
) -> tuple[tuple[str, ...], dict[str, float]]:
    if by is None:
        if mix is not None:
            raise RequestError("A mix is given without its column. Name the column as well.")
        return (), {EVERYONE: 1.0}
    recorded = followup.values(by).value_counts()
    wanted = dict(recorded[recorded > 0]) if mix is None else dict(mix)
    unknown = [level for level in wanted if level not in recorded.index]
    if unknown:
        raise RequestError(
            f"No job has {by} = {', '.join(map(str, unknown))}. Recorded: "
            f"{', '.join(map(str, recorded.index[:20]))}."
        )
    amounts = np.array(list(wanted.values()), dtype=float)
    if not (np.isfinite(amounts) & (amounts >= 0)).all() or not amounts.sum() > 0:
        raise RequestError("The mix must be numbers of zero or more, not all zero.")
    shares = dict(zip(wanted, amounts / amounts.sum(), strict=True))
    return (by,), {str(level): share for level, share in shares.items() if share > 0}


def _in_words(
    where: dict[str, tuple[str, ...]] | None, by: str | None, shares: Mapping[str, float]
) -> str:
    chosen = [f"{name} = {' or '.join(values)}" for name, values in (where or {}).items()]
    if by is not None:
        parts = ", ".join(f"{level} {100 * share:.0f}%" for level, share in shares.items())
        chosen.append(f"{by} mixed as {parts}")
    return "; ".join(chosen) if chosen else EVERYONE


def _notes(followup: Followup, delay: float, moved: int) -> list[Note]:
    notes = []
    if delay > 0:
        notes.append(
            Note(
                "arrival_time",
                f"Cover is decided by the day of the report, and units arrive {delay:.1f} days "
                "later on average; claims of a term are counted up to that much after it.",
            )
        )
    if moved:
        notes.append(
            Note(
                "late_arrivals",
                f"{counted(moved, 'claim')} arrived later than that after the end of the term, and "
                f"{'is' if moved == 1 else 'are'} counted at its end.",
                moved,
            )
        )
    return notes
