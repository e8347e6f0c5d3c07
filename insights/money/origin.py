"""One past day: what would have been forecast on it, and what came."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from insights.errors import EvidenceError
from insights.followup import ENDS, Followup, follow_up
from insights.history.asof import known_then
from insights.history.units import Links
from insights.money.claims import Claims, claims_curve, share_draws
from insights.money.counts import quantile
from insights.money.reserve import Reserve, reserve, unsettled_visits
from insights.money.scoring import binomial_chances, log_score, pit_bounds, poisson_chances

YEAR_DAYS = 365


@dataclass(frozen=True, eq=False)
class Came:
    """What came of every hand-back, in arrays of one length.

    Parameters
    ----------
    handed_back, term
        The day, and the term in days.
    arrived, reported_days
        The day its counted comeback arrived (NaT: none), and days from hand-back to its report
        (infinite: none).
    covered
        Whether it was decided to be covered.
    visit
        Row of the comeback; -1 where none.
    cost
        Claim cost of every row of the history.
    """

    handed_back: np.ndarray
    term: np.ndarray
    arrived: np.ndarray
    reported_days: np.ndarray
    covered: np.ndarray
    visit: np.ndarray
    cost: np.ndarray


def what_came(followup: Followup) -> Came:
    """Look up what came of every hand-back, as known now."""
    episodes, jobs = followup.episodes, followup.history.jobs
    job, visit = episodes["job"].to_numpy(), episodes["return_job"].to_numpy()
    back = (episodes["end"] == ENDS[0]).to_numpy()
    handed_back = jobs["handed_back"].to_numpy()[job]
    received = jobs["received"].to_numpy()[visit]
    arrived = np.where(back, received, np.datetime64("NaT"))
    reported = jobs["notified"].fillna(jobs["received"]).to_numpy()[visit]
    return Came(
        handed_back=handed_back,
        term=jobs["term_days"].to_numpy()[job],
        arrived=arrived,
        reported_days=np.where(back, (reported - handed_back) / np.timedelta64(1, "D"), np.inf),
        covered=back & (jobs["decision"].to_numpy()[visit] == "covered"),
        visit=visit,
        cost=jobs["claim_cost"].to_numpy(),
    )


def stand_at(followup: Followup, day: pd.Timestamp) -> tuple[Followup, np.ndarray]:
    """Follow the same hand-backs as they were known on a past day.

    Returns
    -------
    then : Followup
    rows : numpy.ndarray
        Which rows of the history now are the rows known then.
    """
    known = known_then(followup.history, day)
    links = Links(np.asarray(followup.links.unit_of_job)[known.rows], pd.DataFrame())
    then = follow_up(
        known.history,
        data_date=day,
        follow=followup.follow,
        count=followup.count,
        grace_days=followup.grace_days,
        links=links,
    )
    mine = np.isin(known.rows[then.episodes["job"]], followup.episodes["job"])
    if not mine.any():
        raise EvidenceError(f"None of these jobs was handed back by {day:%Y-%m-%d}.")
    kept = then.episodes[mine].reset_index(drop=True)
    return replace(then, episodes=kept), known.rows


@dataclass(frozen=True, eq=False)
class Origin:
    """A past day to forecast from.

    Parameters
    ----------
    then, rows
        :func:`stand_at`.
    came
        :func:`what_came`.
    ahead
        Days that a reserve looks ahead, and within which a quoted batch is handed back.
    level, size, seed
        Of the forecasts.
    """

    then: Followup
    rows: np.ndarray
    came: Came
    ahead: int
    level: float
    size: int
    seed: int

    @property
    def day(self) -> pd.Timestamp:
        """The day itself."""
        return self.then.data_date

    @cached_property
    def _claims(self) -> Claims:
        return claims_curve(self.then)

    def has_run_out(self, term: float, data_date: pd.Timestamp) -> bool:
        """Tell whether a batch handed back after the origin has run out a term and its grace."""
        needed = self.ahead + term + self.then.grace_days
        return self.day + pd.Timedelta(days=needed) <= data_date

    def _between(self, values: np.ndarray, start: int, end: int) -> np.ndarray:
        """Mark the days from after ``start`` to ``end``, counted from the origin."""
        after = (values - self.day.to_datetime64()) / np.timedelta64(1, "D")
        return (after > start) & (after <= end)

    def reserve(self, claim_cost: float | Sequence[float] | None, months: list) -> dict:
        """Reserve at the origin, and count what arrived within the days ahead."""
        held = reserve(
            self.then,
            claim_cost=claim_cost,
            level=self.level,
            ahead_days=self.ahead,
            size=self.size,
            seed=self.seed,
        )
        came = self.came
        age = (self.day.to_datetime64() - came.handed_back) / np.timedelta64(1, "D")
        open_then = (age >= 0) & (came.term > 0) & (age < came.term + self.then.grace_days)
        # One reported after the term is not owed, though it may arrive inside the grace.
        owed = open_then & ((came.reported_days <= came.term) | came.covered)
        arrived = owed & self._between(came.arrived, 0, self.ahead)
        waiting = self.rows[unsettled_visits(self.then)]
        months.append(self._months(held, arrived, waiting))
        last_year = self._between(came.arrived, -YEAR_DAYS, 0).sum()
        usual = (last_year + 0.5) * self.ahead / YEAR_DAYS
        row = _row(held.claims.chances, held.claims.mean, int(arrived.sum()), self.level)
        return row | {
            "jobs": held.jobs,
            "money_expected": held.expected,
            "money_p90": held.p90,
            "money_observed": _money(came.cost, np.append(came.visit[arrived], waiting)),
            "last_year_log_score": log_score(poisson_chances(usual), int(arrived.sum())),
        }

    def _months(self, held: Reserve, arrived: np.ndarray, waiting: np.ndarray) -> pd.DataFrame:
        came = self.came
        month = pd.DatetimeIndex(came.arrived[arrived]).to_period("M").astype(str)
        visits = came.visit[arrived]
        observed, money = [], []
        for place, name in enumerate(held.months["month"]):
            mine = visits[month == name]
            observed.append(len(mine))
            money.append(_money(came.cost, np.append(mine, waiting if not place else [])))
        return pd.DataFrame(
            {
                "origin": self.day,
                "month": held.months["month"],
                "claims_expected": held.months["claims"],
                "claims_observed": observed,
                "money_expected": held.months["expected"],
                "money_observed": money,
            }
        )

    def quote(self, term: float) -> dict | None:
        """Quote a term for the jobs of the days ahead, and count their claims."""
        came = self.came
        batch = self._between(came.handed_back, 0, self.ahead) & (came.term >= term)
        if not batch.any():
            return None
        jobs = int(batch.sum())
        claims = self._claims
        why_not = claims.why_not(term)
        if why_not:
            raise EvidenceError(why_not)
        draws = share_draws(claims, [term], self.size, self.seed)[:, 0]
        observed = int((came.reported_days[batch] <= term).sum())
        earlier = self._between(came.handed_back, -YEAR_DAYS, 0) & (came.term >= term)
        seen = (came.reported_days <= term) & ~self._between(came.arrived, 0, np.iinfo("i4").max)
        rate = ((earlier & seen).sum() + 0.5) / (earlier.sum() + 1)
        chances = binomial_chances(jobs, draws)
        row = _row(chances, jobs * float(claims.share([term])[0]), observed, self.level)
        usual = binomial_chances(jobs, np.array([rate]))
        return row | {"jobs": jobs, "last_year_log_score": log_score(usual, observed)}


def _row(chances: np.ndarray, expected: float, observed: int, level: float) -> dict:
    tail = (1 - level) / 2
    low, high = quantile(chances, tail), quantile(chances, 1 - tail)
    pit_low, pit_high = pit_bounds(chances, observed)
    return {
        "expected": expected,
        "low": low,
        "high": high,
        "observed": observed,
        "inside": low <= observed <= high,
        "money_expected": float("nan"),
        "money_p90": float("nan"),
        "money_observed": float("nan"),
        "pit_low": pit_low,
        "pit_high": pit_high,
        "log_score": log_score(chances, observed),
    }


def _money(cost: np.ndarray, visits: np.ndarray) -> float:
    """Add up what visits cost; those never costed count as nothing."""
    return float(np.nansum(cost[np.asarray(visits, dtype=np.int64)]))
