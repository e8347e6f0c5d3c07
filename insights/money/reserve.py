"""Money to hold for the jobs still inside their term."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.errors import EvidenceError, RequestError
from insights.followup import ENDS, Followup
from insights.grouping import NOT_RECORDED
from insights.money.bills import FEWEST_BILLS, Bills, recorded_bills, stated_bills
from insights.money.claims import claims_curve
from insights.money.counts import claim_chances, quantile
from insights.money.exposure import Arrivals, Exposure, arrivals, open_exposure
from insights.money.shared import SharedEffect, shared_effect
from insights.notes import Note, counted

DRAWS = 2000
MONEY_DRAWS = 20_000
BAND_DAYS = 30
MONTHS_NAME = "month of hand-back"
PAST_EVIDENCE = "past_evidence"
PARTS = ("inside the term", "past the term, inside the grace", "arrived, not settled")
METHOD = (
    "Chance of a claim given the age so far, (F(end) - F(age)) / (1 - F(age)), F by "
    "Aalen-Johansen inside the follow-up and averaged curves past it. Number of claims: "
    "Poisson-binomial, exact, averaged over draws of F (Jeffreys' beta posterior; the curves' "
    "parameters under a weak prior on shape). Money: bootstrap of the recorded bills."
)


@dataclass(frozen=True)
class ClaimCount:
    """How many claims are still to come from the open exposure.

    Parameters
    ----------
    mean
        Expected number.
    low, high
        Prediction interval.
    plug_in_low, plug_in_high
        The same with the rates taken as known: too narrow.
    none_chance
        Chance that not one comes.
    chances
        Chance of 0, 1, 2, ... claims.
    """

    mean: float
    low: int
    high: int
    plug_in_low: int
    plug_in_high: int
    none_chance: float
    chances: np.ndarray


@dataclass(frozen=True)
class Reserve:
    """Money to hold.

    Parameters
    ----------
    expected, p90, p99
        Money for claims to come and those not settled: expected, enough in nine of ten cases,
        enough in ninety-nine of a hundred. NaN where no cost of a claim is known.
    claims
        Claims still to arrive.
    months
        One row a calendar month: ``month``, ``expected`` (money), ``claims`` that arrive in it.
        Unsettled ones fall in the first.
    open
        One row per term and band of age: ``term_days``, ``age_from_days``, ``age_to_days``,
        ``jobs``, ``claims``, ``expected``.
    parts
        What the total is made of: ``part``, ``jobs``, ``claims``, ``expected``.
    shared
        What the jobs of one month or lot share, where the record shows it.
    mean_claim_cost, bills
        Mean cost of a claim, and how many recorded claims it rests on (0: stated by the owner).
    ahead_days
        Only claims that arrive within so many days; NaN: all.
    level
        Chance that the number of claims lies inside its interval.
    data_date
        The day it is for.
    jobs
        Hand-backs open to a claim.
    method, notes
        How, and what a reader should know.
    currency
        Of every amount; empty: not stated.
    """

    expected: float
    p90: float
    p99: float
    claims: ClaimCount
    months: pd.DataFrame
    open: pd.DataFrame
    parts: pd.DataFrame
    shared: SharedEffect | None
    mean_claim_cost: float
    bills: int
    ahead_days: float
    level: float
    data_date: pd.Timestamp
    jobs: int
    method: str
    notes: tuple[Note, ...]
    currency: str = ""


def reserve(
    followup: Followup,
    *,
    claim_cost: float | Sequence[float] | None = None,
    level: float = 0.90,
    ahead_days: float | None = None,
    share_groups: bool = True,
    size: int = DRAWS,
    seed: int = 0,
) -> Reserve:
    """Work out what to hold for every hand-back still open to a claim.

    Parameters
    ----------
    followup
        The hand-backs. ``count`` says what a claim is.
    claim_cost
        Cost of a claim, or several equally likely ones; None: as recorded under ``claim_cost``.
    level
        Chance that the number of claims lies inside its interval.
    ahead_days
        Count only claims that arrive within so many days of the data date; None: all.
    share_groups
        Let jobs of one month, or of one lot, share a factor where the record shows that they do.
    size, seed
        Number of draws of the claims curve, and of which chance.

    Returns
    -------
    Reserve

    Raises
    ------
    RequestError
        A cost, level or number of days that can't be used.
    EvidenceError
        The record is too small, or holds no term.

    Notes
    -----
    A job can bring one claim here: after it, the unit's next hand-back has its own row. Money
    falls in the month in which the claim arrives. A job whose term runs past what the record
    carries is reserved up to there, and a note says how many.
    """
    _check(level, ahead_days, size)
    claims = claims_curve(followup)
    bills = recorded_bills(followup) if claim_cost is None else stated_bills(claim_cost)
    terms = followup.history.jobs["term_days"].to_numpy()[followup.episodes["job"]]
    if not (terms > 0).any():
        raise EvidenceError(
            "No job has a warranty term above zero recorded, so nothing is owed on any. Record "
            "each job's term."
        )
    curve = arrivals(followup, claims, np.nanmax(terms), size, seed)
    shared, codes = _shared(followup, curve) if share_groups else (None, None)
    exposure = open_exposure(followup, codes)
    ahead = np.inf if ahead_days is None else float(ahead_days)
    rng = np.random.default_rng(seed)
    count = _count(exposure, curve, shared, ahead, level, rng)
    unsettled = len(unsettled_visits(followup))
    p90, p99 = _money(count, unsettled, bills, rng)
    return Reserve(
        expected=(count.mean + unsettled) * bills.mean,
        p90=p90,
        p99=p99,
        claims=count,
        months=_months(exposure, curve, shared, followup, ahead, unsettled, bills),
        open=_open(exposure, _claims(exposure, curve, shared, ahead), bills),
        parts=_parts(exposure, _claims(exposure, curve, shared, ahead), unsettled, bills),
        shared=shared,
        mean_claim_cost=bills.mean,
        bills=bills.recorded,
        ahead_days=float("nan") if ahead_days is None else ahead,
        level=level,
        data_date=followup.data_date,
        jobs=int(exposure.groups["jobs"].sum()),
        method=METHOD,
        notes=(*claims.notes, *_notes(exposure, curve, shared, bills)),
        currency=claims.currency,
    )


def _check(level: float, ahead_days: float | None, size: int) -> None:
    if not 0 < level < 1:
        raise RequestError(f"The level is {level}. Give a chance between 0 and 1, like 0.9.")
    if ahead_days is not None and not ahead_days >= 1:
        raise RequestError(f"ahead_days is {ahead_days}. Give one day or more.")
    if size < 2:
        raise RequestError(f"The number of draws is {size}. Give 2 or more, like {DRAWS}.")


def _shared(followup: Followup, curve: Arrivals) -> tuple[SharedEffect | None, np.ndarray | None]:
    """Find what groups of jobs share: hand-back months, or lots, whichever differ most."""
    episodes = followup.episodes
    back = (episodes["end"] == ENDS[0]).to_numpy()
    term = followup.history.jobs["term_days"].to_numpy()[episodes["job"]]
    term = np.where(np.isnan(term), np.inf, term)
    none = np.zeros(len(episodes))
    chance = curve.chance(term, none, episodes["days"].to_numpy())
    # Where every job came back, nobody is left to have a hazard: half a job stands for that.
    hazard = -np.log1p(-np.minimum(chance, 1 - 0.5 / len(episodes)))
    found = []
    names = {"month": MONTHS_NAME} | {
        f"lot_{part}": f"lot of {part}" for part in followup.history.lots
    }
    for column, name in names.items():
        groups = followup.values(column)
        known = (groups != NOT_RECORDED).to_numpy()
        effect = shared_effect(name, groups, back & known, hazard * known)
        if effect is not None:
            found.append((effect.evidence, column, effect))
    if not found:
        return None, None
    _, column, effect = max(found, key=lambda one: one[0])
    return effect, followup.values(column).cat.codes.to_numpy()


def _claims(
    exposure: Exposure, curve: Arrivals, shared: SharedEffect | None, days: float
) -> np.ndarray:
    """Expect claims of each group of the exposure within so many days."""
    chance = curve.chance(exposure.column("term_days"), exposure.column("age_days"), days)
    factor = None if shared is None else shared.mean()
    return exposure.column("jobs") * _scaled(chance, exposure, factor)


def _scaled(chance: np.ndarray, exposure: Exposure, factor: np.ndarray | None) -> np.ndarray:
    if factor is None:
        return chance
    return 1 - (1 - chance) ** factor[..., exposure.groups["group"].to_numpy()]


def _count(
    exposure: Exposure,
    curve: Arrivals,
    shared: SharedEffect | None,
    days: float,
    level: float,
    rng: np.random.Generator,
) -> ClaimCount:
    term, age, jobs = (exposure.column(name) for name in ("term_days", "age_days", "jobs"))
    drawn = curve.chance(term, age, days, drawn=True)
    factor = None if shared is None else shared.draws(len(drawn), rng)
    found = claim_chances(_scaled(drawn, exposure, factor), jobs)
    mean = _claims(exposure, curve, shared, days)
    known = claim_chances(mean / np.maximum(jobs, 1), jobs)
    tail = (1 - level) / 2
    return ClaimCount(
        mean=float(mean.sum()),
        low=quantile(found, tail),
        high=quantile(found, 1 - tail),
        plug_in_low=quantile(known, tail),
        plug_in_high=quantile(known, 1 - tail),
        none_chance=float(found[0]),
        chances=found,
    )


def unsettled_visits(followup: Followup) -> np.ndarray:
    """Find comebacks arrived whose cost is still to come: undecided, or still on the bench.

    Returns
    -------
    numpy.ndarray
        Rows of the history.
    """
    episodes = followup.episodes
    rows = episodes["return_job"][episodes["end"] == ENDS[0]].to_numpy()
    jobs = followup.history.jobs.take(rows)
    on_bench = ~(jobs["handed_back"].fillna(jobs["ended_on"]) <= followup.data_date)
    refused = jobs["decision"].isin(["charged", "declined"])
    waiting = on_bench | (jobs["decision"] == "pending")
    return rows[(waiting & ~refused & jobs["claim_cost"].isna()).to_numpy()]


def _money(
    count: ClaimCount, unsettled: int, bills: Bills, rng: np.random.Generator
) -> tuple[float, float]:
    if bills.empty:
        return float("nan"), float("nan")
    to_come = rng.choice(len(count.chances), MONEY_DRAWS, p=count.chances)
    p90, p99 = np.quantile(bills.totals(to_come + unsettled, rng), [0.90, 0.99])
    return float(p90), float(p99)


def _months(
    exposure: Exposure,
    curve: Arrivals,
    shared: SharedEffect | None,
    followup: Followup,
    ahead: float,
    unsettled: int,
    bills: Bills,
) -> pd.DataFrame:
    left = exposure.column("term_days") + followup.grace_days - exposure.column("age_days")
    last = min(float(left.max(initial=1.0)), ahead)
    start = followup.data_date
    months = pd.period_range(
        start + pd.Timedelta(days=1), start + pd.Timedelta(days=int(np.ceil(last))), freq="M"
    )
    ends = np.minimum((months.end_time.normalize() - start).days.to_numpy(), ahead)
    reached = [_claims(exposure, curve, shared, days).sum() for days in ends]
    claims = np.diff(np.append(0.0, reached))
    due = claims + np.append(unsettled, np.zeros(len(claims) - 1))
    return pd.DataFrame(
        {"month": months.astype(str), "expected": due * bills.mean, "claims": claims}
    )


def _open(exposure: Exposure, claims: np.ndarray, bills: Bills) -> pd.DataFrame:
    groups = exposure.groups.assign(claims=claims)
    groups["age_from_days"] = (groups["age_days"] // BAND_DAYS * BAND_DAYS).astype(np.int64)
    summed = (
        groups.astype({"term_days": np.int64})
        .groupby(["term_days", "age_from_days"])[["jobs", "claims"]]
        .sum()
        .reset_index()
    )
    summed.insert(2, "age_to_days", summed["age_from_days"] + BAND_DAYS - 1)
    return summed.assign(expected=summed["claims"] * bills.mean)


def _parts(exposure: Exposure, claims: np.ndarray, unsettled: int, bills: Bills) -> pd.DataFrame:
    late = exposure.column("age_days") >= exposure.column("term_days")
    jobs = exposure.groups["jobs"].to_numpy()
    table = pd.DataFrame(
        {
            "part": list(PARTS),
            "jobs": [int(jobs[~late].sum()), int(jobs[late].sum()), unsettled],
            "claims": [claims[~late].sum(), claims[late].sum(), float(unsettled)],
        }
    )
    return table.assign(expected=table["claims"] * bills.mean)


def _notes(
    exposure: Exposure, curve: Arrivals, shared: SharedEffect | None, bills: Bills
) -> list[Note]:
    notes = []
    jobs, term = exposure.groups["jobs"], exposure.column("term_days")
    beyond = int(jobs[term + curve.claims.arrival_days > curve.reach + 0.5].sum())
    if beyond:
        notes.append(
            Note(
                PAST_EVIDENCE,
                f"{counted(beyond, 'open job has', 'open jobs have')} a term longer than the "
                f"record carries. Money is held up to day {curve.reach:g} after hand-back; what "
                "comes later is not included, so hold more.",
                beyond,
            )
        )
    if exposure.termless:
        notes.append(
            Note(
                "no_term_open",
                f"{counted(exposure.termless, 'job still out has', 'jobs still out have')} no "
                "warranty term recorded; nothing is held for such jobs.",
                exposure.termless,
            )
        )
    if shared is not None:
        notes.append(
            Note(
                "shared_effect",
                f"Claims differ by {shared.name} more than chance (a spread of "
                f"{100 * shared.spread:.0f}%). Each one's own record counts, and the interval "
                "allows for those without a record.",
            )
        )
    if bills.empty:
        notes.append(
            Note(
                "no_costs",
                f"Fewer than {FEWEST_BILLS} claims have their cost on record, so no money is "
                "stated. Give the cost of a claim.",
            )
        )
    return notes
