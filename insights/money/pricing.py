"""From draws of the share with a claim to counts, money and price: arithmetic, no fitting."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import stats

from insights.money.assumptions import Assumptions
from insights.money.bills import Bills
from insights.money.claims import Claims
from insights.money.renewal import Kind, claims_per_job, repeat_moments

THINNING = 4


@dataclass(frozen=True)
class TermShare:
    """What is known of one term.

    Parameters
    ----------
    share
        Estimated share of jobs with a first claim inside it.
    draws
        What the record leaves open of it, shape (size,).
    kind
        What the warranty does after a claim.
    cuts
        The share by each day from 0 to the term, for the course of claims within it.
    """

    share: float
    draws: np.ndarray
    kind: Kind
    cuts: np.ndarray

    @cached_property
    def moments(self) -> np.ndarray:
        """Room for repeats (:func:`insights.money.renewal.repeat_moments`)."""
        return repeat_moments(self.cuts) if self.kind == "non_renewing" else np.ones(1)

    @property
    def claims_per_job(self) -> float:
        """Mean claims per job, repeats included."""
        return float(claims_per_job(np.array(self.share), self.kind, self.moments))

    def first_claims(self, jobs: int, level: float) -> tuple[int, int]:
        """Bound how many of the next jobs bring a claim.

        Quantiles of the binomial count averaged over the draws: with every past job followed
        throughout, the beta-binomial prediction interval under Jeffreys' prior.
        """
        tail = (1 - level) / 2
        return self._quantile(jobs, tail), self._quantile(jobs, 1 - tail)

    @cached_property
    def _thinned(self) -> np.ndarray:
        """Every fourth draw in order of size: as good for a count's chances, and faster."""
        return np.sort(self.draws)[THINNING // 2 :: THINNING]

    def _quantile(self, jobs: int, chance: float) -> int:
        low, high = -1, jobs
        while high - low > 1:
            middle = (low + high) // 2
            reached = float(stats.binom.cdf(middle, jobs, self._thinned).mean())
            low, high = (low, middle) if reached >= chance else (middle, high)
        return high

    def all_claims(self, jobs: int, rng: np.random.Generator) -> np.ndarray:
        """Draw how many claims the next jobs bring, repeats included, shape (size,).

        Repeats on top of the first claims: none (``pro_rata``), geometric (``renewing``),
        Poisson of the right mean (``non_renewing``); with ``minimal_repair`` all claims are one
        Poisson count.
        """
        if self.kind == "minimal_repair":
            return rng.poisson(jobs * claims_per_job(self.draws, self.kind, self.moments))
        first = rng.binomial(jobs, self.draws)
        if self.kind == "pro_rata":
            return first
        if self.kind == "renewing":
            some = first > 0
            again = rng.negative_binomial(np.maximum(first, 1), 1 - self.draws)
            return first + np.where(some, again, 0)
        mean = claims_per_job(self.draws, self.kind, self.moments)
        per_first = np.divide(mean, self.draws, out=np.ones_like(mean), where=self.draws > 0)
        return first + rng.poisson(first * np.maximum(per_first - 1, 0.0))


def term_share(claims: Claims, day: float, draws: np.ndarray, kind: Kind) -> TermShare:
    """Gather what is known of one term.

    Where no claim is seen, their course is taken in line with time, and their share within the
    course from the draws; both matter only for what the draws leave open.
    """
    grid = np.arange(int(day) + 1.0)
    cuts = claims.share(grid) - claims.share([0.0])
    share = float(claims.share([day])[0])
    if not cuts[-1] > 0:
        cuts = grid / day * float(draws.mean())
    return TermShare(share, draws, kind, cuts)


def refunds_or(bills: Bills, term: TermShare, given: Assumptions) -> Bills:
    """Give what a claim costs: a part of the price under ``pro_rata``, otherwise its bill."""
    if given.kind != "pro_rata" or given.price is None:
        return bills
    days = len(term.cuts) - 1
    left = 1 - (np.arange(days) + 0.5) / days
    return Bills(given.price * left, np.diff(term.cuts) / term.cuts[-1])


def cost_bounds(
    term: TermShare, bills: Bills, jobs: int, level: float, rng: np.random.Generator
) -> tuple[float, float]:
    """Bound the cost per job of the next jobs."""
    totals = bills.totals(term.all_claims(jobs, rng), rng)
    low, high = np.quantile(totals, [(1 - level) / 2, (1 + level) / 2])
    return float(low / jobs), float(high / jobs)


def pool_loading(
    term: TermShare, bills: Bills, jobs: int, short_chance: float, rng: np.random.Generator
) -> float:
    """Find what each job must put into a pool so that it seldom falls short.

    The smallest amount with which the claims of ``jobs`` jobs exceed the pool with at most
    ``short_chance``.
    """
    totals = bills.totals(term.all_claims(jobs, rng), rng)
    return float(np.quantile(totals, 1 - short_chance, method="inverted_cdf")) / jobs
