"""How many of many jobs bring a claim, each with its own chance: exact."""

from __future__ import annotations

import numpy as np

from insights.errors import RequestError

SMALL_CHANCE = 0.25
SERIES_TERMS = 52
"""Terms of log(1 + x) for abs(x) up to one half: the rest is below 1e-17 a job."""
SPREADS_KEPT = 12
LEAST_PLACES = 64
NEGLIGIBLE = 1e-13
CHUNK_CELLS = 2_000_000


def claim_chances(chances: np.ndarray, jobs: np.ndarray) -> np.ndarray:
    """Give the chance of every number of claims.

    Parameters
    ----------
    chances
        Chance of a claim in each group of jobs, shape (G,), or in each of several equally likely
        worlds, shape (size, G).
    jobs
        How many jobs each group holds, shape (G,), whole numbers.

    Returns
    -------
    numpy.ndarray
        Chance of 0, 1, 2, ... claims, as far as they matter: what lies past the end is below
        1e-12. Adds up to one.

    Raises
    ------
    RequestError
        A chance is not between 0 and 1, or a number of jobs is negative.

    Notes
    -----
    The Poisson-binomial distribution by the discrete Fourier transform of its characteristic
    function (Hong 2013, Computational Statistics and Data Analysis 59:41-51), averaged over the
    worlds before it is turned back. Jobs with equal chances cost no more than one. The
    logarithm log(1 + q(z - 1)) is a series in q for chances up to one quarter, so that the
    groups enter by their power sums only.
    """
    worlds = np.atleast_2d(np.asarray(chances, dtype=float))
    jobs = np.asarray(jobs, dtype=float)
    if not ((worlds >= 0) & (worlds <= 1)).all() or (jobs < 0).any():
        raise RequestError("Chances must be between 0 and 1, and jobs zero or more.")
    places = _places(worlds, jobs)
    turns = np.exp(-2j * np.pi * np.arange(places // 2 + 1) / places)
    large = (worlds > SMALL_CHANCE).any(axis=0)
    mean = np.zeros(len(turns), dtype=complex)
    step = max(CHUNK_CELLS // (len(turns) * (1 + int(large.sum()))), 1)
    for start in range(0, len(worlds), step):
        part = worlds[start : start + step]
        # Worlds by turns; a chance of one at a turn of -1/2 has no logarithm, hence the product.
        value = np.exp(_log_series(part[:, ~large], jobs[~large], turns))
        spread = 1 + part[:, large, None] * (turns - 1)
        value *= np.prod(spread ** jobs[large, None], axis=1)
        mean += value.sum(axis=0)
    found = np.clip(np.fft.irfft(mean / len(worlds), places), 0.0, None)
    return found / found.sum()


def quantile(found: np.ndarray, chance: float) -> int:
    """Give the smallest number of claims that is reached with at least this chance."""
    reached = int(np.searchsorted(np.cumsum(found), chance - 1e-12))
    return min(reached, len(found) - 1)


def _places(worlds: np.ndarray, jobs: np.ndarray) -> int:
    """Count how many numbers of claims can matter, as an even number."""
    mean = worlds @ jobs
    spread = np.sqrt((worlds * (1 - worlds)) @ jobs)
    wanted = float((mean + SPREADS_KEPT * spread).max()) + LEAST_PLACES
    return 2 * int(np.ceil((min(wanted, jobs.sum()) + 1) / 2))


def _log_series(chances: np.ndarray, jobs: np.ndarray, turns: np.ndarray) -> np.ndarray:
    if not chances.size:
        return np.zeros((len(chances), len(turns)), dtype=complex)
    highest, power = chances.max(axis=0), np.ones_like(chances)
    sums: list[np.ndarray] = []
    while len(sums) < SERIES_TERMS and jobs @ (2 * highest) ** len(sums) > NEGLIGIBLE:
        power = power * chances
        sums.append(power @ jobs)
    term = np.arange(1, len(sums) + 1)
    series = (
        np.array(sums).reshape(len(sums), len(chances)) * ((-1.0) ** (term + 1) / term)[:, None]
    )
    return series.T @ (turns - 1) ** term[:, None]
