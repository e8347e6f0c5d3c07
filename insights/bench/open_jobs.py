"""Finding a job among those on the bench by anything that is written on it."""

from __future__ import annotations

import re
from collections.abc import Iterable

from insights.history.book.entries import BookJob

SEARCHED = ("unit_serial", "model", "customer", "phone", "complaint", "technician")


def matching(jobs: Iterable[BookJob], wanted: str) -> tuple[BookJob, ...]:
    """Choose the jobs on which every word wanted is found.

    Parameters
    ----------
    jobs
        In the order in which they are given back.
    wanted
        Words, or parts of a job's number or serial, however they are spaced and cased. Empty:
        every job.

    Returns
    -------
    tuple of BookJob
        A job whose number or serial is exactly what is wanted comes alone.
    """
    every = tuple(jobs)
    exact = [job for job in every if _plain(wanted) in _names(job) and _plain(wanted)]
    if exact:
        return tuple(exact)
    words = [_plain(word) for word in wanted.split()]
    return tuple(job for job in every if all(word in _text(job) for word in words))


def _names(job: BookJob) -> set[str]:
    return {_plain(job.job_id), _plain(str(job.values.get("unit_serial", "")))}


def _text(job: BookJob) -> str:
    parts = (job.job_id, *(str(job.values.get(name, "")) for name in SEARCHED))
    return "|".join(_plain(part) for part in parts)


def _plain(text: str) -> str:
    return re.sub(r"[\W_]+", "", text).casefold()
