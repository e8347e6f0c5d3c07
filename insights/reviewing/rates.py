"""How are we doing: comebacks by group, completed, adjusted for the mix of work, shrunk."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from insights.errors import EvidenceError, RequestError
from insights.followup import Followup
from insights.notes import Note
from insights.reviewing.expected import METHOD as EXPECTED
from insights.reviewing.expected import MIX, CaseMix, case_mixes, returned
from insights.reviewing.facets import groups, usual
from insights.reviewing.funnel import (
    ACTION_SIGMAS,
    WARNING_SIGMAS,
    dispersion,
    exact_limits,
    sigma_limits,
)
from insights.survival.maturity import MATURE_SHARE, reaches
from insights.survival.shrinkage import Ratios, most_likely_alpha, shrunk_ratios

DAYS = (90, 180, 365)
SURE = 0.975
"""From this chance on that a ratio is above one, or below, a group is called so: then its 95%
interval leaves one out."""
WORSE, UNSURE, BETTER = "probably worse", "can't tell", "probably better"
APART = ("no_fault_found", "misuse")
METHOD = (
    f"{EXPECTED} Each group's level of expectation is set by the other groups. Ratio of comebacks "
    "to expectation: gamma-Poisson, spread between groups averaged over its posterior; "
    f"'{WORSE}' and '{BETTER}' from {SURE:.1%} on. Young groups: what is still to come is the "
    "chance of each job still out, times the group's ratio. Limits: exact Poisson 95% and 99.8%, "
    "widened by the overdispersion where there is some (Spiegelhalter 2005)."
)


@dataclass(frozen=True, eq=False)
class Review:
    """Comebacks by group and day, in the order of names or of time, never of ratios.

    Parameters
    ----------
    table
        One row per ``by``, ``group`` and ``day``: ``jobs``; ``returns`` seen by the day and
        inside their terms; ``expected`` (as many as that, if it did as the others do on such
        jobs); ``ratio`` of comebacks to expectation, shrunk, with ``low`` and
        ``high``; ``raw_ratio``; ``chance_worse`` (that the true ratio is above one);
        ``warning_low``, ``warning_high``, ``action_low``, ``action_high`` (ratios that chance
        alone stays inside with 95% and 99.8%); ``verdict``.
    spread
        One row per ``by`` and ``day``: ``groups``, ``spread`` (standard deviation of true
        ratios), ``alpha`` (of their gamma distribution, most likely), ``phi`` and
        ``phi_p`` (overdispersion), ``overdispersed``.
    apart
        One row per ``by`` and ``group``: ``jobs``, ``no_fault_found`` and ``misuse`` (arrivals
        so judged, whether or not they count).
    days
        The days stated.
    jobs, units, returns
        How many are behind it.
    data_date
        The day up to which the record is complete.
    method, notes
        How, and what a reader should know.
    """

    table: pd.DataFrame
    spread: pd.DataFrame
    apart: pd.DataFrame
    days: tuple[int, ...]
    jobs: int
    units: int
    returns: int
    data_date: pd.Timestamp
    method: str
    notes: tuple[Note, ...]

    @property
    def by(self) -> tuple[str, ...]:
        """What it is reviewed by."""
        return tuple(dict.fromkeys(self.table["by"]))


def review(
    followup: Followup,
    *,
    by: str | Sequence[str] | None = None,
    days: Sequence[int] = DAYS,
    level: float = 0.95,
) -> Review:
    """Compare the comebacks of groups with what their mix of work lets one expect.

    Parameters
    ----------
    followup
        The hand-backs.
    by
        What to review by: names of :func:`insights.reviewing.facets.groups`; all that are
        recorded by default.
    days
        Days after hand-back. With ``follow="covered"`` a job counts up to its own term, and only
        jobs whose term reaches a day say what share is back by it; a day that none reaches is
        left out, and a note says so.
    level
        Of the intervals.

    Returns
    -------
    Review

    Raises
    ------
    RequestError
        An unknown name, a day that is not a whole number from 1 on, or a level not between 0
        and 1.
    EvidenceError
        Nothing to review by, or no job's term reaches any of the days.

    Notes
    -----
    A group with a single job, or a new technician, has next to nothing expected: its ratio
    stays near one with wide bounds, and the verdict is that one can't tell.
    """
    wanted = _wanted(followup, by, days, level)
    mixes = _mixes(followup, wanted)
    rows, spreads, notes = [], [], []
    for day in sorted({int(day) for day in days}):
        if not reaches(followup, day).any():
            notes.append(_no_term(day))
            continue
        counts = {mix: _Counts.of(followup, mix, day) for mix in set(mixes.values())}
        for name, values in wanted.items():
            table, spread = _compare(values, counts[mixes[name]], level)
            rows.append(table.assign(by=name, day=day))
            spreads.append({"by": name, "day": day, **spread})
    if not rows:
        raise EvidenceError(
            "No job's term reaches any of these days, so their comebacks can't be seen. Ask for "
            "earlier days, or follow jobs past their terms."
        )
    table = pd.concat(rows, ignore_index=True)
    order = [name for name in _COLUMNS if name in table]
    return Review(
        table=table[order],
        spread=pd.DataFrame(spreads),
        apart=_apart(followup, wanted),
        days=tuple(dict.fromkeys(table["day"])),
        jobs=followup.job_count,
        units=followup.unit_count,
        returns=followup.return_count,
        data_date=followup.data_date,
        method=METHOD,
        notes=(*followup.notes, *next(iter(mixes.values())).mix.notes, *notes, *_young(table)),
    )


_COLUMNS = (
    "by",
    "group",
    "day",
    "jobs",
    "returns",
    "expected",
    "ratio",
    "low",
    "high",
    "raw_ratio",
    "chance_worse",
    "warning_low",
    "warning_high",
    "action_low",
    "action_high",
    "verdict",
    "reaching_jobs",
    "reaching_returns",
    "mature_share",
    "immature",
    "completed",
    "completed_low",
    "completed_high",
    "completed_share",
)


def _wanted(
    followup: Followup, by: str | Sequence[str] | None, days: Sequence[int], level: float
) -> dict[str, pd.Series]:
    if not days or any(not (day >= 1 and day == int(day)) for day in days):
        raise RequestError(f"The days are {list(days)}. Give whole numbers from 1 on, like 180.")
    if not 0 < level < 1:
        raise RequestError(f"The level is {level}. Give one between 0 and 1, like 0.95.")
    if by is None:
        found = usual(followup)
        if not found:
            raise EvidenceError(
                "Nothing to review by: no technician, model, cause, lot or month has two groups. "
                "Record more, or widen the filter."
            )
        return found
    names = (by,) if isinstance(by, str) else tuple(by)
    if not names:
        raise RequestError("There is nothing to review by. Name at least one column.")
    return {name: groups(followup, name) for name in dict.fromkeys(names)}


@dataclass(frozen=True, eq=False)
class _Mix:
    """A fitted mix, and the relative hazard of each job under it."""

    mix: CaseMix
    relative: np.ndarray


def _mixes(followup: Followup, names: dict[str, pd.Series]) -> dict[str, _Mix]:
    """Fit what to expect, for each name without the name itself."""
    facts = {name: tuple(fact for fact in MIX if fact != name) for name in names}
    fitted = case_mixes(followup, tuple(dict.fromkeys(facts.values())))
    values = {fact: followup.values(fact) for fact in MIX}
    ready = {key: _Mix(mix, mix.relative_of(values)) for key, mix in fitted.items()}
    return {name: ready[facts[name]] for name in names}


@dataclass(frozen=True)
class _Counts:
    """What each job adds to its group, each shape (N,)."""

    back: np.ndarray
    expected: np.ndarray
    reaching: np.ndarray
    to_come: np.ndarray
    in_the_end: np.ndarray
    so_far: np.ndarray

    @staticmethod
    def of(followup: Followup, fitted: _Mix, day: int) -> _Counts:
        mix, relative = fitted.mix, fitted.relative
        episodes, jobs = followup.episodes, followup.history.jobs
        job = episodes["job"].to_numpy()
        days = episodes["days"].to_numpy()
        last = np.full(len(days), float(day))
        if followup.follow == "covered":
            # In the grace after a term only what was reported inside it still comes.
            last = np.fmin(last, jobs["term_days"].to_numpy()[job])
        stopped = np.minimum(days, last)
        age = followup.data_date.to_datetime64() - jobs["handed_back"].to_numpy()[job]
        age = np.minimum(age / np.timedelta64(1, "D"), day)
        reaching = reaches(followup, day)
        waiting = reaching & (episodes["end"] == "data_date").to_numpy() & (days < day)
        whole = float(mix.cumulative(np.array(float(day))))
        lived = mix.cumulative(stopped)
        return _Counts(
            back=(returned(followup) & (days <= last)).astype(float),
            expected=relative * lived,
            reaching=reaching.astype(float),
            to_come=np.where(waiting, -np.expm1(-relative * (whole - lived)), 0.0),
            in_the_end=-np.expm1(-relative * whole) * reaching,
            so_far=-np.expm1(-relative * mix.cumulative(age)) * reaching,
        )


def _compare(
    values: pd.Series, counts: _Counts, level: float
) -> tuple[pd.DataFrame, dict[str, object]]:
    """Compare the groups of one name on one day."""
    codes = values.cat.codes.to_numpy()
    known = codes >= 0
    size = len(values.cat.categories)

    def add_up(each: np.ndarray) -> np.ndarray:
        return np.bincount(codes[known], weights=each[known], minlength=size)

    jobs = add_up(np.ones(len(codes)))
    there = jobs > 0
    back, expected, reaching, to_come, in_the_end, so_far = (
        add_up(each)[there]
        for each in (
            counts.back,
            counts.expected,
            counts.reaching,
            counts.to_come,
            counts.in_the_end,
            counts.so_far,
        )
    )
    mature = np.divide(so_far, in_the_end, out=np.full(len(back), np.nan), where=in_the_end > 0)
    seen = add_up(counts.back * counts.reaching)[there]
    ratios = shrunk_ratios(back, expected)
    scatter = dispersion(back, ratios.expected)
    table = pd.DataFrame(
        {
            "group": values.cat.categories[there].astype(str),
            "jobs": jobs[there].astype(np.int64),
            "returns": back.astype(np.int64),
            "reaching_jobs": reaching.astype(np.int64),
            "reaching_returns": seen.astype(np.int64),
            "mature_share": mature,
            "immature": mature < MATURE_SHARE,
            **_completed(seen, to_come, reaching, ratios, level),
            **_ratios(back, ratios, level),
            **_limits(ratios.expected, scatter.phi if scatter.is_over else 1.0),
        }
    )
    spread: dict[str, object] = {
        "groups": int(there.sum()),
        "spread": ratios.spread,
        "alpha": most_likely_alpha(back, np.nan_to_num(ratios.expected)),
        "phi": scatter.phi,
        "phi_p": scatter.p,
        "overdispersed": scatter.is_over,
    }
    return table, spread


def _completed(
    seen: np.ndarray, to_come: np.ndarray, jobs: np.ndarray, ratios: Ratios, level: float
) -> dict[str, np.ndarray]:
    """Complete young groups by what is still to come.

    The chance of every job still out, times the group's ratio: with a ratio of one that is
    Bornhuetter and Ferguson's method job by job, with the raw ratio the chain ladder's. What
    comes is negative binomial, taking the ratio to be gamma with its mean and variance.
    """
    ratio, unsure = np.where(np.isnan(ratios.mean), 1.0, (ratios.mean, ratios.variance))
    shape, rate = ratio**2 / unsure, ratio / unsure
    tail = (1 - level) / 2
    found = {}
    for name, chance in (("completed_low", tail), ("completed_high", 1 - tail)):
        more = stats.nbinom.ppf(chance, shape, rate / (rate + to_come))
        found[name] = seen + np.where(to_come > 0, np.nan_to_num(more), 0.0)
    completed = seen + ratio * to_come
    share = np.divide(completed, jobs, out=np.full(len(jobs), np.nan), where=jobs > 0)
    return {"completed": completed, **found, "completed_share": share}


def _ratios(back: np.ndarray, ratios: Ratios, level: float) -> dict[str, np.ndarray]:
    tail = (1 - level) / 2
    worse = ratios.chance_above(1.0)
    some = ratios.expected > 0
    return {
        "expected": ratios.expected,
        "ratio": ratios.mean,
        "low": ratios.quantile(tail),
        "high": ratios.quantile(1 - tail),
        "raw_ratio": np.divide(back, ratios.expected, out=np.full(len(back), np.nan), where=some),
        "chance_worse": worse,
        "verdict": np.select([worse >= SURE, worse <= 1 - SURE], [WORSE, BETTER], UNSURE),
    }


def _limits(expected: np.ndarray, phi: float) -> dict[str, np.ndarray]:
    found = {}
    some = expected > 0
    law = stats.poisson(np.where(some, expected, 1.0))
    for name, sigmas in (("warning", WARNING_SIGMAS), ("action", ACTION_SIGMAS)):
        limits = exact_limits(law, sigmas) if phi == 1 else sigma_limits(law, sigmas, phi)
        for side, limit in zip(("low", "high"), limits, strict=True):
            found[f"{name}_{side}"] = np.divide(
                limit, expected, out=np.full(len(expected), np.nan), where=some
            )
    return found


def _apart(followup: Followup, names: dict[str, pd.Series]) -> pd.DataFrame:
    """Count arrivals on which nothing was wrong, or the user was: a cost, not a failure."""
    back = followup.episodes["return_job"].to_numpy()
    came = np.isin(followup.episodes["end"].cat.codes.to_numpy(), (0, 1)) & (back >= 0)
    relation = followup.history.jobs["relation"]
    rows = []
    for name, values in names.items():
        codes, size = values.cat.codes.to_numpy(), len(values.cat.categories)
        known = codes >= 0
        table = pd.DataFrame(
            {
                "by": name,
                "group": values.cat.categories.astype(str),
                "jobs": np.bincount(codes[known], minlength=size),
            }
        )
        for what in APART:
            so_judged = np.zeros(len(codes), dtype=bool)
            so_judged[came] = (relation.take(back[came]) == what).to_numpy()
            table[what] = np.bincount(codes[known & so_judged], minlength=size)
        rows.append(table[table["jobs"] > 0])
    return pd.concat(rows, ignore_index=True)


def _no_term(day: int) -> Note:
    return Note(
        "no_term_reaches",
        f"No job's term reaches {day} days, so comebacks up to that day can't be seen; it is "
        "left out.",
    )


def _young(table: pd.DataFrame) -> list[Note]:
    young = table[table["immature"]]
    if young.empty:
        return []
    return [
        Note(
            "immature",
            f"{len(young)} of {len(table)} lines {'is' if len(young) == 1 else 'are'} young: under "
            f"{MATURE_SHARE:.0%} of the comebacks can have been seen. Such numbers are completed "
            "by what is still to come.",
        )
    ]
