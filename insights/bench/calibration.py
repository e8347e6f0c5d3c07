"""From a model's own probability to how often it turns out right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

CENTRE = np.array([0.0, 1.0, 1.0])
SPREAD = np.array([1.0, 0.5, 0.5])
EDGE = 1e-6  # a probability of 0 or 1 has no logarithm


@dataclass(frozen=True)
class Calibration:
    """A curve from a model's own probability p to how often it is right.

    Parameters
    ----------
    shift, rise, ceiling
        Log odds of being right = shift + rise x log p - ceiling x log(1 - p); 0, 1 and 1 change
        nothing. A small ``ceiling`` says that even the surest suggestions are often wrong.
    """

    shift: float = 0.0
    rise: float = 1.0
    ceiling: float = 1.0

    def __call__(self, probability: np.ndarray) -> np.ndarray:
        """Give how often suggestions of such a probability are right."""
        return special.expit(_logs(probability) @ [self.shift, self.rise, self.ceiling])


def calibrate(probability: np.ndarray, right: np.ndarray) -> Calibration:
    """Fit a calibration on suggestions whose outcome is known.

    Parameters
    ----------
    probability
        The model's own probability of its best cause, on jobs it was not trained on, shape (n,).
    right
        Whether that cause was coded, shape (n,).

    Returns
    -------
    Calibration
        The identity where there is no job.

    Notes
    -----
    Beta calibration (Kull, Silva Filho and Flach 2017) of the best cause only, since no other is
    ever suggested. A weak prior, Normal(0, 1) on the shift and Normal(1, 0.5) on the other two,
    holds it near the model's own word while jobs are few. Neither of these is ever negative: a
    model can be muted, not turned upside down.
    """
    logs = _logs(np.asarray(probability, dtype=float))
    hit = np.asarray(right, dtype=float)

    def loss(curve: np.ndarray) -> tuple[float, np.ndarray]:
        odds, away = logs @ curve, (curve - CENTRE) / SPREAD
        value = np.logaddexp(0, odds).sum() - hit @ odds + away @ away / 2
        return float(value), (special.expit(odds) - hit) @ logs + away / SPREAD

    fitted = optimize.minimize(
        loss, CENTRE, jac=True, method="L-BFGS-B", bounds=[(None, None), (0, None), (0, None)]
    )
    return Calibration(*map(float, fitted.x))


def _logs(probability: np.ndarray) -> np.ndarray:
    share = np.clip(probability, EDGE, 1 - EDGE)
    return np.column_stack([np.ones(len(share)), np.log(share), -np.log1p(-share)])
