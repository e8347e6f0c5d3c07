"""A root cause suggested from what the customer said, or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from insights.bench.calibration import Calibration
from insights.bench.coded import CodedJobs, Text, coded_jobs
from insights.bench.replay import ALWAYS, FIRST_JOBS, calibration_from, model_before, replay
from insights.bench.text_model import CAUSE_JOBS, TextModel
from insights.bench.track_record import TrackRecord, checked, record_of
from insights.bench.words import Reader, words_of
from insights.errors import EvidenceError
from insights.history.schema import History
from insights.notes import Note

NEEDED_JOBS = 100
CONFIDENCE = 0.7
SPOKEN_FOR = 3
LONGEST_WORDS = 200
PULL = 0.1  # in log odds; a word that moves less than this says nothing

Silence = Literal["", "no_words", "unknown_words", "rare_cause", "not_sure"]


@dataclass(frozen=True)
class Suggestion:
    """What a text suggests; nothing fills a field from it.

    Parameters
    ----------
    cause
        The suggested root cause; empty: no suggestion.
    probability
        How often suggestions as sure as this one are right, 0 to 1; NaN without a suggestion.
    silent
        Why nothing is suggested: ``no_words`` to go by, ``unknown_words`` mostly, a
        ``rare_cause`` fits best, ``not_sure`` enough; empty with a suggestion.
    confidence
        The least probability that was asked for.
    table
        The words that spoke for it, strongest first: ``word``, ``pull`` (log odds lost without
        it).
    """

    cause: str
    probability: float
    silent: Silence
    confidence: float
    table: pd.DataFrame
    notes: tuple[Note, ...] = ()

    @property
    def words(self) -> tuple[str, ...]:
        """The few words that spoke most for it."""
        return tuple(self.table["word"].head(SPOKEN_FOR))


@dataclass(frozen=True)
class CauseModel:
    """What the workshop's coded jobs teach, to be kept and asked again.

    Parameters
    ----------
    reads
        The texts it reads.
    causes, rare_causes
        Those it may suggest, and those coded on fewer than ten jobs, which it never does.
    coded_jobs
        Coded jobs with words in what it reads.
    record
        How often it would have been right.
    notes
        What a reader should know.
    """

    reads: tuple[Text, ...]
    causes: tuple[str, ...]
    rare_causes: tuple[str, ...]
    coded_jobs: int
    record: TrackRecord
    notes: tuple[Note, ...]
    reader: Reader
    model: TextModel
    calibration: Calibration
    method: str = (
        "Multinomial logistic regression on words, pairs of words and spellings, its probability "
        "calibrated on later jobs than it was trained on."
    )

    @property
    def table(self) -> pd.DataFrame:
        """The record by confidence; see :class:`insights.bench.track_record.TrackRecord`."""
        return self.record.table


def learn_root_causes(history: History, *, reads: Sequence[Text] = ("complaint",)) -> CauseModel:
    """Learn from the workshop's own coded jobs which root cause a text speaks of.

    Parameters
    ----------
    history
        Nothing but the texts read, the coded root causes and the days is looked at: no
        customer, phone, serial or technician.
    reads
        ``("complaint",)``; with ``"notes"`` too where they are written before the fault is found.

    Returns
    -------
    CauseModel

    Raises
    ------
    RequestError
        There is no such text.
    EvidenceError
        Fewer than 100 coded jobs with words, or no two root causes among them.

    Notes
    -----
    The record and the calibration come from replaying the past in order of time
    (:func:`insights.bench.replay.replay`); the model that answers is then trained on all.
    """
    coded = coded_jobs(history, reads)
    count = int(coded.worded.sum())
    if count < NEEDED_JOBS:
        raise EvidenceError(
            f"Only {count} jobs have both a root cause and words in {' or '.join(reads)}. A "
            f"suggestion needs at least {NEEDED_JOBS}: the first {FIRST_JOBS} to learn from, the "
            "later ones to see how often it is right."
        )
    reader = Reader(coded.words)
    counted = reader.read(coded.words)
    model = model_before(ALWAYS, coded, counted, reader.is_spelling)
    replayed = replay(coded, counted, reader.is_spelling)
    rare = tuple(sorted({str(cause) for cause in coded.cause[coded.worded]} - {*model.causes}))
    return CauseModel(
        reads=tuple(reads),
        causes=model.causes,
        rare_causes=rare,
        coded_jobs=count,
        record=record_of(replayed, coded),
        notes=(*coded.notes, *_of_rare(rare, coded)),
        reader=reader,
        model=model,
        calibration=calibration_from(replayed),
    )


def suggest_root_cause(
    learnt: CauseModel, complaint: str, notes: str = "", *, confidence: float = CONFIDENCE
) -> Suggestion:
    """Suggest a root cause for a text, where one is sure enough.

    Parameters
    ----------
    learnt
        What the workshop's jobs teach.
    complaint, notes
        What was said and written; ``notes`` are read only if the model was made to.
    confidence
        Least probability of being right at which anything is said.

    Returns
    -------
    Suggestion

    Raises
    ------
    RequestError
        The confidence is not between 0 and 1.
    """
    checked(confidence)
    given = {"complaint": complaint, "notes": notes}
    words = words_of("\n".join(given[name] for name in learnt.reads))[:LONGEST_WORDS]
    if not words:
        return _nothing("no_words", confidence)
    leaning = learnt.model.lean(learnt.reader.read([words]))
    cause, probability = str(leaning.cause[0]), float(learnt.calibration(leaning.probability)[0])
    if not leaning.familiar[0]:
        return _nothing("unknown_words" if cause else "rare_cause", confidence)
    if probability < confidence:
        return _nothing("not_sure", confidence)
    return Suggestion(cause, probability, "", confidence, _spoke_for(learnt, cause, words))


def _spoke_for(learnt: CauseModel, cause: str, words: list[str]) -> pd.DataFrame:
    """Weigh each word by what the suggestion loses without it."""
    each = list(dict.fromkeys(words))
    without = [[word for word in words if word != left_out] for left_out in each]
    odds = learnt.model.pull_to(cause, learnt.reader.read([words, *without]))
    table = pd.DataFrame({"word": each, "pull": odds[0] - odds[1:]})
    table = table[table["pull"] > PULL]
    return table.sort_values("pull", ascending=False, kind="stable").reset_index(drop=True)


def _nothing(why: Silence, confidence: float) -> Suggestion:
    empty = pd.DataFrame({"word": np.array([], dtype=object), "pull": np.array([], dtype=float)})
    return Suggestion("", np.nan, why, confidence, empty)


def _of_rare(rare: tuple[str, ...], coded: CodedJobs) -> tuple[Note, ...]:
    if not rare:
        return ()
    jobs = int(np.isin(coded.cause, rare).sum())
    text = f"Never suggested, coded on fewer than {CAUSE_JOBS} jobs each: {', '.join(rare)}."
    return (Note("rare_causes", text, jobs),)
