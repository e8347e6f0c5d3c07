"""Past the follow-up: several lifetime distributions, averaged, with their disagreement."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.errors import EvidenceError
from insights.survival.fitting import Fit, fit
from insights.survival.lifetimes import FAMILIES, Family, Observed
from insights.survival.posterior import parameter_draws

LEAST_WEIGHT = 0.05
"""A model with less weight than this has no say in whether the models agree."""


@dataclass(frozen=True)
class Extrapolation:
    """Several families fitted to the same lifetimes.

    Parameters
    ----------
    fits
        One a family, in the order asked for.
    weights
        Akaike's, adding up to one, shape (M,).
    refused
        Families that could not be fitted, with the reason.
    """

    fits: tuple[Fit, ...]
    weights: np.ndarray
    refused: dict[str, str]

    @property
    def table(self) -> pd.DataFrame:
        """One row a model.

        ``model``, ``location`` and ``scale`` on log days, ``returning_share``,
        ``log_likelihood``, ``aic``, ``weight``.
        """
        return pd.DataFrame(
            {
                "model": [one.name for one in self.fits],
                "location": [one.location for one in self.fits],
                "scale": [one.scale for one in self.fits],
                "returning_share": [one.returning_share for one in self.fits],
                "log_likelihood": [one.log_likelihood for one in self.fits],
                "aic": [one.aic for one in self.fits],
                "weight": self.weights,
            }
        )

    def returns_since(self, since: float, days: np.ndarray) -> np.ndarray:
        """Give every model's chance that what is in play after ``since`` returns by each day.

        Shape (M, D).
        """
        now = np.array([one.stays(np.array([since])) for one in self.fits])
        return 1 - np.array([one.stays(days) for one in self.fits]) / now

    @property
    def heard(self) -> np.ndarray:
        """Which models have at least :data:`LEAST_WEIGHT`, shape (M,)."""
        return self.weights >= LEAST_WEIGHT

    def draws(self, days: np.ndarray, size: int, rng: np.random.Generator) -> np.ndarray:
        """Draw the chance of no return by each day, shape (size, D).

        Each model has its share of the draws, by weight, so that they spread over parameters
        and over models.
        """
        sizes = np.diff(np.round(np.append(0.0, np.cumsum(self.weights)) * size)).astype(int)
        parts = []
        for one, count in zip(self.fits, sizes, strict=True):
            if count:
                theta = parameter_draws(one, int(count), rng)
                parts.append(np.exp(one.likelihood.log_stay(theta, days)))
        return np.concatenate(parts)


def extrapolate(observed: Observed, families: Sequence[Family] = FAMILIES) -> Extrapolation:
    """Fit families to lifetimes and weigh them.

    Parameters
    ----------
    observed
        Lifetimes, counted. A unit that left service counts as censored: the models are of the
        time to a return while in service.
    families
        Which.

    Returns
    -------
    Extrapolation

    Raises
    ------
    EvidenceError
        None of the families can be fitted.

    Notes
    -----
    Weights exp(-AIC / 2), normed (Burnham and Anderson 2002, Model Selection and Multimodel
    Inference, section 2.9). A good fit inside the follow-up does not make a model right past
    it; the spread between them is part of the answer.
    """
    fits, refused = [], {}
    for family in families:
        try:
            fits.append(fit(family, observed))
        except EvidenceError as error:
            refused[family.name] = str(error)
    if not fits:
        raise EvidenceError(next(iter(refused.values())))
    aic = np.array([one.aic for one in fits])
    weight = np.exp(-(aic - aic.min()) / 2)
    return Extrapolation(tuple(fits), weight / weight.sum(), refused)
