"""What jobs of one month or one lot share: some groups run better or worse than the rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.survival.shrinkage import most_likely_alpha

ENOUGH_EVIDENCE = 1.645
"""Standard deviations by which the groups must differ more than chance: 5%, one-sided."""
FEWEST_GROUPS = 5


@dataclass(frozen=True, eq=False)
class SharedEffect:
    """A factor on the claims of all jobs of one group.

    Parameters
    ----------
    name
        What the groups are.
    groups
        One row a group, in the order of its codes: ``group``, ``claims`` seen, ``expected``.
    alpha
        The factors are Gamma(alpha, alpha) before a group's own claims are seen.
    evidence
        How far the groups differ more than chance, in standard deviations.
    """

    name: str
    groups: pd.DataFrame
    alpha: float
    evidence: float

    @property
    def spread(self) -> float:
        """Standard deviation of the factor between groups."""
        return float(1 / np.sqrt(self.alpha))

    def mean(self) -> np.ndarray:
        """Give the expected factor of each group, its own claims seen."""
        seen, expected = (self.groups[name].to_numpy() for name in ("claims", "expected"))
        return (self.alpha + seen) / (self.alpha + expected)

    def draws(self, size: int, rng: np.random.Generator) -> np.ndarray:
        """Draw the factor of each group, shape (size, groups)."""
        seen, expected = (self.groups[name].to_numpy() for name in ("claims", "expected"))
        shape = self.alpha + seen
        return rng.gamma(shape, 1 / (self.alpha + expected), (size, len(shape)))


def shared_effect(
    name: str, groups: pd.Series, claims: np.ndarray, expected: np.ndarray
) -> SharedEffect | None:
    """Find whether jobs of one group share a factor, and how large.

    Parameters
    ----------
    name
        What the groups are.
    groups
        The group of each job, categorical, no value missing, shape (N,).
    claims, expected
        Whether each job brought a claim, and its cumulative hazard while followed, shape (N,).

    Returns
    -------
    SharedEffect or None
        None where the groups differ no more than chance lets them (:data:`ENOUGH_EVIDENCE`).

    Notes
    -----
    Claims of a group are Poisson with mean expected times a gamma factor, which makes counts
    negative binomial; alpha by maximum likelihood. Whether they vary more than a Poisson count:
    the score test of Dean (1992, Journal of the American Statistical Association 87:451-457).
    """
    codes, size = groups.cat.codes.to_numpy(), len(groups.cat.categories)
    seen = np.bincount(codes, weights=claims, minlength=size)
    mean = np.bincount(codes, weights=expected, minlength=size)
    if (mean > 0).sum() < FEWEST_GROUPS or not seen.sum():
        return None
    mean = mean * seen.sum() / mean.sum()
    evidence = ((seen - mean) ** 2 - seen).sum() / np.sqrt(2 * (mean**2).sum())
    if evidence < ENOUGH_EVIDENCE:
        return None

    table = pd.DataFrame(
        {"group": groups.cat.categories.astype(str), "claims": seen, "expected": mean}
    )
    return SharedEffect(name, table, most_likely_alpha(seen, mean), float(evidence))
