"""How many comebacks the mix of work lets one expect: a hazard model on counts."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import sparse

from insights.errors import EvidenceError
from insights.followup import ENDS, Followup
from insights.notes import Note
from insights.survival.lifetable import life_table
from insights.survival.newton import climb

MIX = ("model", "root_cause", "age_band", "condition", "earlier_repair", "repair_number")
"""What a job brings with it through the door; how it was worked on is what gets reviewed."""
PRIOR_SD = 0.5
"""Before their comebacks are seen, levels differ by up to a factor of 2.7 either way (95%)."""
RETURNS_PER_BAND = 3
MOST_BANDS = 24
FEWEST_JOBS = 10
MOST_LEVELS = 60
"""Levels with fewer jobs, and those past the most frequent, share the average rate."""
PSEUDO_COMEBACKS = 0.5
METHOD = (
    "Expected comebacks: piecewise-constant hazard by Poisson regression on counts, log hazard "
    f"ratios Normal(0, {PRIOR_SD:g}^2)."
)


@dataclass(frozen=True, eq=False)
class CaseMix:
    """The hazard of a comeback by day since hand-back and by what the job brought with it.

    A job's cumulative hazard by ``d`` days is ``relative * cumulative(d)``: add it up over jobs
    and their days at risk for the comebacks to expect, or take its increments along the days
    for the chance of one today.

    Parameters
    ----------
    facts
        Columns adjusted for.
    edges
        First day 0, then the last day of each band, shape (K + 1,).
    rates
        Comebacks a day of a job of relative hazard 1, one each band, shape (K,).
    levels
        One row per ``fact`` and ``level`` with a ratio of its own: ``hazard_ratio``, ``jobs``,
        ``returns``.
    covariance
        Of the log rates and then the log hazard ratios, shape (K + p, K + p).
    jobs, returns
        How many it was fitted on.
    method, notes
        How, and what a reader should know.
    """

    facts: tuple[str, ...]
    edges: np.ndarray
    rates: np.ndarray
    levels: pd.DataFrame
    covariance: np.ndarray
    jobs: int
    returns: int
    method: str
    notes: tuple[Note, ...]

    def cumulative(self, days: np.ndarray) -> np.ndarray:
        """Give the cumulative hazard of a job of relative hazard 1 by each day, same shape.

        It rises by straight lines between the edges; past the last the last rate goes on.
        """
        days = np.asarray(days, dtype=float)
        at_edges = np.append(0.0, np.cumsum(self.rates * np.diff(self.edges)))
        past = np.clip(days - self.edges[-1], 0.0, None) * self.rates[-1]
        return np.interp(days, self.edges, at_edges) + past

    def relative(self, followup: Followup) -> np.ndarray:
        """Give the relative hazard of every hand-back, shape (N,).

        A level that the fit had not seen, or not often enough, has the average: ratio 1.
        """
        if not self.facts:
            return np.ones(followup.job_count)
        return self.relative_of({fact: followup.values(fact) for fact in self.facts})

    def relative_of(self, values: Mapping[str, pd.Series]) -> np.ndarray:
        """Do the same from the facts of the hand-backs, each categorical, shape (N,)."""
        logs = np.zeros(len(next(iter(values.values()), ())))
        for fact, rows in self.levels.groupby("fact", sort=False):
            known = dict(zip(rows["level"], np.log(rows["hazard_ratio"]), strict=True))
            found = values[str(fact)].cat
            by_code = np.array([known.get(str(level), 0.0) for level in found.categories])
            logs += by_code[found.codes.to_numpy()]
        return np.exp(logs)

    def expected(self, followup: Followup, until: float = np.inf) -> np.ndarray:
        """Give the comebacks expected of every hand-back while it was followed, shape (N,).

        Parameters
        ----------
        followup
            The hand-backs.
        until
            Count days up to this one only.
        """
        days = np.minimum(followup.episodes["days"].to_numpy(), until)
        return self.relative(followup) * self.cumulative(days)

    def draws(self, size: int, rng: np.random.Generator) -> list[CaseMix]:
        """Draw baselines as uncertain as this one: normal about its logarithms."""
        root = np.linalg.cholesky(self.covariance)
        noise = rng.standard_normal((size, len(root))) @ root.T
        bands = len(self.rates)
        return [
            replace(
                self,
                rates=self.rates * np.exp(row[:bands]),
                levels=self.levels.assign(
                    hazard_ratio=self.levels["hazard_ratio"] * np.exp(row[bands:])
                ),
            )
            for row in noise
        ]


def case_mix(
    followup: Followup,
    facts: Sequence[str] = MIX,
    *,
    fit_on: np.ndarray | None = None,
) -> CaseMix:
    """Fit the comebacks to expect of a job by what it brought with it.

    Parameters
    ----------
    followup
        The hand-backs.
    facts
        Columns of :attr:`insights.followup.Followup.groupable` to adjust for; those that aren't
        recorded, or are alike in all jobs, are left out.
    fit_on
        Which hand-backs to learn from, shape (N,), so that a suspect lot doesn't set its own
        expectation; all by default.

    Returns
    -------
    CaseMix

    Raises
    ------
    EvidenceError
        No hand-back is left to learn from.

    Notes
    -----
    Poisson regression of comebacks on days at risk, by pattern of facts and band of days
    (Holford 1980, Biometrics 36:299-305): with log hazard ratios Normal(0, :data:`PRIOR_SD`
    squared) and free rates, so that over the jobs fitted as many comebacks are expected as were
    seen. Without any comeback the rate is half a comeback over all days at risk (Jeffreys' prior
    for a Poisson rate), and a note says so.
    """
    chosen = followup
    if fit_on is not None:
        episodes = followup.episodes[np.asarray(fit_on, dtype=bool)].reset_index(drop=True)
        chosen = replace(followup, episodes=episodes)
    (mix,) = case_mixes(chosen, (tuple(facts),)).values()
    return mix


def case_mixes(
    followup: Followup, several: Sequence[tuple[str, ...]]
) -> dict[tuple[str, ...], CaseMix]:
    """Fit several choices of facts on the same hand-backs, counted once (:func:`case_mix`)."""
    if not followup.job_count:
        raise EvidenceError(
            "No hand-back is left to learn from what to expect. Compare with more jobs."
        )
    wanted = dict.fromkeys(name for facts in several for name in facts)
    counted = _count(followup, tuple(name for name in wanted if name in followup.groupable))
    return {facts: _case_mix(counted, facts) for facts in several}


def _case_mix(counted: _Counted, facts: tuple[str, ...]) -> CaseMix:
    levels, design = _levels(counted, facts)
    returns = int(counted.by_pattern.sum())
    bands = len(counted.by_band)
    notes: tuple[Note, ...] = ()
    if returns:
        theta, covariance = _fit(design, counted)
    else:
        rate = PSEUDO_COMEBACKS / max(float(counted.at_risk.sum()), 1.0)
        theta = np.append(np.log(rate), np.zeros(len(levels)))
        # Of a gamma rate with so many comebacks, on the logarithm; the ratios have their prior.
        covariance = np.diag(np.append(1 / PSEUDO_COMEBACKS, np.full(len(levels), PRIOR_SD**2)))
        notes = (_nothing_seen(counted.jobs),)
    return CaseMix(
        facts=tuple(levels["fact"].unique()),
        edges=counted.edges,
        rates=np.exp(theta[:bands]),
        levels=levels.assign(hazard_ratio=np.exp(theta[bands:])),
        covariance=covariance,
        jobs=counted.jobs,
        returns=returns,
        method=METHOD,
        notes=notes,
    )


@dataclass(frozen=True)
class _Counted:
    """Comebacks and days at risk by pattern of facts and band of days."""

    patterns: pd.DataFrame
    edges: np.ndarray
    at_risk: np.ndarray
    by_band: np.ndarray
    by_pattern: np.ndarray
    jobs_of_pattern: np.ndarray

    @property
    def jobs(self) -> int:
        return int(self.jobs_of_pattern.sum())


def _count(followup: Followup, facts: tuple[str, ...]) -> _Counted:
    table = life_table(followup, facts)
    cells = table.cells
    pattern, days, jobs, outcome = (
        cells[name].to_numpy() for name in ("pattern", "days", "jobs", "outcome")
    )
    back = np.where((outcome >= 1) & (outcome <= len(table.causes)), jobs, 0)
    edges = _edges(days, back)
    size = len(table.patterns)
    at_risk = [
        np.bincount(pattern, weights=jobs * np.clip(days - low, 0, high - low), minlength=size)
        for low, high in itertools.pairwise(edges)
    ]
    band = np.clip(np.searchsorted(edges, days, side="left") - 1, 0, None)
    return _Counted(
        patterns=table.patterns,
        edges=edges,
        at_risk=np.column_stack(at_risk),
        by_band=np.bincount(band, weights=back, minlength=len(edges) - 1),
        by_pattern=np.bincount(pattern, weights=back, minlength=size),
        jobs_of_pattern=np.bincount(pattern, weights=jobs, minlength=size),
    )


def returned(followup: Followup, until: float = np.inf) -> np.ndarray:
    """Mark the hand-backs with a counted comeback by a day, shape (N,)."""
    episodes = followup.episodes
    return ((episodes["end"] == ENDS[0]) & (episodes["days"] <= until)).to_numpy()


def _edges(days: np.ndarray, back: np.ndarray) -> np.ndarray:
    """Cut the days so that every band holds about as many comebacks."""
    last = max(float(np.ceil(days.max())), 1.0)
    pieces = int(np.clip(back.sum() // RETURNS_PER_BAND, 1, MOST_BANDS))
    order = np.argsort(days, kind="stable")
    reached = np.cumsum(back[order])
    wanted = reached[-1] * np.arange(1, pieces) / pieces
    inner = np.ceil(days[order][np.searchsorted(reached, wanted)])
    # A last band without a comeback has no rate of its own.
    latest = np.ceil(days[back > 0].max(initial=0.0))
    return np.unique(np.concatenate([[0.0], inner[inner < min(latest, last)], [last]]))


def _levels(counted: _Counted, facts: tuple[str, ...]) -> tuple[pd.DataFrame, sparse.csr_array]:
    """List the levels with a ratio of their own, and which patterns have them."""
    patterns = counted.patterns
    jobs, returns = counted.jobs_of_pattern, counted.by_pattern
    rows, columns = [], []
    for fact in (name for name in facts if name in patterns):
        values = patterns[fact].cat
        codes = values.codes.to_numpy()
        count = np.bincount(codes, weights=jobs, minlength=len(values.categories))
        seen = np.bincount(codes, weights=returns, minlength=len(values.categories))
        if (count > 0).sum() < 2:
            continue
        frequent = np.sort(np.argsort(-count, kind="stable")[:MOST_LEVELS])
        for code in frequent[count[frequent] >= FEWEST_JOBS]:
            level = str(values.categories[code])
            rows.append((fact, level, 1.0, int(count[code]), int(seen[code])))
            columns.append(np.flatnonzero(codes == code))
    names = ["fact", "level", "hazard_ratio", "jobs", "returns"]
    where = np.concatenate(columns) if columns else np.empty(0, dtype=np.int64)
    column = np.repeat(np.arange(len(columns)), [len(rows) for rows in columns])
    design = sparse.coo_array(
        (np.ones(len(where)), (where, column)), shape=(len(patterns), len(columns))
    )
    return pd.DataFrame(rows, columns=names), design.tocsr()


def _fit(design: sparse.csr_array, counted: _Counted) -> tuple[np.ndarray, np.ndarray]:
    at_risk, by_band = counted.at_risk, counted.by_band
    bands, width = len(by_band), design.shape[1]
    precision = np.append(np.zeros(bands), np.full(width, PRIOR_SD**-2))
    seen = np.append(by_band, design.T @ counted.by_pattern)
    transposed = design.T.tocsr()

    def objective(theta: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        rates = np.exp(theta[:bands])
        ratio = np.exp(design @ theta[bands:])
        mean = at_risk * rates * ratio[:, None]
        total = np.append(mean.sum(axis=0), transposed @ mean.sum(axis=1))
        information = np.zeros((len(theta), len(theta)))
        information[:bands, :bands] = np.diag(total[:bands])
        information[bands:, :bands] = transposed @ mean
        information[:bands, bands:] = information[bands:, :bands].T
        weighted = sparse.diags_array(mean.sum(axis=1)) @ design
        information[bands:, bands:] = (transposed @ weighted).toarray()
        value = seen @ theta - mean.sum() - (precision * theta**2).sum() / 2
        return (
            float(value),
            seen - total - precision * theta,
            information + np.diag(precision),
        )

    start = np.append(np.log(by_band / at_risk.sum(axis=0)), np.zeros(width))
    theta = climb(objective, start)
    return theta, np.linalg.inv(objective(theta)[2])


def _nothing_seen(jobs: int) -> Note:
    return Note(
        "no_baseline",
        f"None of the {jobs} jobs to compare with has come back yet, so what to expect is a "
        "guess: half a comeback among them all.",
        jobs,
    )
