"""Were like jobs compared? Balance, overlap, and who can't be compared."""

from __future__ import annotations

import numpy as np
import pandas as pd

from insights.evidence.compared import AGAINST, LEVEL, quotient
from insights.evidence.result import Overlap

OPEN_CHOICE = (0.05, 0.95)
ALWAYS = 0.98
FEWEST_JOBS = 5
BAND = 0.05
BALANCE_COLUMNS = ("covariate", "value", "share_level", "share_against", "before", "after")


def effective_jobs(weights: np.ndarray, jobs: np.ndarray) -> float:
    """Count how many equally weighted jobs the weighted ones are worth.

    ``(sum w)^2 / sum w^2`` (Kish 1965, Survey Sampling), over ``jobs`` alike per weight.
    """
    squares = (jobs * weights**2).sum()
    return float((jobs * weights).sum() ** 2 / squares) if squares > 0 else 0.0


def balance_table(facts: pd.DataFrame, jobs: np.ndarray, weights: np.ndarray) -> pd.DataFrame:
    """Compare the arms in every value of every covariate.

    Parameters
    ----------
    facts
        One row per pattern, one categorical column per covariate.
    jobs
        By arm and pattern, shape (2, P).
    weights
        Of a job, by arm and pattern, shape (2, P).

    Returns
    -------
    pandas.DataFrame
        :data:`BALANCE_COLUMNS`. ``before`` and ``after`` weighting are differences of shares
        over the square root of their mean binomial variance before weighting (Austin 2009,
        Statistics in Medicine 28:3083-3107); beyond 0.1 the arms differ in it.
    """
    rows = []
    for name in facts:
        codes = facts[name].cat.codes.to_numpy()
        values = facts[name].cat.categories
        before = [_shares(codes, jobs[arm], len(values)) for arm in (AGAINST, LEVEL)]
        after = [_shares(codes, (jobs * weights)[arm], len(values)) for arm in (AGAINST, LEVEL)]
        spread = np.sqrt(sum(share * (1 - share) for share in before) / 2)
        there = np.bincount(codes, minlength=len(values)) > 0
        rows.append(
            pd.DataFrame(
                {
                    "covariate": str(name),
                    "value": values.astype(str),
                    "share_level": before[LEVEL],
                    "share_against": before[AGAINST],
                    "before": quotient(before[LEVEL] - before[AGAINST], spread),
                    "after": quotient(after[LEVEL] - after[AGAINST], spread),
                }
            )[there]
        )
    if not rows:
        return pd.DataFrame({name: [] for name in BALANCE_COLUMNS})
    return pd.concat(rows, ignore_index=True)


def overlap_of(
    jobs: np.ndarray, weights: np.ndarray, chance: np.ndarray, population: np.ndarray
) -> Overlap:
    """Say how much of the population had an open choice, and what the weighted jobs are worth.

    Parameters
    ----------
    jobs, weights
        By arm and pattern, shape (2, P).
    chance, population
        Chance of being treated, and weight in the population, of each pattern, shape (P,).
    """
    closed = (chance < OPEN_CHOICE[0]) | (chance > OPEN_CHOICE[1])
    return Overlap(
        share_outside=float(population[closed].sum() / population.sum()),
        effective_jobs_level=effective_jobs(weights[LEVEL], jobs[LEVEL]),
        effective_jobs_against=effective_jobs(weights[AGAINST], jobs[AGAINST]),
    )


def propensity_table(jobs: np.ndarray, chance: np.ndarray) -> pd.DataFrame:
    """Count the jobs of each arm by bands of the chance of being treated."""
    bands = round(1 / BAND)
    band = np.minimum((chance * bands).astype(np.int64), bands - 1)
    return pd.DataFrame(
        {
            "low": np.arange(bands) / bands,
            "high": np.arange(1, bands + 1) / bands,
            "jobs_level": np.bincount(band, jobs[LEVEL], minlength=bands).astype(np.int64),
            "jobs_against": np.bincount(band, jobs[AGAINST], minlength=bands).astype(np.int64),
        }
    )


def choices_by(values: pd.Series, arm: np.ndarray, name: str) -> pd.DataFrame:
    """Count jobs of each arm by a fact about the job.

    Parameters
    ----------
    values
        Categorical, one a job.
    arm
        Of each job; -1 for jobs not compared.
    name
        Name of the first column.
    """
    codes = values.cat.codes.to_numpy()
    labels = values.cat.categories.astype(str)
    counts = [np.bincount(codes[arm == a], minlength=len(labels)) for a in (AGAINST, LEVEL)]
    table = pd.DataFrame(
        {name: labels, "jobs_level": counts[LEVEL], "jobs_against": counts[AGAINST]}
    )
    table = table[table["jobs_level"] + table["jobs_against"] > 0].reset_index(drop=True)
    table["share_level"] = table["jobs_level"] / (table["jobs_level"] + table["jobs_against"])
    return table


def incomparable(facts: pd.DataFrame, jobs: np.ndarray) -> pd.DataFrame:
    """List the covariate values that were (almost) always or never done one way."""
    rows = []
    for name in facts:
        codes = facts[name].cat.codes.to_numpy()
        values = facts[name].cat.categories.astype(str)
        done, other = (np.bincount(codes, jobs[arm], minlength=len(values)) for arm in (1, 0))
        total = done + other
        share = quotient(done, total)
        fixed = (total >= FEWEST_JOBS) & ((share >= ALWAYS) | (share <= 1 - ALWAYS))
        rows += [
            (str(name), values[code], int(total[code]), float(share[code]))
            for code in np.flatnonzero(fixed)
        ]
    return pd.DataFrame(rows, columns=["covariate", "value", "jobs", "share_level"])


def _shares(codes: np.ndarray, weight: np.ndarray, size: int) -> np.ndarray:
    return np.bincount(codes, weight, minlength=size) / weight.sum()
