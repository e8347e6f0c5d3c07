"""What single claims cost, as recorded or as stated."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from insights.errors import RequestError
from insights.followup import Followup

FEWEST_BILLS = 5
ROUNDING = 1e-12
MOST_SAMPLED = 2_000_000
"""Past so many single claims in all draws, their sum is drawn as normal."""


@dataclass(frozen=True)
class Bills:
    """Amounts that a claim can cost.

    Parameters
    ----------
    amounts
        One an amount, in the history's currency, shape (B,).
    chances
        How likely each is, adding up to one, shape (B,).
    recorded
        How many recorded claims they rest on; 0 where they are stated.
    """

    amounts: np.ndarray
    chances: np.ndarray
    recorded: int = 0

    @property
    def empty(self) -> bool:
        """Whether nothing is known of what a claim costs."""
        return not len(self.amounts)

    @property
    def mean(self) -> float:
        """Average amount; NaN where none is known."""
        return float("nan") if self.empty else float(self.amounts @ self.chances)

    @property
    def sd(self) -> float:
        """Spread of single amounts."""
        return float(np.sqrt(self.chances @ (self.amounts - self.mean) ** 2))

    def totals(self, claims: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """Draw the total of so many claims, each with its own amount.

        Parameters
        ----------
        claims
            How many claims in each draw, shape (size,).
        rng
            Source of chance.

        Notes
        -----
        The amounts are a bootstrap of the bills (Efron 1979, Annals of Statistics 7:1-26). How
        far the mean of so few bills can be from the true mean enters as one gamma factor a draw.
        """
        if self.sd <= ROUNDING * self.mean:
            return claims * self.mean
        totals = self._sums(claims, rng)
        if self.recorded < 2:
            return totals
        unsure = (self.sd / self.mean) ** 2 / (self.recorded - 1)
        return totals * rng.gamma(1 / unsure, unsure, len(claims))

    def _sums(self, claims: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        count = int(claims.sum())
        if count > MOST_SAMPLED:
            wide = np.sqrt(claims) * self.sd
            return np.maximum(claims * self.mean + wide * rng.standard_normal(len(claims)), 0.0)
        running = np.append(0.0, np.cumsum(self.amounts[self._places(count, rng)]))
        ends = np.cumsum(claims)
        return running[ends] - running[ends - claims]

    def _places(self, count: int, rng: np.random.Generator) -> np.ndarray:
        if np.ptp(self.chances) <= ROUNDING:
            return rng.integers(0, len(self.amounts), count)
        reached = np.cumsum(self.chances)
        return np.searchsorted(reached, rng.random(count) * reached[-1], side="right")


NO_BILLS = Bills(np.empty(0), np.empty(0))


def recorded_amounts(followup: Followup, cause: str | None = None) -> np.ndarray:
    """Collect what the counted comebacks cost, as recorded under ``claim_cost``.

    Parameters
    ----------
    followup
        The episodes; each counted comeback whose job has a cost is one bill.
    cause
        Only comebacks with this root cause.
    """
    episodes = followup.episodes
    back = (episodes["end"] == "return").to_numpy()
    if cause is not None:
        back &= (episodes["cause"] == cause).to_numpy()
    amounts = followup.history.jobs["claim_cost"].to_numpy()[episodes["return_job"][back]]
    # In order of size, so that a draw by place can't hang on the order of the record's rows.
    return np.sort(amounts[~np.isnan(amounts)])


def recorded_bills(followup: Followup) -> Bills:
    """Take the costs on record (:func:`recorded_amounts`) as what a claim can cost.

    Fewer than :data:`FEWEST_BILLS` are no basis for a spread: the result is empty.
    """
    amounts = recorded_amounts(followup)
    if len(amounts) < FEWEST_BILLS:
        return NO_BILLS
    return Bills(amounts, np.full(len(amounts), 1 / len(amounts)), len(amounts))


def stated_bills(cost: float | Sequence[float]) -> Bills:
    """Take the cost of a claim, or several equally likely ones, as the owner states it.

    Raises
    ------
    RequestError
        An amount is missing, below zero or infinite.
    """
    amounts = np.atleast_1d(np.asarray(cost, dtype=float))
    if not len(amounts) or not (np.isfinite(amounts) & (amounts >= 0)).all():
        raise RequestError(
            f"The cost of a claim is {cost}. Give an amount of zero or more, in the history's "
            "currency."
        )
    return Bills(amounts, np.full(len(amounts), 1 / len(amounts)))
