"""Every estimator of the two risks, on the record and on draws of it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from insights.evidence.compared import ARMS, Compared
from insights.evidence.fitting import Design
from insights.evidence.hazards import (
    Clock,
    Hazards,
    Weighted,
    add_up,
    cut,
    fit_hazards,
)
from insights.evidence.propensity import (
    Population,
    chances,
    fit_propensity,
    job_weights,
    population_weights,
)
from insights.evidence.resampling import Draw, draws, whole_record
from insights.evidence.robust import Ends, doubly_robust_risks
from insights.evidence.standardise import standardise
from insights.evidence.threads import in_threads
from insights.evidence.weighting import (
    Daily,
    line_up,
    strata_of,
    stratified_shares,
    weighted_shares,
)

PLAIN = "plain"
MODEL = "hazard model"
STRATA = "strata of the chance"
WEIGHTED = "weighted jobs"
OVERLAP = "overlap weights"
ROBUST = "doubly robust"
RETURNS_FOR = {PLAIN: 0, MODEL: 1, STRATA: 10, WEIGHTED: 25, OVERLAP: 25, ROBUST: 50}
"""Comebacks asked about from which each estimator is trusted."""
STRATA_COUNT = 5

Risks = dict[str, np.ndarray]
"""By estimator, risks by part and arm, shape (parts, 2, B); one part for the doubly robust."""


@dataclass(frozen=True)
class Answer:
    """What one block of draws says.

    Parameters
    ----------
    risks
        By estimator.
    days_lost
        Of the hazard model, by arm, shape (2, B).
    """

    risks: Risks
    days_lost: np.ndarray


@dataclass(frozen=True)
class Fits:
    """Hazards, and the coefficients of the chances, shape (1 + p, B)."""

    hazards: Hazards
    choice: np.ndarray


@dataclass(frozen=True)
class Estimators:
    """The estimators of one comparison, set up once for the record and all of its draws.

    Parameters
    ----------
    cells
        The record.
    population
        Whose jobs the risks are of.
    names
        Which estimators to run.
    """

    cells: Compared
    population: Population
    names: tuple[str, ...]

    @cached_property
    def design(self) -> Design:
        """Columns of the covariates."""
        return Design.of(self.cells.facts, self.cells.jobs.sum(axis=0))

    @cached_property
    def fits(self) -> Fits:
        """Both models fitted to the record."""
        return self._fit(self._data(whole_record(self.cells, self.design.width)), None)

    @cached_property
    def record(self) -> Answer:
        """The answer of the record itself."""
        draw = whole_record(self.cells, self.design.width)
        return self._answer(draw, self._data(draw), self.fits)

    @cached_property
    def chance(self) -> np.ndarray:
        """Chance of each pattern to be done the way asked about, shape (P,)."""
        return chances(self.design, self.fits.choice)[:, 0]

    @cached_property
    def pattern_weights(self) -> np.ndarray:
        """Weight of each pattern in the population, shape (P,)."""
        jobs = self.cells.jobs[..., None]
        return population_weights(self.population, jobs, self.chance[:, None])[:, 0]

    @cached_property
    def weights(self) -> np.ndarray:
        """Weight of a job by arm and pattern, shape (2, P)."""
        return job_weights(self.population, self.chance[:, None])[..., 0]

    def drawn(self, replicates: int, seed: int) -> Answer:
        """Refit everything on draws of the record by units."""
        numbers = max(len(self._clock.widths) * self.cells.jobs.size, len(self.cells.cell_jobs))
        _ = self.record  # what all draws share is made before they are worked on side by side
        drawn = draws(self.cells, self.design.width, replicates, seed, numbers)
        answers = list(in_threads(self._refitted, drawn))
        return Answer(
            risks={
                name: np.concatenate([answer.risks[name] for answer in answers], axis=-1)
                for name in self.names
            },
            days_lost=np.concatenate([answer.days_lost for answer in answers], axis=-1),
        )

    def _refitted(self, draw: Draw) -> Answer:
        data = self._data(draw)
        return self._answer(draw, data, self._fit(data, self.fits))

    @cached_property
    def _clock(self) -> Clock:
        return cut(self.cells)

    @cached_property
    def _ends(self) -> Ends:
        return Ends.of(self.cells, self._clock)

    @cached_property
    def _by_arm(self) -> Daily:
        return line_up(self.cells, self.cells.cell_arm, len(ARMS))

    @cached_property
    def _stratum(self) -> np.ndarray:
        return strata_of(self.chance, self.pattern_weights, STRATA_COUNT)

    @cached_property
    def _by_stratum(self) -> Daily:
        group = self.cells.cell_arm * STRATA_COUNT + self._stratum[self.cells.cell_pattern]
        return line_up(self.cells, group, len(ARMS) * STRATA_COUNT)

    def _data(self, draw: Draw) -> Weighted:
        return add_up(self.cells, self._clock, draw)

    def _fit(self, data: Weighted, start: Fits | None) -> Fits:
        hazards = fit_hazards(self.design, data, None if start is None else start.hazards)
        choice = None if start is None else start.choice[:, 0]
        return Fits(hazards, fit_propensity(self.design, data.jobs, choice))

    def _answer(self, draw: Draw, data: Weighted, fits: Fits) -> Answer:
        chance = chances(self.design, fits.choice)
        population = population_weights(self.population, data.jobs, chance)
        model = standardise(self.design, fits.hazards, population, self.cells.parts.is_target)
        risks = {MODEL: model.risks}
        if PLAIN in self.names:
            risks[PLAIN] = weighted_shares(self._by_arm, draw.weights)
        if STRATA in self.names:
            risks[STRATA] = stratified_shares(
                self._by_stratum, draw.weights, self._stratum, population
            )
        if WEIGHTED in self.names:
            risks[WEIGHTED] = self._shares(draw, job_weights(self.population, chance))
        if OVERLAP in self.names:
            risks[OVERLAP] = self._shares(draw, job_weights("comparable", chance))
        if ROBUST in self.names:
            risks[ROBUST] = doubly_robust_risks(
                self._ends,
                self.design,
                fits.hazards,
                data,
                draw.weights,
                job_weights(self.population, chance),
                population,
                self.cells.parts.is_target,
            )[None]
        return Answer(risks, model.days_lost)

    def _shares(self, draw: Draw, weights: np.ndarray) -> np.ndarray:
        cells = self.cells
        return weighted_shares(
            self._by_arm, draw.weights * weights[cells.cell_arm, cells.cell_pattern]
        )
