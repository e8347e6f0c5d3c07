"""Past jobs judged as it would have been done then, by models of earlier jobs only."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd

from insights.bench.calibration import Calibration, calibrate
from insights.bench.coded import CodedJobs
from insights.bench.text_model import TextModel, fit_text_model
from insights.bench.words import Counted
from insights.errors import EvidenceError

FIRST_JOBS = 60  # before the first model is trained
GROWTH = 1.25  # a new model whenever so many times as many coded jobs are known
LATEST_JOBS = 8_000  # what a model is trained on at most: enough, recent, and quick
CALIBRATION_JOBS = 200
ALWAYS = np.iinfo(np.int64).max


def replay(coded: CodedJobs, counted: Counted, is_spelling: np.ndarray) -> pd.DataFrame:
    """Suggest a cause for past jobs as it would have been done then.

    Parameters
    ----------
    coded
        The coded jobs.
    counted
        Their texts as counts, in the same order.
    is_spelling
        Which features are spellings.

    Returns
    -------
    pandas.DataFrame
        One row a job after the first model: ``row`` in ``coded``, ``raw`` (the model's own
        probability of its best cause), ``suggestion`` (that cause; None where the text is
        unknown or the cause rare), ``probability`` (calibrated), ``right``, ``calibrated_on``
        (how many outcomes the calibration had seen).

    Notes
    -----
    The days on which models are made depend on earlier jobs only, so that later jobs change no
    earlier suggestion.
    """
    parts = [_nothing()]
    for start, end in _stretches(coded):
        rows = np.flatnonzero((coded.received >= start) & (coded.received < end))
        if not len(rows):
            continue
        try:
            model = model_before(start, coded, counted, is_spelling)
        except EvidenceError:
            continue  # one cause only so far: nothing could have been suggested
        seen = pd.concat([part for part in parts if len(part)] or parts)
        seen = seen[coded.known[seen["row"]] < start]
        texts = Counted(counted.features[rows], counted.spellings[rows])
        leaning = model.lean(texts)
        parts.append(
            pd.DataFrame(
                {
                    "row": rows,
                    "raw": leaning.probability,
                    "suggestion": pd.Series(leaning.cause).where(leaning.familiar, None),
                    "probability": calibration_from(seen)(leaning.probability),
                    "right": leaning.familiar & (leaning.cause == coded.cause[rows]),
                    "calibrated_on": int(seen["suggestion"].notna().sum()),
                }
            )
        )
    return pd.concat([part for part in parts if len(part)] or parts, ignore_index=True)


def model_before(
    day: int, coded: CodedJobs, counted: Counted, is_spelling: np.ndarray
) -> TextModel:
    """Train a model on the latest jobs whose cause was known before a day.

    Raises
    ------
    EvidenceError
        See :func:`insights.bench.text_model.fit_text_model`.
    """
    rows = np.flatnonzero((coded.known < day) & coded.worded)
    rows = np.sort(rows[np.argsort(coded.known[rows], kind="stable")[-LATEST_JOBS:]])
    return fit_text_model(counted.features[rows], coded.cause[rows], is_spelling)


def calibration_from(replayed: pd.DataFrame) -> Calibration:
    """Calibrate on the later half of replayed suggestions, on all while they are few.

    A model's own probabilities change as it learns from more jobs; those of its early days would
    mislead.
    """
    told = replayed[replayed["suggestion"].notna()]
    told = told.tail(max(len(told) // 2, CALIBRATION_JOBS))
    return calibrate(told["raw"].to_numpy(), told["right"].to_numpy())


def _stretches(coded: CodedJobs) -> Iterator[tuple[int, int]]:
    """Give the days from which, and up to which, each model serves."""
    known = np.sort(coded.known[coded.worded])
    starts: list[int] = []
    wanted = float(FIRST_JOBS)
    while wanted <= len(known):
        start = int(known[round(wanted) - 1]) + 1
        if not starts or start > starts[-1]:
            starts.append(start)
        wanted *= GROWTH
    yield from zip(starts, [*starts[1:], ALWAYS], strict=True)


def _nothing() -> pd.DataFrame:
    kinds = {"row": np.int64, "raw": float, "suggestion": object, "probability": float}
    kinds |= {"right": bool, "calibrated_on": np.int64}
    return pd.DataFrame({name: np.array([], dtype=kind) for name, kind in kinds.items()})
