"""What a warranty of each term costs, how surely, and what to charge for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import pandas as pd

from insights.errors import RequestError
from insights.followup import Followup
from insights.money.assumptions import Assumptions, Offer
from insights.money.bills import FEWEST_BILLS, Bills, stated_bills
from insights.money.claims import DRAWS, Claims, check_terms, claims_curve, share_draws
from insights.money.pricing import (
    TermShare,
    cost_bounds,
    pool_loading,
    refunds_or,
    term_share,
)
from insights.notes import Note
from insights.survival.stating import AT_DAYS

MONEY = ("cost_per_job", "cost_low", "cost_high", "loading")
STATED = ("claims_per_100", "low", "high", "repeats_per_100", *MONEY)
COLUMNS = (
    "term_days",
    *STATED,
    "models_low",
    "models_high",
    "at_risk",
    "supported",
    "why_not",
)
METHOD = (
    "Share with a claim: Aalen-Johansen inside the follow-up, each job inside its own term; past "
    "it Weibull, lognormal, log-logistic and never-returns curves averaged by Akaike weights. "
    "Prediction interval for the next batch: binomial counts over draws of the share (Jeffreys' "
    "beta posterior, the curves' parameters under a weak prior on shape). Repeat claims by renewal "
    "theory. Costs: bootstrap of the recorded bills."
)


@dataclass(frozen=True)
class Quote:
    """What each term costs.

    Parameters
    ----------
    table
        One row a term: ``term_days``; ``claims_per_100`` (jobs with a claim, of 100), ``low``,
        ``high`` (prediction interval for the next batch, of 100 jobs); ``models_low``,
        ``models_high`` (single models, where the term lies past the follow-up);
        ``repeats_per_100`` (further claims by the same jobs); ``cost_per_job``, ``cost_low``,
        ``cost_high`` (for the next batch); ``loading`` (what each job's price must carry, admin
        included, to keep the pool's chance of falling short); ``at_risk`` (jobs still followed
        inside their own term); ``supported``; ``why_not`` (why nothing is stated).
    offers
        One row an offer: ``term_days``, ``price``, ``uptake``, ``margin_per_100`` (per 100
        customers asked), ``margin_low``, ``margin_high``.
    longest_term
        The longest term that the record carries, in days; NaN where none.
    longest_term_for_target
        The longest term that meets the target; 0 where none does, NaN where none was set.
    best_term_for_margin
        The offered term with the best margin; NaN without offers or costs.
    assumptions
        What the owner assumed.
    mean_claim_cost, bills
        Mean cost of a claim, and how many recorded claims it rests on (0: stated by the owner).
    mix, jobs, units, claims
        The jobs behind it.
    data_date
        The day up to which the record is complete.
    method, notes
        How, and what a reader should know.
    currency
        Of every amount; empty: not stated.
    """

    table: pd.DataFrame
    offers: pd.DataFrame
    longest_term: float
    longest_term_for_target: float
    best_term_for_margin: float
    assumptions: Assumptions
    mean_claim_cost: float
    bills: int
    mix: str
    jobs: int
    units: int
    claims: int
    data_date: pd.Timestamp
    method: str
    notes: tuple[Note, ...]
    currency: str = ""


def quote_warranty(
    source: Followup | Claims,
    terms: Sequence[float] = AT_DAYS,
    *,
    offers: Sequence[Offer] = (),
    target_rate: float | None = None,
    target_cost: float | None = None,
    assumptions: Assumptions | None = None,
    **assumed: object,
) -> Quote:
    """Quote a warranty by term.

    Parameters
    ----------
    source
        The hand-backs, or their :func:`insights.money.claims.claims_curve`, which can be kept
        while prices and assumptions change: nothing is fitted again.
    terms
        In days.
    offers
        What-if prices and uptakes, to find the term with the best margin.
    target_rate, target_cost
        Find the longest term whose share of jobs with a claim, or cost per job, is at most this.
    assumptions, **assumed
        :class:`Assumptions`, or single ones by name.

    Returns
    -------
    Quote

    Raises
    ------
    RequestError
        A term, cost, price, target or assumption that can't be used.
    """
    days = check_terms(terms)
    given = _assumptions(assumptions, assumed)
    _check_target(target_rate, target_cost)
    claims = source if isinstance(source, Claims) else claims_curve(source)
    bills = claims.bills if given.claim_cost is None else stated_bills(given.claim_cost)
    table = _table(claims, days, bills, given)
    offered_days = np.array(sorted({offer.term_days for offer in offers}))
    offered = _offers(offers, _table(claims, offered_days, bills, given), given.admin_cost)
    return Quote(
        table=table,
        offers=offered,
        longest_term=claims.longest_term,
        longest_term_for_target=_longest_for(claims, bills, given, target_rate, target_cost),
        best_term_for_margin=_best_term(offered),
        assumptions=given,
        mean_claim_cost=bills.mean,
        bills=bills.recorded,
        mix=claims.mix,
        jobs=claims.jobs,
        units=claims.units,
        claims=claims.claims,
        data_date=claims.data_date,
        method=METHOD,
        notes=(*claims.notes, *_notes(claims, table, bills, given)),
        currency=claims.currency,
    )


def _assumptions(given: Assumptions | None, assumed: dict[str, object]) -> Assumptions:
    known = [field.name for field in fields(Assumptions)]
    unknown = [name for name in assumed if name not in known]
    if unknown:
        raise RequestError(f"Unknown assumption '{unknown[0]}'. Known: {', '.join(known)}.")
    cost = assumed.get("claim_cost")
    if isinstance(cost, Sequence | np.ndarray):
        assumed = {**assumed, "claim_cost": tuple(float(one) for one in cost)}
    return replace(given or Assumptions(), **assumed)  # type: ignore[arg-type]


def _check_target(rate: float | None, cost: float | None) -> None:
    if rate is not None and not 0 < rate < 1:
        raise RequestError(f"The target rate is {rate}. Give a share between 0 and 1, like 0.05.")
    if cost is not None and not (np.isfinite(cost) and cost > 0):
        raise RequestError(f"The target cost is {cost}. Give an amount above zero.")


def _table(claims: Claims, days: np.ndarray, bills: Bills, given: Assumptions) -> pd.DataFrame:
    models_low, models_high = claims.model_spread(days)
    rows = []
    for place, day in enumerate(days):
        why_not = claims.why_not(day)
        stated = dict.fromkeys(STATED, float("nan"))
        if not why_not:
            # Each term is drawn by itself: what it costs can't hang on what else is asked.
            draws = share_draws(claims, [day], DRAWS, given.seed)[:, 0]
            term = term_share(claims, day, draws, given.kind)
            stated |= _stated(term, refunds_or(bills, term, given), given)
        rows.append(
            {
                "term_days": int(day),
                **stated,
                "models_low": 100 * models_low[place],
                "models_high": 100 * models_high[place],
                "at_risk": claims.at_risk(day),
                "supported": not why_not,
                "why_not": _with_longest(why_not, claims),
            }
        )
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _stated(term: TermShare, bills: Bills, given: Assumptions) -> dict[str, float]:
    low, high = term.first_claims(given.batch, given.level)
    stated = {
        "claims_per_100": 100 * term.share,
        "low": 100 * low / given.batch,
        "high": 100 * high / given.batch,
        "repeats_per_100": 100 * (term.claims_per_job - term.share),
    }
    if bills.empty:
        return stated
    rng = np.random.default_rng(given.seed)
    cost_low, cost_high = cost_bounds(term, bills, given.batch, given.level, rng)
    loading = pool_loading(term, bills, given.pool_jobs, given.short_pool_chance, rng)
    return stated | {
        "cost_per_job": term.claims_per_job * bills.mean,
        "cost_low": cost_low,
        "cost_high": cost_high,
        "loading": loading + given.admin_cost,
    }


def _with_longest(why_not: str, claims: Claims) -> str:
    if not why_not or np.isnan(claims.longest_term):
        return why_not
    return f"{why_not} The longest term that can be quoted is {claims.longest_term:g} days."


def _offers(offers: Sequence[Offer], table: pd.DataFrame, admin_cost: float) -> pd.DataFrame:
    asked = pd.DataFrame(
        [(offer.term_days, offer.price, offer.uptake) for offer in offers],
        columns=["term_days", "price", "uptake"],
    ).astype({"term_days": np.int64, "price": float, "uptake": float})
    costs = table[["term_days", *MONEY]].astype(dict.fromkeys(MONEY, float))
    joined = asked.merge(costs, on="term_days", how="left")
    earned = joined["price"] - admin_cost
    per_100 = 100 * joined["uptake"]
    return asked.assign(
        margin_per_100=per_100 * (earned - joined["cost_per_job"]),
        margin_low=per_100 * (earned - joined["cost_high"]),
        margin_high=per_100 * (earned - joined["cost_low"]),
    )


def _best_term(offers: pd.DataFrame) -> float:
    known = offers.dropna(subset="margin_per_100")
    if known.empty:
        return float("nan")
    return float(known["term_days"].loc[known["margin_per_100"].idxmax()])


def _longest_for(
    claims: Claims, bills: Bills, given: Assumptions, rate: float | None, cost: float | None
) -> float:
    """Halve the terms down to the longest whole one that meets the target."""
    if (rate is None and cost is None) or np.isnan(claims.longest_term):
        return float("nan")
    if cost is not None and bills.empty and given.kind != "pro_rata":
        return float("nan")

    def meets(day: float) -> bool:
        share = claims.share([day])
        if rate is not None and share[0] > rate:
            return False
        if cost is None or share[0] == 0:
            return True
        term = term_share(claims, day, share, given.kind)
        return term.claims_per_job * refunds_or(bills, term, given).mean <= cost

    low, high = 0.0, claims.longest_term + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if meets(middle) else (low, middle)
    return low


def _notes(claims: Claims, table: pd.DataFrame, bills: Bills, given: Assumptions) -> list[Note]:
    notes = []
    past = table["supported"] & table["models_low"].notna()
    if past.any():
        terms = ", ".join(map(str, table["term_days"][past]))
        notes.append(
            Note(
                "past_follow_up",
                f"Day {terms} lies past what was seen; curves that fit the record are carried on. "
                "A longer term itself brings more claims, which no record of shorter terms shows.",
            )
        )
    if not claims.claims:
        notes.append(
            Note(
                "no_claims",
                "No claim was ever seen. The estimate is zero, but the intervals and the loading "
                "reach as far as so few jobs leave open.",
            )
        )
    if bills.empty and given.kind != "pro_rata":
        notes.append(
            Note(
                "no_costs",
                f"Fewer than {FEWEST_BILLS} claims have their cost on record, so no costs are "
                "stated. Give the cost of a claim.",
            )
        )
    return notes
