"""The share back by any day: inside the follow-up as seen, past it as far as it carries."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import special

from insights.errors import EvidenceError
from insights.survival.extrapolation import Extrapolation, extrapolate
from insights.survival.intervals import ROUNDING
from insights.survival.lifetimes import Observed, whole_days
from insights.survival.stating import MIN_AT_RISK, supported_days
from insights.survival.strata import Estimate, Stratum, all_returns

FIRM_AT_RISK = 20
FARTHEST = 1.5
"""Past this many times the last day with :data:`FIRM_AT_RISK` followed, nothing is said."""
FEWEST_RETURNS = 10
MOST_DISAGREEMENT = 2.0
PRIOR_RETURNS = 0.5
BETA_GRID = 257


@dataclass(frozen=True)
class Outlook:
    """The share back by day of one group of jobs, now and later.

    Parameters
    ----------
    estimate
        The share seen, with its counts.
    """

    estimate: Estimate

    @property
    def stratum(self) -> Stratum:
        """The jobs."""
        return self.estimate.stratum

    @property
    def returns(self) -> int:
        """How many returns were seen."""
        return int(self.stratum.risk.returns.sum())

    @cached_property
    def seen_until(self) -> float:
        """The last day stated as seen: at least 10 followed. NaN where there is none."""
        return supported_days(self.stratum.risk.days, self.stratum.risk.at_risk, MIN_AT_RISK)

    @cached_property
    def farthest(self) -> float:
        """The last day that models may carry the curve to, NaN where none may."""
        risk = self.stratum.risk
        firm = supported_days(risk.days, risk.at_risk, FIRM_AT_RISK)
        return float(np.floor(FARTHEST * firm)) if not np.isnan(firm) else firm

    @cached_property
    def observed(self) -> Observed:
        """The same jobs as lifetimes to a return; a unit that left service is censored then."""
        risk = self.stratum.risk
        returns, others = risk.returns, risk.outcomes.sum(axis=1) - risk.returns
        event = np.repeat([True, False], len(risk.days))
        return whole_days(np.tile(risk.days, 2), event, np.append(returns, others))

    @cached_property
    def models(self) -> Extrapolation:
        """The models that carry the curve past what was seen.

        Raises
        ------
        EvidenceError
            None can be fitted.
        """
        return extrapolate(self.observed)

    def at_risk(self, day: float) -> int:
        """Count the jobs still followed on a day."""
        risk = self.stratum.risk
        return int(np.append(risk.at_risk, 0)[np.searchsorted(risk.days, day)])

    def why_not(self, day: float) -> str:
        """Say why nothing can be stated for a day; empty where something can.

        A day inside the follow-up can be stated. Past it models carry the curve, but not
        farther than 1.5 times the last day with 20 followed, not on fewer than 10 returns, and
        not where those that fit differ more than twofold.
        """
        if day <= self.seen_until:
            return ""
        reach = f"{self.seen_until:g}"
        if np.isnan(self.seen_until):
            jobs, needed = self.stratum.jobs, f"{MIN_AT_RISK} are needed to state anything."
            if jobs >= MIN_AT_RISK:
                return (
                    f"Too few of {jobs} jobs are followed past the day of hand-back, inside a term "
                    f"of their own: {needed}"
                )
            return f"Too few jobs are followed: {jobs}, and {needed}"
        if not day <= self.farthest:
            if np.isnan(self.farthest):
                return (
                    f"Fewer than {FIRM_AT_RISK} jobs are followed, too few to go past day {reach}."
                )
            return (
                f"Too far past what was seen: the last day with {FIRM_AT_RISK} jobs still followed "
                f"inside their own term carries to day {self.farthest:g}, half as far again."
            )
        if self.returns < FEWEST_RETURNS:
            return (
                f"Too few came back: {self.returns}, and {FEWEST_RETURNS} are needed to go past "
                f"day {reach}, the last with enough jobs followed inside their own term."
            )
        return self._why_models_fail(day)

    def _why_models_fail(self, day: float) -> str:
        try:
            models = self.models
        except EvidenceError as error:
            return str(error)
        shares = self._by_model(models, np.array([day]))[models.heard, 0]
        if shares.max() <= MOST_DISAGREEMENT * shares.min():
            return ""
        return (
            f"Curves that fit equally well say from {100 * shares.min():.1f} to "
            f"{100 * shares.max():.1f} in 100 by then, more than twofold apart."
        )

    @cached_property
    def longest(self) -> float:
        """The longest whole day that can be stated; NaN where none can."""
        if np.isnan(self.seen_until) or not self.farthest > self.seen_until:
            return self.seen_until
        low, high = np.floor(self.seen_until), self.farthest
        if not self.why_not(high):
            return high
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if self.why_not(middle) else (middle, high)
        return float(max(low, self.seen_until))

    def share(self, days: np.ndarray) -> np.ndarray:
        """Estimate the share back by each day; NaN where nothing can be stated."""
        days = np.asarray(days, dtype=float)
        share = np.where(days <= self.seen_until, self._seen(days), np.nan)
        beyond = self._carries(days)
        if beyond.any():
            share[beyond] = self.models.weights @ self._by_model(self.models, days[beyond])
        return share

    def model_spread(self, days: np.ndarray) -> np.ndarray:
        """Give the lowest and highest share by any single model, shape (2, D); NaN where seen."""
        days = np.asarray(days, dtype=float)
        out = np.full((2, len(days)), np.nan)
        beyond = self._carries(days)
        if beyond.any():
            shares = self._by_model(self.models, days[beyond])[self.models.heard]
            out[:, beyond] = shares.min(axis=0), shares.max(axis=0)
        return out

    def draws(self, days: np.ndarray, size: int, rng: np.random.Generator) -> np.ndarray:
        """Draw the share back by each day from what the record leaves open, shape (size, D).

        Parameters
        ----------
        days
            Rising or not, shape (D,); a day that can't be stated gives NaN.
        size
            How many draws; each is one possible curve, never falling.
        rng
            Source of chance.

        Notes
        -----
        Inside the follow-up the share on one day has Jeffreys' beta posterior on the effective
        number of jobs: half a return beside those seen, at an unknown day, so that with none
        seen the draws still reach as far as the jobs followed allow. Days hang together as the
        cumulative hazard does, which grows by independent pieces. Past the follow-up the models'
        draws carry each curve on, high ones from high shares; a unit that left service by then
        stays out of it.
        """
        days = np.asarray(days, dtype=float)
        out = np.full((size, len(days)), np.nan)
        inside, beyond = days <= self.seen_until, self._carries(days)
        if not (inside | beyond).any():
            return out
        grid, place = np.unique(
            np.append(days[inside], self.seen_until if beyond.any() else []), return_inverse=True
        )
        shares = self._seen_draws(grid, size, rng)
        out[:, inside] = shares[:, place[: inside.sum()]]
        if beyond.any():
            out[:, beyond] = self._carried(shares[:, -1], days[beyond], size, rng)
        return out

    @cached_property
    def _last(self) -> tuple[float, float]:
        """The share back, and still in play, at the end of the last day stated as seen."""
        curve = self.estimate.curve
        place = curve.place(self.seen_until)
        staying = 1 - curve.exits[place] / curve.at_risk[place]
        return float(curve.share[place]), float(curve.in_play[place] * staying)

    def _by_model(self, models: Extrapolation, days: np.ndarray) -> np.ndarray:
        share, in_play = self._last
        return share + in_play * models.returns_since(self.seen_until, days)

    def _carries(self, days: np.ndarray) -> np.ndarray:
        """Tell which days lie past what was seen, but not too far."""
        past = days > self.seen_until
        return past & (days <= self.longest) if past.any() else past

    def _seen(self, days: np.ndarray) -> np.ndarray:
        curve = self.estimate.curve
        return np.append(0.0, curve.share)[curve.place(days) + 1]

    def _seen_draws(self, days: np.ndarray, size: int, rng: np.random.Generator) -> np.ndarray:
        share, jobs = self._seen(days), self.effective_jobs(days)
        back, rest = share * jobs + PRIOR_RETURNS, (1 - share) * jobs + PRIOR_RETURNS
        hazard_variance = np.maximum.accumulate(back / (rest * (back + rest + 1)))
        steps = np.sqrt(np.diff(np.append(0.0, hazard_variance)))
        walk = np.cumsum(rng.standard_normal((size, len(days))) * steps, axis=1)
        rank = walk.argsort(axis=0).argsort(axis=0)
        normal = special.ndtri((np.arange(size) + 0.5) / size)
        drawn = [
            _beta_at(normal, a, b)[place] for a, b, place in zip(back, rest, rank.T, strict=True)
        ]
        return np.maximum.accumulate(np.array(drawn).T, axis=1)

    def effective_jobs(self, days: np.ndarray) -> np.ndarray:
        """Count how many fully followed jobs would pin the share down as well, shape (D,).

        The variance of the share seen, and that of half a return not seen, at any day with
        equal chance, weighed together. With every job followed throughout, all jobs.
        """
        curve = self.estimate.curve
        place = curve.place(days) + 1
        share = self._seen(days)
        spread = share * (1 - share)
        variance = np.append(0.0, self.estimate.variance)[place]
        returns = np.append(0.0, np.cumsum(curve.events))[place]
        unseen = self._unseen(days)
        known = (spread > ROUNDING) & (variance > ROUNDING * spread)
        seen = np.divide(variance, spread, out=unseen.copy(), where=known)
        return (returns + PRIOR_RETURNS) / (returns * seen + PRIOR_RETURNS * unseen)

    def _unseen(self, days: np.ndarray) -> np.ndarray:
        """Give the variance per return not seen, at any day up to each with equal chance."""
        curve = self.estimate.curve
        # Between two recorded days as many are at risk as on the later one.
        weight = np.divide(
            curve.in_play, curve.at_risk, out=np.zeros(len(curve.days)), where=curve.at_risk > 0
        )
        start = np.append(0.0, curve.days[:-1])
        out = []
        for day in days:
            length = np.clip(np.minimum(curve.days, day) - start, 0.0, None)
            out.append((length * weight**2).sum() / (length * weight).sum())
        return np.array(out)

    def _carried(
        self, since: np.ndarray, days: np.ndarray, size: int, rng: np.random.Generator
    ) -> np.ndarray:
        stays = self.models.draws(np.append(self.seen_until, days), size, rng)
        stays = stays[np.argsort(-stays[:, 0], kind="stable")]
        returns = 1 - stays[:, 1:] / stays[:, :1]
        rank = np.argsort(np.argsort(since, kind="stable"), kind="stable")
        share, in_play = self._last
        left_in = (1 - since) * in_play / (1 - share) if share < 1 else np.zeros(size)
        return since[:, None] + left_in[:, None] * returns[rank]


def _beta_at(normal: np.ndarray, back: float, rest: float) -> np.ndarray:
    """Give the beta quantiles at normal quantiles, rising; exact on a grid, log between."""
    grid = np.linspace(normal[0], normal[-1], BETA_GRID)
    return np.exp(
        np.interp(normal, grid, np.log(special.betaincinv(back, rest, special.ndtr(grid))))
    )


def outlook(stratum: Stratum) -> Outlook:
    """Look ahead for the jobs of one stratum."""
    return Outlook(all_returns(stratum))
