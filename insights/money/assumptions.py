"""What the owner assumes in a quote: costs, kind of warranty, what-if offers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from insights.errors import RequestError
from insights.money.bills import stated_bills
from insights.money.claims import check_terms
from insights.money.renewal import KINDS, Kind

MOST_JOBS = 1_000_000

USUAL_TERMS = (30, 90, 180, 365, 730)
"""Terms quoted where none is named, in days."""


@dataclass(frozen=True)
class Assumptions:
    """What the owner assumes in a quote.

    Parameters
    ----------
    claim_cost
        Cost of a claim, or several equally likely ones; None: as recorded under ``claim_cost``.
    batch
        How many jobs the prediction interval is for.
    kind
        What the warranty does after a claim (:func:`insights.money.renewal.claims_per_job`).
    price
        Price of the job, of which a ``pro_rata`` warranty refunds a part.
    pool_jobs, short_pool_chance
        The loading keeps the chance that a pool of so many jobs falls short at most there.
    admin_cost
        What a warranty costs besides claims, per job.
    level
        Chance that the next batch lies inside the interval.
    seed
        Of the draws; the same seed gives the same quote.
    """

    claim_cost: float | tuple[float, ...] | None = None
    batch: int = 1000
    kind: Kind = "non_renewing"
    price: float | None = None
    pool_jobs: int = 100
    short_pool_chance: float = 0.10
    admin_cost: float = 0.0
    level: float = 0.90
    seed: int = 0

    def __post_init__(self) -> None:
        for name in ("batch", "pool_jobs"):
            jobs = getattr(self, name)
            if not (1 <= jobs <= MOST_JOBS and jobs == int(jobs)):
                raise RequestError(f"{name} is {jobs}. Give a whole number of jobs from 1 on.")
        for name in ("short_pool_chance", "level"):
            if not 0 < getattr(self, name) < 1:
                raise RequestError(
                    f"{name} is {getattr(self, name)}. Give a chance between 0 and 1, like 0.9."
                )
        for name in ("price", "admin_cost"):
            amount = getattr(self, name)
            if amount is not None and not (np.isfinite(amount) and amount >= 0):
                raise RequestError(f"{name} is {amount}. Give an amount of zero or more.")
        if self.kind not in KINDS:
            raise RequestError(f"kind is '{self.kind}'. Choose one of: {', '.join(KINDS)}.")
        if self.kind == "pro_rata" and self.price is None:
            raise RequestError("A pro-rata refund is a part of the price. Give the price.")
        if self.claim_cost is not None:
            stated_bills(self.claim_cost)


@dataclass(frozen=True)
class Offer:
    """What the owner thinks would happen at a price: a what-if, not an estimate.

    Parameters
    ----------
    term_days
        The warranty's term.
    price
        What the customer would pay for it.
    uptake
        Share of customers who would take it.
    """

    term_days: float
    price: float
    uptake: float

    def __post_init__(self) -> None:
        check_terms([self.term_days])
        if not (np.isfinite(self.price) and self.price >= 0):
            raise RequestError(f"The price is {self.price}. Give an amount of zero or more.")
        if not 0 <= self.uptake <= 1:
            raise RequestError(f"The uptake is {self.uptake}. Give a share between 0 and 1.")
