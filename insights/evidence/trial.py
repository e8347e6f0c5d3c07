"""A fair trial at the bench, planned before it starts: size, looks, and the analysis fixed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import stats

from insights.errors import RequestError
from insights.evidence.looks import Spending, bounds, inflation

DAYS_PER_MONTH = 30.4375
STRATA = ("model", "age_band")


@dataclass(frozen=True)
class TrialPlan:
    """What was fixed before the first card was drawn.

    Parameters
    ----------
    practice, level, against
        The practice, and its two levels to be dealt out by lot.
    day
        The share back by this day decides.
    cause
        Root cause of the comebacks counted, None for all.
    risk_against, risk_level
        Share back expected without, and with the smallest difference that would matter.
    power, alpha
        Chance to find that difference, and of finding one where there is none (two-sided).
    spending
        How that chance is shared out over the looks.
    single_look_jobs_per_arm, jobs_per_arm
        Jobs each way with one look at the end, and at most with the looks planned.
    looks
        One row per look: ``look``, ``jobs_per_arm`` (followed to the day), ``fraction``,
        ``bound`` (standard errors that stop the trial), ``p`` (the same as a p-value).
    seed
        Word or number from which the cards are drawn.
    words
        The plan in sentences, to print and to sign.
    """

    practice: str
    level: str
    against: str
    day: int
    cause: str | None
    risk_against: float
    risk_level: float
    power: float
    alpha: float
    spending: Spending
    single_look_jobs_per_arm: int
    jobs_per_arm: int
    looks: pd.DataFrame
    seed: str
    words: tuple[str, ...]

    def months(self, jobs_per_month: float) -> float:
        """Give how long it lasts at most: dealing the cards, then following the last to the day.

        Raises
        ------
        RequestError
            The number of jobs a month is not above zero.
        """
        if not jobs_per_month > 0:
            raise RequestError(f"jobs_per_month is {jobs_per_month}. Give a number above zero.")
        return 2 * self.jobs_per_arm / jobs_per_month + self.day / DAYS_PER_MONTH


@dataclass(frozen=True)
class Played:
    """How the plan fares over many imagined trials.

    Parameters
    ----------
    share_better, share_worse
        Share of trials that stop for ``level``, and against it.
    share_either_unguarded
        Share that would have stopped had every look used the bound of a single look.
    mean_jobs_per_arm
        Jobs each way used on average.
    trials
        How many were played.
    """

    share_better: float
    share_worse: float
    share_either_unguarded: float
    mean_jobs_per_arm: float
    trials: int


def jobs_needed_per_arm(
    risk_against: float, risk_level: float, *, power: float = 0.8, alpha: float = 0.05
) -> int:
    """Give the jobs each way that find a difference between two shares back.

    ``(z_alpha/2 + z_power)^2 (p0 q0 + p1 q1) / (p0 - p1)^2``, the usual formula for two
    proportions (for one, Fleiss, Levin and Paik 2003, Statistical Methods for Rates and
    Proportions, chapter 4).

    Raises
    ------
    RequestError
        Shares that are equal or not between 0 and 1, or chances that are not.
    """
    return int(np.ceil(_size(risk_against, risk_level, power, alpha)))


def plan_trial(
    practice: str,
    level: str,
    against: str,
    *,
    risk_against: float,
    difference: float,
    seed: str | int,
    day: int = 180,
    cause: str | None = None,
    looks: int = 3,
    spending: Spending = "obrien_fleming",
    power: float = 0.8,
    alpha: float = 0.05,
    safety: bool = False,
) -> TrialPlan:
    """Plan a trial in which the lot decides which job gets which way of working.

    Parameters
    ----------
    practice, level, against
        The practice, the level hoped for, and the one it is compared with.
    risk_against
        Share back by the day under ``against``, from the record.
    difference
        The smallest share of comebacks avoided that would matter (above zero), for one the
        break-even difference of the payback.
    seed
        Word or number from which the cards are drawn; the same one gives the same cards.
    day
        The share back by this day decides; it must lie inside every job's term.
    cause
        Count only comebacks with this root cause.
    looks
        How often to look, the end included, at equal steps.
    spending, power, alpha
        As in :class:`TrialPlan`.
    safety
        Whether this is safety work, which is never left out by lot.

    Returns
    -------
    TrialPlan

    Raises
    ------
    RequestError
        Safety work, equal levels, or numbers that can't be planned with.
    """
    if safety:
        raise RequestError(
            "This is safety work. It is done on every job, so it can't be left to chance. Plan a "
            "trial of another practice."
        )
    if level == against:
        raise RequestError(f"'{level}' is compared with itself. Give two different levels.")
    if not 0 < difference <= risk_against:
        raise RequestError(
            f"The difference that matters is {difference:g} of a share back of {risk_against:g}. "
            "Give one above zero and no larger than that share."
        )
    if looks < 1 or day < 1:
        raise RequestError(f"looks is {looks} and day {day}. Give 1 or more of each.")
    risk_level = risk_against - difference
    size = _size(risk_against, risk_level, power, alpha)
    fractions = np.arange(1, looks + 1) / looks
    limits = bounds(fractions, alpha, spending)
    most = int(np.ceil(size * inflation(limits, fractions, alpha, power)))
    table = pd.DataFrame(
        {
            "look": np.arange(1, looks + 1),
            "jobs_per_arm": np.ceil(fractions * most).astype(np.int64),
            "fraction": fractions,
            "bound": limits,
            "p": 2 * stats.norm.sf(limits),
        }
    )
    plan = TrialPlan(
        practice=practice,
        level=level,
        against=against,
        day=day,
        cause=cause,
        risk_against=risk_against,
        risk_level=risk_level,
        power=power,
        alpha=alpha,
        spending=spending,
        single_look_jobs_per_arm=int(np.ceil(size)),
        jobs_per_arm=most,
        looks=table,
        seed=str(seed),
        words=(),
    )
    return replace(plan, words=_words(plan))


def play_out(
    plan: TrialPlan, *, risk_level: float, risk_against: float, trials: int = 2000, seed: int = 0
) -> Played:
    """Play imagined trials of the plan, to show how often it stops rightly and wrongly.

    Parameters
    ----------
    plan
        The plan.
    risk_level, risk_against
        The true shares back; equal ones show the false-alarm rate.
    trials, seed
        How many, and from which seed.

    Raises
    ------
    RequestError
        A share outside 0 to 1, or no trial.
    """
    if not (0 <= risk_level <= 1 and 0 <= risk_against <= 1 and trials >= 1):
        raise RequestError("Give shares back between 0 and 1, and at least one trial.")
    rng = np.random.default_rng(seed)
    jobs = plan.looks["jobs_per_arm"].to_numpy()
    more = np.diff(jobs, prepend=0)
    back = [rng.binomial(more, risk, (trials, len(jobs))).cumsum(axis=1)
            for risk in (risk_level, risk_against)]  # fmt: skip
    total = back[0] + back[1]
    variance = total * (2 * jobs - total) / (4.0 * (2 * jobs - 1))
    z = (back[1] - back[0]) / 2 / np.sqrt(np.where(variance > 0, variance, 1))
    crossed = np.abs(z) >= plan.looks["bound"].to_numpy()
    stopped = np.where(crossed.any(axis=1), crossed.argmax(axis=1), len(jobs) - 1)
    at = np.arange(trials)
    ended = crossed[at, stopped]
    single = stats.norm.isf(plan.alpha / 2)
    return Played(
        share_better=float((ended & (z[at, stopped] > 0)).mean()),
        share_worse=float((ended & (z[at, stopped] < 0)).mean()),
        share_either_unguarded=float((np.abs(z) >= single).any(axis=1).mean()),
        mean_jobs_per_arm=float(jobs[stopped].mean()),
        trials=trials,
    )


def _size(risk_against: float, risk_level: float, power: float, alpha: float) -> float:
    for name, share in (("risk_against", risk_against), ("risk_level", risk_level)):
        if not 0 <= share <= 1:
            raise RequestError(f"{name} is {share}. Give a share between 0 and 1, like 0.05.")
    if not (0 < alpha < 1 and alpha / 2 < power < 1):
        raise RequestError(
            f"power is {power} and alpha {alpha}. Give chances between 0 and 1, like 0.8 and 0.05."
        )
    difference = risk_against - risk_level
    if difference == 0:
        raise RequestError(
            f"Both shares back are {risk_level:g}; no number of jobs finds no difference. Name "
            "the smallest difference that would matter."
        )
    z = stats.norm.isf(alpha / 2) + stats.norm.ppf(power)
    noise = risk_against * (1 - risk_against) + risk_level * (1 - risk_level)
    return float(z**2 * noise / difference**2)


def _words(plan: TrialPlan) -> tuple[str, ...]:
    steps = "; ".join(
        f"at {row.jobs_per_arm} jobs each way followed to day {plan.day}, p below {row.p:.4f}"
        for row in plan.looks.itertuples()
    )
    name = plan.practice.replace("_", " ")
    counted = "comebacks" if plan.cause is None else f"comebacks for {plan.cause}"
    return (
        f"Question: does {name} '{plan.level}' change the share of jobs with {counted} by "
        f"day {plan.day}, against '{plan.against}'?",
        f"Size: at most {plan.jobs_per_arm} jobs each way, enough to find "
        f"{100 * plan.risk_level:.1f} in place of {100 * plan.risk_against:.1f} back per 100 with "
        f"a chance of {100 * plan.power:.0f}%.",
        "Draw: when a job is taken on, the next unused card of its model and age band says what is "
        "done. No card is skipped, swapped or looked at beforehand. A unit that comes back keeps "
        "its first card.",
        "Counted: every job by its card, whether or not the card was followed, and only the first "
        "job of each unit. Whoever codes a comeback's root cause is not told the card.",
        f"Looks: {steps}. The trial stops when a look falls below its bound; over all looks the "
        f"chance of stopping where there is no difference is {100 * plan.alpha:.0f}%.",
        "Analysis: Mantel-Haenszel difference in shares back over model and age band, tested by "
        "Cochran-Mantel-Haenszel; nothing else decides.",
    )
