"""What a practice costs on every job, and what a comeback costs in full."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from insights.errors import EvidenceError, RequestError
from insights.followup import Followup
from insights.money.bills import FEWEST_BILLS, recorded_amounts
from insights.notes import counted

MINUTES_PER_HOUR = 60


@dataclass(frozen=True)
class ComebackCost:
    """What one comeback costs the shop, on average.

    Parameters
    ----------
    mean
        Cost of an average comeback.
    se
        Standard error of that mean; 0 where it is simply assumed.
    sd
        Spread of single comebacks around it; 0 where it is simply assumed.
    comebacks
        How many recorded comebacks it is the mean of; 0 where it is assumed.
    """

    mean: float
    se: float = 0.0
    sd: float = 0.0
    comebacks: int = 0

    def __post_init__(self) -> None:
        _check_amounts(self)


@dataclass(frozen=True)
class Costs:
    """What a practice costs and earns on one job.

    Parameters
    ----------
    part_cost
        Parts used for it.
    minutes
        Bench minutes it takes.
    rate_per_hour
        What an hour at the bench costs.
    comeback
        The full cost of a comeback.
    extra_price
        What the customer pays more for a job done so.
    """

    part_cost: float
    minutes: float
    rate_per_hour: float
    comeback: ComebackCost
    extra_price: float = 0.0

    def __post_init__(self) -> None:
        _check_amounts(self)

    @property
    def labour(self) -> float:
        """Cost of the minutes."""
        return self.minutes / MINUTES_PER_HOUR * self.rate_per_hour

    @property
    def outlay(self) -> float:
        """What the practice costs on one job, less what the customer pays more."""
        return self.part_cost + self.labour - self.extra_price


def comeback_cost_from_parts(
    *,
    minutes: float = 0.0,
    rate_per_hour: float = 0.0,
    parts: float = 0.0,
    post_both_ways: float = 0.0,
    goodwill: float = 0.0,
    lost_custom: float = 0.0,
) -> ComebackCost:
    """Add up the full cost of a comeback from its parts.

    Parameters
    ----------
    minutes, rate_per_hour
        Bench time to put it right, and what an hour costs.
    parts
        Parts to put it right.
    post_both_ways
        Collection and return.
    goodwill
        What is given to the customer beyond the repair.
    lost_custom
        Future work that a comeback costs on average.

    Raises
    ------
    RequestError
        An amount is below zero or not a number.
    """
    amounts = (
        minutes / MINUTES_PER_HOUR * rate_per_hour,
        parts,
        post_both_ways,
        goodwill,
        lost_custom,
    )
    for amount in amounts:
        ComebackCost(amount)
    return ComebackCost(sum(amounts))


def comeback_cost_from_record(followup: Followup, cause: str | None = None) -> ComebackCost:
    """Average what the counted comebacks cost, as recorded under ``claim_cost``.

    Parameters
    ----------
    followup
        The episodes; each counted comeback whose job has a cost is one bill.
    cause
        Only comebacks with this root cause.

    Raises
    ------
    EvidenceError
        Too few comebacks have a cost recorded.
    """
    bills = recorded_amounts(followup, cause)
    if len(bills) < FEWEST_BILLS:
        of = "" if cause is None else f" for {cause}"
        raise EvidenceError(
            "Only " * bool(len(bills))
            + counted(
                len(bills),
                f"counted comeback{of} has its cost",
                f"counted comebacks{of} have their cost",
            )
            + f" on record, and {FEWEST_BILLS} are needed for a mean with a spread. Give the cost "
            "of a comeback yourself."
        )
    sd = float(bills.std(ddof=1))
    return ComebackCost(float(bills.mean()), sd / np.sqrt(len(bills)), sd, len(bills))


def given_or_recorded(
    amount: float | None, followup: Followup, cause: str | None = None
) -> ComebackCost:
    """Take the cost of a comeback that was given, else the record's mean.

    Parameters
    ----------
    amount
        The cost given, if one was.
    followup, cause
        As for :func:`comeback_cost_from_record`.

    Raises
    ------
    EvidenceError
        None was given, and too few comebacks have a cost recorded.
    """
    if amount is not None:
        return ComebackCost(amount)
    return comeback_cost_from_record(followup, cause)


def comeback_cost_if_recorded(followup: Followup) -> ComebackCost | None:
    """Average what the counted comebacks cost; None where too few have a cost recorded.

    For answers that stand without it, and say so.

    Parameters
    ----------
    followup
        As for :func:`comeback_cost_from_record`.
    """
    try:
        return comeback_cost_from_record(followup)
    except EvidenceError:
        return None


def _check_amounts(costs: ComebackCost | Costs) -> None:
    for field in fields(costs):
        amount = getattr(costs, field.name)
        if isinstance(amount, ComebackCost):
            continue
        if not (np.isfinite(amount) and amount >= 0):
            raise RequestError(
                f"{field.name} is {amount}. Give an amount of zero or more, in the history's "
                "currency (minutes in minutes)."
            )
