"""Whether a practice pays, how surely, and what more data would be worth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from scipy import optimize, stats

from insights.errors import RequestError
from insights.money.costs import Costs
from insights.notes import Note

Verdict = Literal["pays", "does_not_pay", "not_clear"]

SURE = 0.95
LIKELY = 0.80
GRID = 4000
FEWEST_DRAWS = 200
MOST_JOBS = 1e7
JOBS_PER_ARM = (200, 400, 800, 1600)
METHOD = (
    "Net per job = avoided share x cost of a comeback - parts - minutes + extra price, over draws "
    "of the avoided share. Value of perfect information from the draws; value of a further "
    "comparison and the chance that it settles the matter by normal preposterior analysis."
)


@dataclass(frozen=True)
class Payback:
    """What doing a practice on every job earns or loses.

    Parameters
    ----------
    net_per_job, low, high
        Mean gain on a job and its interval, in the history's currency.
    probability
        Chance that it pays, given the record.
    break_even_part_cost, break_even_part_cost_low, break_even_part_cost_high
        The part price at which it neither gains nor loses; below zero where even a free part
        would lose.
    break_even_difference
        The share of comebacks it must avoid to pay; zero or below where the extra price alone
        carries it.
    avoided
        Mean share of comebacks avoided.
    evpi_per_1000_jobs
        What knowing the true effect would be worth over 1,000 future jobs.
    table
        What a further fair comparison would bring: ``jobs_per_arm``, ``evsi_per_1000_jobs``,
        ``chance_clear``.
    jobs_per_arm_to_clear
        Jobs each way after which the answer is clear with 80% chance; 0 where it already is,
        NaN where no number within reach would do.
    verdict
        ``pays`` or ``does_not_pay`` where that is at least 95% likely, else ``not_clear``.
    method, notes
        How, and what a reader should know.
    currency
        Of every amount; empty: not stated.
    """

    net_per_job: float
    low: float
    high: float
    probability: float
    break_even_part_cost: float
    break_even_part_cost_low: float
    break_even_part_cost_high: float
    break_even_difference: float
    avoided: float
    evpi_per_1000_jobs: float
    table: pd.DataFrame
    jobs_per_arm_to_clear: float
    verdict: Verdict
    method: str
    notes: tuple[Note, ...]
    currency: str = ""


def payback(
    avoided: np.ndarray | tuple[float, float],
    costs: Costs,
    *,
    risk_without: float,
    jobs_per_arm: Sequence[int] = JOBS_PER_ARM,
    level: float = 0.95,
    safety: bool = False,
    currency: str = "",
) -> Payback:
    """Weigh comebacks avoided against parts and minutes.

    Arithmetic on draws only, so a change of cost needs no refitting.

    Parameters
    ----------
    avoided
        Share of jobs whose comeback the practice avoids (above zero: it helps): draws, one per
        bootstrap or posterior sample, or ``(estimate, standard error)``.
    costs
        What the practice and a comeback cost.
    risk_without
        Share of jobs that come back without the practice.
    jobs_per_arm
        Sizes of a further comparison to weigh, in jobs each way.
    level
        Confidence of the interval, between 0 and 1.
    safety
        Whether this is safety work, which is never weighed against money.
    currency
        Of every amount; empty: not stated.

    Returns
    -------
    Payback

    Raises
    ------
    RequestError
        Safety work, draws or shares that can't be used, a size below 1.

    Notes
    -----
    Expected value of perfect information: mean of the better choice less the better mean
    (Raiffa and Schlaifer 1961, Applied Statistical Decision Theory). Of a comparison with ``n``
    jobs each way: ``tau * L(|net| / tau)`` with the unit normal loss ``L`` and the preposterior
    spread ``tau = sigma^2 / sqrt(sigma^2 + v)``, ``v = k^2 (p0 q0 + p1 q1) / n``. It is clear
    when it would leave a 95% chance of paying or of not paying.
    """
    draws = _check(avoided, risk_without, jobs_per_arm, level, safety)
    k = _comeback_draws(costs, len(draws))
    gain = draws * k
    net = gain - costs.outlay
    tails = (1 - level) / 2, (1 + level) / 2
    low, high = (float(bound) for bound in np.quantile(net, tails))
    mean = float(net.mean())
    probability = float((net > 0).mean())
    outlook = _Outlook.of(draws, net, costs.comeback.mean, risk_without)
    to_clear = 0.0 if _is_sure(probability) else outlook.jobs_to_clear()
    return Payback(
        net_per_job=mean,
        low=low,
        high=high,
        probability=probability,
        break_even_part_cost=mean + costs.part_cost,
        break_even_part_cost_low=low + costs.part_cost,
        break_even_part_cost_high=high + costs.part_cost,
        break_even_difference=_ratio(costs.outlay, costs.comeback.mean),
        avoided=float(draws.mean()),
        evpi_per_1000_jobs=1000 * float(np.maximum(net, 0).mean() - max(mean, 0.0)),
        table=pd.DataFrame(
            {
                "jobs_per_arm": list(jobs_per_arm),
                "evsi_per_1000_jobs": [1000 * outlook.evsi(jobs) for jobs in jobs_per_arm],
                "chance_clear": [outlook.chance_clear(jobs) for jobs in jobs_per_arm],
            }
        ),
        jobs_per_arm_to_clear=to_clear,
        verdict=_verdict(probability),
        method=METHOD,
        notes=_notes(avoided, draws, costs, to_clear),
        currency=currency,
    )


def unit_normal_loss(u: float) -> float:
    """Give the mean of how far a standard normal number exceeds ``u`` (0 where it does not)."""
    return float(stats.norm.pdf(u) - u * stats.norm.sf(u))


@dataclass(frozen=True)
class _Outlook:
    """What a further comparison could tell, in money per job.

    ``spread`` is what it can settle (the effect), ``other`` what it can't (the bill of a
    comeback), and ``noise`` the variance that one job each way would have.
    """

    mean: float
    spread: float
    other: float
    noise: float

    @classmethod
    def of(cls, draws: np.ndarray, net: np.ndarray, k: float, risk_without: float) -> _Outlook:
        risk_with = float(np.clip(risk_without - draws.mean(), 0, 1))
        noise = risk_without * (1 - risk_without) + risk_with * (1 - risk_with)
        spread = k * float(draws.std())
        return cls(
            mean=float(net.mean()),
            spread=spread,
            other=max(float(net.var()) - spread**2, 0.0),
            noise=k**2 * noise,
        )

    def evsi(self, jobs: float) -> float:
        tau = self._preposterior(jobs)
        return tau * unit_normal_loss(abs(self.mean) / tau) if tau > 0 else 0.0

    def chance_clear(self, jobs: float) -> float:
        tau = self._preposterior(jobs)
        left = np.sqrt(max(self.spread**2 - tau**2, 0.0) + self.other)
        needed = stats.norm.ppf(SURE) * left
        if tau == 0:
            return float(abs(self.mean) > needed)
        return float(
            stats.norm.sf((needed - self.mean) / tau) + stats.norm.cdf((-needed - self.mean) / tau)
        )

    def jobs_to_clear(self) -> float:
        def short(log_jobs: float) -> float:
            return self.chance_clear(np.exp(log_jobs)) - LIKELY

        ends = 0.0, np.log(MOST_JOBS)
        if short(ends[1]) < 0:
            return float("nan")
        if short(ends[0]) >= 0:
            return 1.0
        return float(np.ceil(np.exp(optimize.brentq(short, *ends))))

    def _preposterior(self, jobs: float) -> float:
        total = self.spread**2 + self.noise / jobs
        return self.spread**2 / np.sqrt(total) if total > 0 else 0.0


def _check(
    avoided: np.ndarray | tuple[float, float],
    risk_without: float,
    jobs_per_arm: Sequence[int],
    level: float,
    safety: bool,
) -> np.ndarray:
    if safety:
        raise RequestError(
            "This is safety work. It is done on every job whatever it costs, so it is never "
            "weighed against money. Ask about another practice."
        )
    if not 0 <= risk_without <= 1:
        raise RequestError(f"risk_without is {risk_without}. Give a share between 0 and 1.")
    if not 0 < level < 1:
        raise RequestError(f"The confidence level is {level}. Give one between 0 and 1, like 0.95.")
    if any(jobs < 1 for jobs in jobs_per_arm):
        raise RequestError(f"jobs_per_arm holds {min(jobs_per_arm)}. Give 1 or more.")
    if isinstance(avoided, tuple):
        estimate, se = avoided
        if not (np.isfinite(estimate) and np.isfinite(se) and se > 0):
            raise RequestError(
                f"The avoided share is {estimate} with standard error {se}. Give a number and a "
                "standard error above zero."
            )
        spaced = stats.norm.ppf(_grid(GRID))
        return estimate + se * spaced / spaced.std()
    draws = np.asarray(avoided, dtype=float)
    if draws.ndim != 1 or len(draws) < 2 or not (np.abs(draws) <= 1).all():
        raise RequestError(
            "The draws of the avoided share must be a list of two or more numbers between -1 and "
            "1, none missing."
        )
    return draws


def _comeback_draws(costs: Costs, size: int) -> np.ndarray:
    comeback = costs.comeback
    if comeback.se == 0 or comeback.mean == 0:
        return np.full(size, comeback.mean)
    shape = (comeback.mean / comeback.se) ** 2
    grid = stats.gamma.ppf(_grid(size), shape, scale=comeback.mean / shape)
    # Shuffled, so that dear comebacks fall on large and small effects alike.
    return np.random.default_rng(0).permutation(grid)


def _grid(size: int) -> np.ndarray:
    """Give evenly spaced probabilities: draws without the luck of a draw."""
    return (np.arange(size) + 0.5) / size


def _ratio(outlay: float, k: float) -> float:
    if k > 0:
        return outlay / k
    return float("inf") if outlay > 0 else float("-inf") if outlay < 0 else 0.0


def _is_sure(probability: float) -> bool:
    return probability >= SURE or probability <= 1 - SURE


def _verdict(probability: float) -> Verdict:
    if probability >= SURE:
        return "pays"
    return "does_not_pay" if probability <= 1 - SURE else "not_clear"


def _notes(
    avoided: np.ndarray | tuple[float, float], draws: np.ndarray, costs: Costs, to_clear: float
) -> tuple[Note, ...]:
    notes = []
    if not isinstance(avoided, tuple) and len(draws) < FEWEST_DRAWS:
        notes.append(
            Note(
                "few_draws",
                f"The chance rests on {len(draws)} draws of the effect; {FEWEST_DRAWS} or more "
                "make it steady.",
            )
        )
    if costs.outlay <= 0:
        notes.append(
            Note("price_carries", "The extra price alone covers parts and minutes of the practice.")
        )
    if np.isnan(to_clear):
        notes.append(
            Note(
                "never_clear",
                "Gain and loss lie so close together that no number of jobs within reach is "
                "likely to tell them apart; then the choice hardly matters for money.",
            )
        )
    return tuple(notes)
