"""How often suggestions would have been right, and whether their probabilities can be believed."""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np
import pandas as pd
from scipy import stats

from insights.bench.coded import CodedJobs
from insights.errors import RequestError
from insights.notes import Note

CONFIDENCES = (0.5, 0.6, 0.7, 0.8, 0.9)
BANDS = 10
BAND_JOBS = 20
LEVEL = 0.95
RELIABILITY = ("probability", "jobs", "right", "right_share", "low", "high")
CODES_FOLLOW = Note(
    "codes_follow",
    "Right means that the bench coded that cause. A bench that has seen a suggestion tends to code "
    "it; have a second person code some jobs without seeing it.",
)


@dataclass(frozen=True)
class Hits:
    """How suggestions fared at one confidence.

    Parameters
    ----------
    confidence
        Below this probability nothing was said.
    judged, spoke, right
        Coded jobs judged, those on which it spoke, and those on which it named the coded cause.
    right_share, low, high
        Share right of those on which it spoke, with Clopper and Pearson's 95% bounds; NaN where
        it never spoke.
    """

    confidence: float
    judged: int
    spoke: int
    right: int
    right_share: float
    low: float
    high: float


@dataclass(frozen=True)
class TrackRecord:
    """What would have been suggested on past jobs, beside what the bench then coded.

    Parameters
    ----------
    jobs
        One row a judged job in order of arrival: ``job_id``, ``received``, ``root_cause`` as
        coded, ``suggestion`` (missing: none at any confidence), ``probability`` of being right,
        ``right``.
    notes
        What a reader should know.
    """

    jobs: pd.DataFrame
    notes: tuple[Note, ...] = (CODES_FOLLOW,)
    method: str = (
        "Each job judged by a model trained, and calibrated, on jobs whose cause was known before "
        "that model's first day; a new model whenever the known jobs had grown by a quarter."
    )

    def at(self, confidence: float, cause: str | None = None) -> Hits:
        """Say how suggestions fared at a confidence.

        Parameters
        ----------
        confidence
            Between 0 and 1.
        cause
            Only the times it suggested this cause; any when not given.

        Raises
        ------
        RequestError
            The confidence is not between 0 and 1.
        """
        spoke = self.jobs["suggestion"].notna()
        spoke &= self.jobs["probability"] >= checked(confidence)
        if cause is not None:
            spoke &= self.jobs["suggestion"] == cause
        right = int(self.jobs["right"][spoke].sum())
        return _hits(confidence, len(self.jobs), int(spoke.sum()), right)

    @property
    def table(self) -> pd.DataFrame:
        """One row a confidence: the fields of :class:`Hits`."""
        return pd.DataFrame([asdict(self.at(one)) for one in CONFIDENCES])

    @property
    def reliability(self) -> pd.DataFrame:
        """Probabilities beside what came, in bands of equally many suggestions.

        Returns
        -------
        pandas.DataFrame
            ``probability`` (mean of the band), ``jobs``, ``right``, ``right_share``, ``low``,
            ``high`` (95%), the surest band last.
        """
        had = self.jobs[self.jobs["suggestion"].notna()].sort_values("probability", kind="stable")
        bands = min(BANDS, max(len(had) // BAND_JOBS, 1))
        lines = []
        for rows in np.array_split(np.arange(len(had)), bands):
            band, right = had.iloc[rows], int(had["right"].iloc[rows].sum())
            mean = float(band["probability"].mean()) if len(band) else np.nan
            lines.append((mean, len(band), right, *_share_right(right, len(band))))
        return pd.DataFrame(lines, columns=list(RELIABILITY))


def checked(confidence: float) -> float:
    """Refuse a confidence that is not between 0 and 1."""
    if not 0 < confidence < 1:
        raise RequestError(
            f"The confidence is {confidence}. Give one between 0 and 1: 0.8 asks for suggestions "
            "that are right at least eight times in ten."
        )
    return confidence


def record_of(replayed: pd.DataFrame, coded: CodedJobs) -> TrackRecord:
    """Put replayed suggestions beside what the bench coded.

    Suggestions made before any outcome could calibrate them are left out.
    """
    judged = replayed[replayed["calibrated_on"] > 0].sort_values("row")
    rows = judged["row"].to_numpy(dtype=np.int64)
    jobs = pd.DataFrame(
        {
            "job_id": coded.job_id[rows],
            "received": coded.received[rows].astype("datetime64[D]").astype("datetime64[ns]"),
            "root_cause": coded.cause[rows],
            "suggestion": judged["suggestion"].to_numpy(dtype=object),
            "probability": judged["probability"].to_numpy(dtype=float),
            "right": judged["right"].to_numpy(dtype=bool),
        }
    )
    return TrackRecord(jobs)


def _hits(confidence: float, judged: int, spoke: int, right: int) -> Hits:
    return Hits(confidence, judged, spoke, right, *_share_right(right, spoke))


def _share_right(right: int, spoke: int) -> tuple[float, float, float]:
    """Give the share right with its bounds (Clopper and Pearson, from scipy)."""
    if not spoke:
        return np.nan, np.nan, np.nan
    bounds = stats.binomtest(right, spoke).proportion_ci(LEVEL, method="exact")
    return right / spoke, float(bounds.low), float(bounds.high)
