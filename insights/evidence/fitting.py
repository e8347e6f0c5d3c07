"""Main effects of categories, fitted to counts under a weak prior, for many draws at once.

Every array that differs between draws has them along its last axis, B long.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from scipy import sparse

from insights.errors import EvidenceError
from insights.evidence.compared import indicator
from insights.grouping import NOT_RECORDED

PRIOR_SD = 1.5
"""Standard deviation of the Normal prior on every covariate's log (odds or hazard) ratio.

95% of its ratios lie between 1/19 and 19: it rules out little but infinity.
"""
ORDERED = ("age_band", "condition", "repair_number", "month", "quarter", "year")
STEPS = 60
SHARED_STEPS = 4
LONGEST_STEP = 2.0
HALVINGS = 20
OVERSHOOT = 0.5

Gradient = Callable[[np.ndarray], np.ndarray]
"""Coefficients (p, B) -> gradient of the log posterior (p, B)."""
Curvature = Callable[[np.ndarray], np.ndarray]
"""Coefficients (p, B) -> minus its second derivatives (B, p, p)."""


@dataclass(frozen=True)
class Design:
    """One zero-one column per level of each covariate, and a score for each ordered one.

    No level is the reference: the prior tells the coefficients apart. The score (the place of the
    level in its order, with mean 0 and standard deviation 1 over the jobs) lets a few comebacks
    speak for a trend that the levels alone would shrink away.

    Parameters
    ----------
    columns
        The columns in which each pattern has an entry, shape (P, E).
    entries
        The entries, shape (P, E).
    width
        How many columns, p.
    """

    columns: np.ndarray
    entries: np.ndarray
    width: int

    @classmethod
    def of(cls, facts: pd.DataFrame, jobs: np.ndarray) -> Design:
        """Code covariates.

        Parameters
        ----------
        facts
            One row per pattern, one categorical column per covariate; those in :data:`ORDERED`
            have their categories in order.
        jobs
            Jobs of each pattern, shape (P,).
        """
        columns, entries, width = [], [], 0
        for name in facts:
            seen, code = np.unique(facts[name].cat.codes, return_inverse=True)
            columns.append(width + code)
            entries.append(np.ones(len(facts)))
            width += len(seen)
            if name in ORDERED:
                columns.append(np.full(len(facts), width))
                entries.append(_score(facts[name], jobs))
                width += 1
        if not columns:
            return cls(np.zeros((len(facts), 1), dtype=np.int64), np.ones((len(facts), 1)), 1)
        return cls(np.column_stack(columns), np.column_stack(entries), width)

    @cached_property
    def transposed(self) -> sparse.csr_array:
        """The columns as rows, shape (p, P)."""
        return _add(
            [
                indicator(column, self.width, entry)
                for column, entry in zip(self.columns.T, self.entries.T, strict=True)
            ]
        )

    @cached_property
    def matrix(self) -> sparse.csr_array:
        """The columns, shape (P, p)."""
        return self.transposed.T.tocsr()

    @cached_property
    def _pairs(self) -> tuple[np.ndarray, sparse.csr_array]:
        """Place of each pair of columns that can occur together, and the matrix that adds them."""
        pairs = list(itertools.combinations_with_replacement(range(self.columns.shape[1]), 2))
        keys = [self.columns[:, i] * self.width + self.columns[:, j] for i, j in pairs]
        seen, place = np.unique(np.concatenate(keys), return_inverse=True)
        products = [self.entries[:, i] * self.entries[:, j] for i, j in pairs]
        places = np.split(place, len(keys))
        return seen, _add(
            [
                indicator(at, len(seen), product)
                for at, product in zip(places, products, strict=True)
            ]
        )

    def cross(self, weights: np.ndarray) -> np.ndarray:
        """Compute X' diag(weights) X for every draw: (P, B) becomes (B, p, p)."""
        seen, pairs = self._pairs
        summed = pairs @ weights
        out = np.zeros((self.width, self.width, weights.shape[1]))
        row, column = seen // self.width, seen % self.width
        out[row, column] = summed
        out[column, row] = summed
        return np.moveaxis(out, 2, 0)


def climb(
    gradient: Gradient, curvature: Curvature, start: np.ndarray, first: np.ndarray, tolerance: float
) -> np.ndarray:
    """Find the maximum of a concave log posterior for every draw.

    Parameters
    ----------
    gradient, curvature
        Of the log posterior.
    start
        Where from, shape (p, B).
    first
        Curvature to begin with, (p, p) for all or (B, p, p): that of the whole record, which
        every draw shares, is nearly right when there are many returns; each draw's own takes
        over after :data:`SHARED_STEPS` steps.
    tolerance
        Stop when no step is longer than this share of a standard error.

    Raises
    ------
    EvidenceError
        The steps don't settle.
    """
    beta, scale, uphill = start.copy(), first, gradient(start)
    for step_number in range(1, STEPS + 1):
        step = np.linalg.solve(scale, uphill.T[..., None])[..., 0].T
        rise = (step * uphill).sum(axis=0)
        step *= np.minimum(1.0, LONGEST_STEP / np.maximum(np.abs(step).max(axis=0), LONGEST_STEP))
        ahead = gradient(beta + step)
        # On a concave hill a slope that has turned downwards more than it rose is too far.
        for _ in range(HALVINGS):
            too_far = (step * ahead).sum(axis=0) < -OVERSHOOT * np.abs((step * uphill).sum(axis=0))
            if not too_far.any():
                break
            step = np.where(too_far, step / 2, step)
            ahead = gradient(beta + step)
        beta, uphill = beta + step, ahead
        if np.sqrt(np.abs(rise).max()) < tolerance:
            return beta
        if step_number >= SHARED_STEPS:
            scale = curvature(beta)
    raise EvidenceError(
        "The model of comebacks does not settle on these jobs. Adjust for fewer covariates."
    )


def _score(values: pd.Series, jobs: np.ndarray) -> np.ndarray:
    place = values.cat.codes.to_numpy().astype(float)
    known = (values != NOT_RECORDED).to_numpy()
    if not jobs[known].any():
        return np.zeros(len(place))
    mean = np.average(place[known], weights=jobs[known])
    spread = np.sqrt(np.average((place[known] - mean) ** 2, weights=jobs[known]))
    return np.where(known, (place - mean) / spread, 0.0) if spread > 0 else np.zeros(len(place))


def _add(matrices: list[sparse.csr_array]) -> sparse.csr_array:
    total = matrices[0]
    for matrix in matrices[1:]:
        total = total + matrix
    return total.tocsr()
