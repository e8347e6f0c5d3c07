"""The jobs still open to a claim, and the chance of one given how long each has stayed out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from insights.errors import EvidenceError
from insights.followup import Followup
from insights.money.claims import Claims, share_draws

DRAWN_KNOTS = 60
"""Days at which the curve is drawn, closer together early on; between them a straight line."""
STILL_OUT = ("term", "data_date")

Curve = tuple[np.ndarray, np.ndarray]


@dataclass(frozen=True)
class Exposure:
    """Hand-backs open to a claim.

    Parameters
    ----------
    groups
        One row per term, age and ``group``: ``term_days``, ``age_days`` (since hand-back),
        ``group`` (code of what the jobs share; 0 where nothing), ``jobs``.
    termless
        How many are still out with no term recorded.
    """

    groups: pd.DataFrame
    termless: int

    def column(self, name: str) -> np.ndarray:
        """Give one column of the groups as numbers."""
        return self.groups[name].to_numpy(dtype=float)


def open_exposure(followup: Followup, group: np.ndarray | None = None) -> Exposure:
    """Collect the hand-backs still inside their own term and grace, not back and in service.

    Parameters
    ----------
    followup
        The hand-backs.
    group
        Code of what the jobs share, one an episode.
    """
    episodes = followup.episodes
    job = episodes["job"].to_numpy()
    jobs = followup.history.jobs
    term = jobs["term_days"].to_numpy()[job]
    handed_back = jobs["handed_back"].to_numpy()[job]
    age = (followup.data_date.to_datetime64() - handed_back) / np.timedelta64(1, "D")
    out = episodes["end"].isin(STILL_OUT).to_numpy()
    inside = out & (term > 0) & (age < term + followup.grace_days)
    frame = pd.DataFrame(
        {
            "term_days": term[inside],
            "age_days": age[inside],
            "group": 0 if group is None else group[inside],
        }
    )
    counted = frame.value_counts(sort=False).rename("jobs").reset_index()
    return Exposure(counted, int((out & np.isnan(term)).sum()))


@dataclass(frozen=True, eq=False)
class Arrivals:
    """When covered claims arrive, as a share of the jobs handed back.

    Parameters
    ----------
    claims
        The claims curve.
    delays
        Days from report to arrival as recorded, none longer than the grace; empty: unknown.
    share_days, share
        Days after hand-back, rising from 0, and the estimated share arrived by each, shape (D,).
    draw_days, draws
        Fewer such days, shape (K,), and the share drawn for each, shape (size, K).
    """

    claims: Claims
    delays: np.ndarray
    share_days: np.ndarray
    share: np.ndarray
    draw_days: np.ndarray
    draws: np.ndarray

    @property
    def reach(self) -> float:
        """The last day after hand-back for which anything can be said."""
        return float(self.share_days[-1])

    def chance(
        self, term: np.ndarray, age: np.ndarray, days: float | np.ndarray, *, drawn: bool = False
    ) -> np.ndarray:
        """Give the chance that a job not back by its age brings a claim in the coming days.

        Parameters
        ----------
        term, age
            Of each job, in days, shape (G,).
        days
            How many days ahead; infinite: to the end of term and grace.
        drawn
            Give every draw, shape (size, G), instead of the estimate, shape (G,).

        Notes
        -----
        (F(end) - F(age)) / (1 - F(age)), where F is the share arrived. Claims reported inside
        the term that arrive after it come in as delays run out from a constant rate of reports:
        by y days after the term the share E min(D, y) / E D of them.
        """
        curve = (self.draw_days, self.draws) if drawn else (self.share_days, self.share)
        now, then = self._arrived(curve, term, age), self._arrived(curve, term, age + days)
        rest = 1 - now
        return np.divide(then - now, rest, out=np.zeros_like(now), where=rest > 0).clip(0, 1)

    def _arrived(self, curve: Curve, term: np.ndarray, age: np.ndarray) -> np.ndarray:
        by_term = _at(curve, np.minimum(age, term))
        late = self._late(age - term)
        if not late.any():
            return by_term
        in_post = _at(curve, term + self.claims.arrival_days) - _at(curve, term)
        return by_term + late * in_post

    def _late(self, days: np.ndarray) -> np.ndarray:
        """Give the share of the claims in the post at a term's end that arrive within days."""
        if not self._delay_mean:
            return np.zeros(len(days))
        length = np.arange(len(self._arrived_by) + 1.0)
        return np.interp(days, length, np.append(0.0, self._arrived_by))

    @cached_property
    def _delay_mean(self) -> float:
        return float(self.delays.mean()) if len(self.delays) else 0.0

    @cached_property
    def _arrived_by(self) -> np.ndarray:
        longer = [(self.delays > day).mean() for day in range(int(self.delays.max()))]
        return np.cumsum(longer) / self._delay_mean


def arrivals(followup: Followup, claims: Claims, longest: float, size: int, seed: int) -> Arrivals:
    """Estimate and draw when claims arrive.

    Parameters
    ----------
    followup
        The hand-backs behind the claims.
    claims
        Their claims curve.
    longest
        The longest term asked about, in days.
    size, seed
        How many draws, and of which chance.

    Raises
    ------
    EvidenceError
        The record is too small to state anything.
    """
    # Whether models carry the curve is asked only where they are needed: fitting takes time.
    reach = longest if claims.is_seen(longest) else np.minimum(longest, claims.longest_term)
    if np.isnan(reach):
        raise EvidenceError(
            f"Too few jobs are followed to hold money against: {claims.jobs}. {claims.why_not(1)}"
        )
    last = reach + claims.arrival_days
    terms = followup.history.jobs["term_days"].dropna().unique()
    ends = np.append(terms, terms + claims.arrival_days)
    # Claims that came late in the grace are counted at the end of a term: a step to keep.
    kept = np.append(ends[(ends >= 1) & (ends <= last)], last)
    spaced = last * np.linspace(0, 1, DRAWN_KNOTS + 1)[1:] ** 2
    draw_days = np.unique(np.append(np.ceil(spaced).clip(max=last), kept))
    share_days = np.unique(np.append(np.arange(1, last), kept))
    drawn = share_draws(claims, draw_days - claims.arrival_days, size, seed)
    return Arrivals(
        claims=claims,
        delays=_delays(followup),
        share_days=np.append(0.0, share_days),
        share=np.append(0.0, claims.share(share_days - claims.arrival_days)),
        draw_days=np.append(0.0, draw_days),
        draws=np.column_stack([np.zeros(size), drawn]),
    )


def _at(curve: Curve, day: np.ndarray) -> np.ndarray:
    """Read curves on any day; past their last day they stay."""
    days, values = curve
    day = np.minimum(day, days[-1])
    after = np.clip(np.searchsorted(days, day), 1, len(days) - 1)
    start, end = days[after - 1], days[after]
    weight = (day - start) / (end - start)
    return (1 - weight) * values[..., after - 1] + weight * values[..., after]


def _delays(followup: Followup) -> np.ndarray:
    episodes = followup.episodes
    jobs = followup.history.jobs
    back = episodes["return_job"][episodes["end"] == "return"].to_numpy()
    waited = (jobs["received"] - jobs["notified"]).dt.days.to_numpy()[back]
    waited = waited[waited >= 0]
    return np.minimum(waited, followup.grace_days)
