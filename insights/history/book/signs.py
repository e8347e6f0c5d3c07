"""What a book's jobs are recognised by, kept in memory so that a counter need not wait."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from rapidfuzz.distance import OSA
from rapidfuzz.process import cdist

from insights.history.blocking import LARGEST_BLOCK
from insights.history.cards import MISSING
from insights.history.serials import identifiers, plain

CLEANED = {
    "unit_serial": identifiers,
    "customer": identifiers,
    "phone": identifiers,
    "postcode": identifiers,
    "model": plain,
}
"""The history's columns that a unit is recognised by, and how each is put into one spelling."""


@dataclass
class Codes:
    """One column as whole numbers: equal signs, equal numbers.

    Parameters
    ----------
    signs
        The distinct signs, in order of their numbers.
    number
        Sign -> number.
    of_job
        One number a job, ``MISSING`` where there is no sign, shape (jobs,).
    """

    signs: list[str] = field(default_factory=list)
    number: dict[str, int] = field(default_factory=dict)
    of_job: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int32))

    def encode(self, cleaned: pd.Series) -> np.ndarray:
        """Turn signs into numbers, giving new ones the next free numbers."""
        at, distinct = pd.factorize(cleaned)
        for sign in distinct:
            if sign not in self.number:
                self.number[sign] = len(self.signs)
                self.signs.append(sign)
        numbers = np.array([*(self.number[sign] for sign in distinct), MISSING], dtype=np.int32)
        return numbers[at]

    def jobs_with(self, wanted: np.ndarray) -> np.ndarray:
        """Mark the jobs that have a wanted sign.

        Parameters
        ----------
        wanted
            True for each wanted sign, shape (signs,).
        """
        marked: np.ndarray = np.append(wanted, False)[self.of_job]  # MISSING points to the last
        return marked


@dataclass
class Signs:
    """The signs of every job of a book, and the jobs that share one.

    Parameters
    ----------
    job_ids
        In the order in which they were first met here.
    place
        Job number -> place in ``job_ids``.
    columns
        :class:`Codes` by the history's column.
    """

    job_ids: list[str] = field(default_factory=list)
    place: dict[str, int] = field(default_factory=dict)
    columns: dict[str, Codes] = field(default_factory=lambda: {name: Codes() for name in CLEANED})

    def __len__(self) -> int:
        return len(self.job_ids)

    def note(self, jobs: pd.DataFrame) -> None:
        """Take in new jobs, and jobs that changed.

        Parameters
        ----------
        jobs
            ``job_id`` (each once) and the columns of :data:`CLEANED`, as they stand.
        """
        ids = [str(job_id) for job_id in jobs["job_id"]]
        fresh = [job_id for job_id in ids if job_id not in self.place]
        self.place.update(zip(fresh, range(len(self), len(self) + len(fresh)), strict=True))
        self.job_ids += fresh
        places = np.array([self.place[job_id] for job_id in ids], dtype=np.int64)
        blank = np.full(len(fresh), MISSING, dtype=np.int32)
        for name, clean in CLEANED.items():
            codes = self.columns[name]
            codes.of_job = np.concatenate((codes.of_job, blank))
            codes.of_job[places] = codes.encode(clean(jobs[name]))

    def like(self, known: pd.DataFrame) -> list[str]:
        """Find the jobs worth comparing with one arrival.

        Parameters
        ----------
        known
            What is known of it: one row with the columns of :data:`CLEANED`.

        Returns
        -------
        list of str
            Numbers of the jobs that share its serial, and of those that share its model and its
            customer, its telephone, its postcode (where one of the two has neither) or all but
            one slip of its serial: the same pairs that linking the whole history compares.
        """
        sign = {name: clean(known[name]).iloc[0] for name, clean in CLEANED.items()}
        code = {
            name: MISSING if pd.isna(text) else self.columns[name].number.get(str(text), MISSING)
            for name, text in sign.items()
        }
        same_serial = self._sharing("unit_serial", code)
        found = same_serial
        if code["model"] != MISSING:
            found = found | (self._sharing("model", code) & self._close(sign, code))
        return self._with_whole_records(found)

    def joined(self, job_ids: Iterable[str], pairs: Iterable[Sequence[str]]) -> list[str]:
        """Add the jobs that a person said are one unit with some, and with those, and so on.

        Parameters
        ----------
        job_ids
            Where to begin.
        pairs
            Numbers of two jobs each, said to be the same unit.

        Returns
        -------
        list of str
            With the other jobs under the serials found.
        """
        found = np.zeros(len(self), dtype=bool)
        found[[self.place[job_id] for job_id in job_ids]] = True
        places = np.array(
            [[self.place[job_id] for job_id in pair] for pair in pairs if self._know(pair)],
            dtype=np.int64,
        ).reshape(-1, 2)
        while True:
            touched = places[found[places].any(axis=1)]
            if found[touched].all():
                return [self.job_ids[place] for place in np.flatnonzero(found)]
            found[touched] = True
            found |= self._under_their_serials(found)

    def _know(self, pair: Sequence[str]) -> bool:
        return all(job_id in self.place for job_id in pair)

    def _close(self, sign: dict[str, object], code: dict[str, int]) -> np.ndarray:
        of_job = {name: codes.of_job for name, codes in self.columns.items()}
        one_model = self._sharing("model", code)
        near = self._one_slip(sign["unit_serial"], one_model)
        close = near.copy()
        named = False
        for name in ("customer", "phone"):
            named = named or not pd.isna(sign[name])
            sharing = self._sharing(name, code) & one_model
            # The whole history's blocks are left to near serials where they are too large.
            close |= sharing if self._records(sharing) < LARGEST_BLOCK else sharing & near
        nameless = (of_job["customer"] == MISSING) & (of_job["phone"] == MISSING)
        there = self._sharing("postcode", code) & one_model
        if self._records(there) < LARGEST_BLOCK:
            close |= there & (nameless if named else True)
        return close

    def _sharing(self, name: str, code: dict[str, int]) -> np.ndarray:
        of_job = self.columns[name].of_job
        if code[name] == MISSING:
            return np.zeros(len(of_job), dtype=bool)
        return np.asarray(of_job == code[name])

    def _records(self, which: np.ndarray) -> int:
        """Count the records among jobs: one for each serial, one for each job without."""
        serial = self.columns["unit_serial"].of_job[which]
        return len(np.unique(serial[serial != MISSING])) + int((serial == MISSING).sum())

    def _one_slip(self, serial: object, among: np.ndarray) -> np.ndarray:
        codes = self.columns["unit_serial"]
        if pd.isna(serial) or not codes.signs:
            return np.zeros(len(among), dtype=bool)
        apart = cdist(
            [str(serial)], codes.signs, scorer=OSA.distance, score_cutoff=1, dtype=np.uint8
        )
        return among & codes.jobs_with(apart[0] <= 1)

    def _with_whole_records(self, found: np.ndarray) -> list[str]:
        """Add the other jobs under the serials found, whoever brought them."""
        whole = found | self._under_their_serials(found)
        return [self.job_ids[place] for place in np.flatnonzero(whole)]

    def _under_their_serials(self, found: np.ndarray) -> np.ndarray:
        codes = self.columns["unit_serial"]
        wanted = np.zeros(len(codes.signs) + 1, dtype=bool)
        wanted[codes.of_job[found]] = True  # of those without, the place after the last
        return codes.jobs_with(wanted[:-1])
