"""Two people coding the same comebacks apart: who is drawn, and how far they agree."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from insights.errors import RequestError
from insights.notes import Note

DRAWN_SHARE = 0.15
LEVEL = 0.95
FEW_JOBS = 30


def drawn_for_second_coding(
    job_ids: Iterable[str], *, share: float = DRAWN_SHARE, seed: int = 0
) -> tuple[str, ...]:
    """Draw the comebacks that a second person codes without seeing the first coding.

    Parameters
    ----------
    job_ids
        The comebacks' job numbers.
    share
        How many of them, as a share; 10 to 20 of 100 are usual.
    seed
        Changes the draw.

    Returns
    -------
    tuple of str
        Those drawn, in the order given. Each is drawn by its own number alone, so a draw never
        changes with the jobs that come later, and nobody can choose.

    Raises
    ------
    RequestError
        A share not above 0 and up to 1.
    """
    check_share(share)
    return tuple(job_id for job_id in job_ids if _ticket(job_id, seed) < share)


def check_share(share: float) -> None:
    """Refuse a share not above 0 and up to 1.

    Raises
    ------
    RequestError
        It is another.
    """
    if not 0 < share <= 1:
        raise RequestError(f"The share to code twice is {share}. Give one above 0 and up to 1.")


def _ticket(job_id: str, seed: int) -> float:
    digest = hashlib.sha256(f"{seed}:{job_id}".encode()).digest()
    return int.from_bytes(digest[:8], "big") / 2**64


@dataclass(frozen=True)
class Agreement:
    """How far two codings of the same jobs agree.

    Parameters
    ----------
    table
        Jobs by first coding (rows) and second coding (columns), the same codes in both.
    jobs, alike
        How many were coded twice, and how many alike.
    agree_share, agree_low, agree_high
        Share coded alike, with Clopper and Pearson's 95% bounds; NaN without jobs.
    kappa, kappa_low, kappa_high
        Cohen's kappa with its 95% bounds: 1 full agreement, 0 no more than chance; NaN where both
        always gave one and the same code, or without jobs.
    method
        The statistics, named.
    notes
        ``few`` jobs, ``one_code`` only.
    """

    table: pd.DataFrame
    jobs: int
    alike: int
    agree_share: float
    agree_low: float
    agree_high: float
    kappa: float
    kappa_low: float
    kappa_high: float
    method: str = "Cohen's kappa; exact-type bounds, chance accord held as seen"
    notes: tuple[Note, ...] = ()


def agreement(first: Sequence[str], second: Sequence[str]) -> Agreement:
    """Compare two codings of the same jobs.

    Parameters
    ----------
    first, second
        Codes by job, in the same order.

    Returns
    -------
    Agreement

    Raises
    ------
    RequestError
        The two differ in length.

    Notes
    -----
    Cohen 1960, Educ. Psychol. Meas. 20:37. The bounds are those of the share coded alike (Clopper
    and Pearson), with the accord expected from chance held as seen. They cover a little more
    than they say (96% and up from 10 to 100 jobs); the usual large-sample error covers as little
    as 87% of so few, and none at all where every job is coded alike.
    """
    if len(first) != len(second):
        raise RequestError(
            f"The first coding has {len(first)} jobs, the second {len(second)}. Give the same jobs."
        )
    codes = sorted(set(first) | set(second))
    counts = pd.crosstab(pd.Categorical(first, codes), pd.Categorical(second, codes), dropna=False)
    counts = counts.set_axis(codes, axis=0).set_axis(codes, axis=1)
    return agreement_of_counts(counts)


def agreement_of_counts(counts: pd.DataFrame) -> Agreement:
    """Compare two codings from their table of counts.

    Parameters
    ----------
    counts
        Jobs by first coding (rows) and second coding (columns), the same codes in both.

    Returns
    -------
    Agreement
        As of :func:`agreement`.
    """
    seen = counts.to_numpy(dtype=float)
    jobs, alike = int(seen.sum()), int(np.trace(seen))
    share, low, high = _share(alike, jobs)
    kappa, kappa_low, kappa_high = _kappa(seen, (share, low, high))
    return Agreement(
        table=counts,
        jobs=jobs,
        alike=alike,
        agree_share=share,
        agree_low=low,
        agree_high=high,
        kappa=kappa,
        kappa_low=kappa_low,
        kappa_high=kappa_high,
        notes=_remarks(jobs, kappa),
    )


def _share(alike: int, jobs: int) -> tuple[float, float, float]:
    if not jobs:
        return np.nan, np.nan, np.nan
    bounds = stats.binomtest(alike, jobs).proportion_ci(LEVEL, method="exact")
    return alike / jobs, float(bounds.low), float(bounds.high)


def _kappa(seen: np.ndarray, agree: tuple[float, float, float]) -> tuple[float, float, float]:
    if not seen.sum():
        return np.nan, np.nan, np.nan
    share = seen / seen.sum()
    chance = float(share.sum(axis=1) @ share.sum(axis=0))
    if np.isclose(chance, 1):
        return np.nan, np.nan, np.nan
    kappa, low, high = ((one - chance) / (1 - chance) for one in agree)
    return kappa, max(low, -1.0), high


def _remarks(jobs: int, kappa: float) -> tuple[Note, ...]:
    notes = []
    if jobs and np.isnan(kappa):
        notes.append(
            Note(
                "one_code",
                "Both gave one and the same answer every time, so accord beyond chance can't be "
                "told.",
                jobs,
            )
        )
    if 0 < jobs < FEW_JOBS:
        notes.append(
            Note("few", f"Only {jobs} were coded twice; the range says how little that is.", jobs)
        )
    return tuple(notes)
