"""Which root cause a text speaks of: multinomial logistic regression on weighted words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from sklearn.feature_extraction.text import TfidfTransformer
from sklearn.linear_model import LogisticRegression
from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

from insights.bench.words import Counted
from insights.errors import EvidenceError

RARE = ""
"""Stands for all causes with fewer than :data:`CAUSE_JOBS` jobs; never suggested."""
CAUSE_JOBS = 10
FEATURE_JOBS = 2  # a word seen on one job only says nothing, and may be somebody's name
FAMILIAR_SHARE = 0.5  # of a text's spellings; below, it is not a text like those learnt from
PENALTY_C = 1.0  # best or near it for log loss on the invented workshop from 2,000 to 40,000 jobs
PRECISION = 1e-3


@dataclass(frozen=True)
class Leaning:
    """Where texts lean, before calibration; each of shape (texts,).

    Parameters
    ----------
    cause
        The cause that fits best, :data:`RARE` for the rare ones together.
    probability
        The model's own probability of it.
    familiar
        Whether enough of the text is known, and the cause is not a rare one.
    """

    cause: np.ndarray
    probability: np.ndarray
    familiar: np.ndarray


class TextModel:
    """A fitted model; see :func:`fit_text_model`."""

    def __init__(
        self,
        columns: np.ndarray,
        is_spelling: np.ndarray,
        weights: TfidfTransformer,
        regression: LogisticRegression,
    ) -> None:
        self._columns = columns
        self._spelling = is_spelling[columns]
        self._weights = weights
        self._regression = regression

    @property
    def causes(self) -> tuple[str, ...]:
        """What it can suggest."""
        return tuple(str(name) for name in self._regression.classes_ if name != RARE)

    def probabilities(self, texts: Counted) -> np.ndarray:
        """Give the model's own probability of each cause, shape (texts, classes)."""
        return self._regression.predict_proba(
            self._weights.transform(texts.features[:, self._columns])
        )

    def lean(self, texts: Counted) -> Leaning:
        """Say which cause each text fits best."""
        shares = self.probabilities(texts)
        best = shares.argmax(axis=1)
        cause = self._regression.classes_[best]
        known = texts.features[:, self._columns[self._spelling]].sum(axis=1)
        enough = np.asarray(known).ravel() >= FAMILIAR_SHARE * texts.spellings
        familiar = enough & (texts.spellings > 0) & (cause != RARE)
        return Leaning(cause, shares[np.arange(len(best)), best], familiar)

    def pull_to(self, cause: str, texts: Counted) -> np.ndarray:
        """Give the log odds of one cause, shape (texts,)."""
        place = list(self._regression.classes_).index(cause)
        share = self.probabilities(texts)[:, place]
        return np.log(share) - np.log1p(-share)


def fit_text_model(
    features: sp.csr_matrix, causes: np.ndarray, is_spelling: np.ndarray
) -> TextModel:
    """Learn which causes texts speak of.

    Parameters
    ----------
    features
        Whether each feature is in each job's text, shape (jobs, features).
    causes
        The root cause coded for each job, shape (jobs,).
    is_spelling
        Which features are spellings, shape (features,).

    Raises
    ------
    EvidenceError
        No two causes to tell apart, one of them with enough jobs.

    Notes
    -----
    Features count more the fewer jobs have them (logarithm of the inverse share of jobs), and
    each text counts the same however long it is (unit length). The penalty is a squared one.
    """
    names, place, jobs = np.unique(causes, return_inverse=True, return_counts=True)
    pooled = np.where(jobs < CAUSE_JOBS, RARE, names)[place]
    if len(np.unique(pooled)) < 2:
        raise EvidenceError(
            f"There are no two root causes to tell apart: {_counted(names, jobs)}. A suggestion "
            f"needs two, at least one of them coded on {CAUSE_JOBS} jobs with a text."
        )
    columns = np.flatnonzero(np.asarray(features.sum(axis=0)).ravel() >= FEATURE_JOBS)
    if not len(columns):
        raise EvidenceError("No word was used on two jobs: there is nothing to learn from.")
    weights = TfidfTransformer().fit(features[:, columns])
    regression = LogisticRegression(C=PENALTY_C, tol=PRECISION, max_iter=1000)
    # On matrices as small as these, threads of the linear algebra wait longer than they work.
    with threadpool_limits(1):
        regression.fit(weights.transform(features[:, columns]), pooled)
    return TextModel(columns, is_spelling, weights, regression)


def _counted(names: np.ndarray, jobs: np.ndarray) -> str:
    return ", ".join(f"{name} ({count})" for name, count in zip(names, jobs, strict=True)) or "none"
