"""The workshop's own coded jobs: what was said, what it turned out to be, and since when known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd

from insights.bench.words import words_of
from insights.errors import RequestError
from insights.history.schema import History
from insights.notes import Note

Text = Literal["complaint", "notes"]
TEXTS: tuple[Text, ...] = ("complaint", "notes")


@dataclass(frozen=True)
class CodedJobs:
    """Jobs whose root cause is coded, in order of arrival.

    Parameters
    ----------
    job_id
        Their numbers, shape (jobs,).
    words
        The words of what was said or written, one list a job; empty where nothing was.
    cause
        The root cause as coded, shape (jobs,).
    received, known
        The day each arrived, and the day its cause was known: its hand-back, else its end of
        service, else (still on the bench) its arrival. Days since 1970, shape (jobs,).
    notes
        What a reader should know.
    """

    job_id: np.ndarray
    words: list[list[str]]
    cause: np.ndarray
    received: np.ndarray
    known: np.ndarray
    notes: tuple[Note, ...]

    @property
    def worded(self) -> np.ndarray:
        """Which jobs have any words, shape (jobs,)."""
        return np.array([bool(some) for some in self.words], dtype=bool)


def coded_jobs(history: History, reads: Sequence[Text]) -> CodedJobs:
    """Take the coded jobs out of a history.

    Parameters
    ----------
    history
        Of its columns only the job number, the days, the root cause and the texts are looked at.
    reads
        ``complaint``, ``notes`` or both.

    Raises
    ------
    RequestError
        There is no such text.
    """
    wrong = [name for name in reads if name not in TEXTS]
    if wrong or not reads:
        raise RequestError(
            f"Can't read {', '.join(wrong) or 'nothing'}. Read {' or '.join(TEXTS)}, or both."
        )
    jobs = history.jobs[history.jobs["root_cause"].notna()]
    jobs = jobs.sort_values("received", kind="stable")
    finished = jobs["handed_back"].fillna(jobs["ended_on"]).fillna(jobs["received"])
    notes = [_left_out(len(history.jobs) - len(jobs))] if len(jobs) < len(history.jobs) else []
    if "notes" in reads:
        notes.append(_written_late(jobs))
    return CodedJobs(
        job_id=jobs["job_id"].to_numpy(dtype=object),
        words=[words_of(text) for text in joined(*(jobs[name] for name in reads))],
        cause=jobs["root_cause"].astype(object).to_numpy(),
        received=_days(jobs["received"]),
        known=_days(finished),
        notes=tuple(notes),
    )


def joined(*texts: pd.Series) -> list[str]:
    """Join texts job by job, so that no pair of words reaches from one into the other."""
    filled = [text.fillna("").astype(str).tolist() for text in texts]
    return ["\n".join(some) for some in zip(*filled, strict=True)]


def _days(dates: pd.Series) -> np.ndarray:
    return dates.to_numpy().astype("datetime64[D]").astype(np.int64)


def _left_out(jobs: int) -> Note:
    return Note("uncoded", f"{jobs} jobs have no root cause coded and teach nothing.", jobs)


def _written_late(jobs: pd.DataFrame) -> Note:
    """Warn of notes that were written when the answer was known, and count those that name it."""
    pairs = zip(jobs["root_cause"].astype(str), joined(jobs["notes"]), strict=True)
    naming = sum(set(words_of(cause)) <= set(words_of(note)) for cause, note in pairs)
    return Note(
        "notes_written_late",
        f"Notes are often written once the fault is found: {naming} of {len(jobs)} name the root "
        "cause itself. The record of being right is then better than what can be expected from "
        "notes written before.",
        naming,
    )
