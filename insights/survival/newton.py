"""Uphill to a maximum by damped Newton steps, or a plain word why there is none."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from insights.errors import EvidenceError

STEPS = 40
WORST_CONDITION = 1e12
HALVINGS = 30
SMALL_STEP = 1e-9
"""Newton stops when no coefficient moves by more than this share of the largest (or of 1)."""

Objective = Callable[[np.ndarray], tuple[float, np.ndarray, np.ndarray]]
"""Coefficients -> value to maximise, its gradient, and a matrix to scale the step by."""


class NoFiniteEstimateError(EvidenceError):
    """The likelihood rises for ever: use Firth's penalty, or join levels."""


def climb(objective: Objective, start: np.ndarray, free: np.ndarray | None = None) -> np.ndarray:
    """Go uphill by damped Newton steps.

    Parameters
    ----------
    objective
        What to maximise.
    start
        Where from, shape (p,).
    free
        Which coefficients may move; all by default.

    Raises
    ------
    EvidenceError
        A covariate does not vary, or two say the same thing.
    NoFiniteEstimateError
        There is no finite maximum: a level without events does this.
    """
    beta = np.array(start, dtype=float)
    free = np.ones(len(beta), dtype=bool) if free is None else free
    if not free.any():
        return beta
    value, gradient, scale = objective(beta)
    _check_separable(scale[np.ix_(free, free)])
    for _ in range(STEPS):
        step = np.zeros_like(beta)
        step[free] = _solve(scale[np.ix_(free, free)], gradient[free])
        for _ in range(HALVINGS):
            ahead = objective(beta + step)
            if np.isfinite(ahead[0]) and ahead[0] >= value - 1e-10 * (1 + abs(value)):
                break
            step /= 2
        beta = beta + step
        value, gradient, scale = ahead
        if np.abs(step).max() < SMALL_STEP * max(1.0, float(np.abs(beta).max())):
            return beta
    raise _runs_away(beta)


def _check_separable(information: np.ndarray) -> None:
    spread = np.sqrt(np.diag(information))
    if not (spread > 0).all():
        raise EvidenceError(
            "A covariate does not vary among the jobs compared. Leave it out or widen the choice."
        )
    if np.linalg.cond(information / np.outer(spread, spread)) > WORST_CONDITION:
        raise EvidenceError(
            "Two covariates say the same thing, so their effects can't be told apart. "
            "Leave one out."
        )


def _solve(matrix: np.ndarray, vector: np.ndarray) -> np.ndarray:
    spread = np.sqrt(np.diag(matrix))
    if not (spread > 0).all():
        raise _runs_away(vector)
    return np.linalg.solve(matrix / np.outer(spread, spread), vector / spread) / spread


def _runs_away(beta: np.ndarray) -> NoFiniteEstimateError:
    return NoFiniteEstimateError(
        "No finite hazard ratio fits these jobs (the largest log hazard ratio reached "
        f"{np.abs(beta).max():.3g} and still grew); a level without any comeback does this. "
        "Use the Firth penalty, or join levels."
    )
