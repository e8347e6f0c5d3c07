"""A job's way over the bench, as the book keeps it: final readings, and leaving."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from insights.bench.kept import limits, sheet_of
from insights.bench.limits import Judgement, check_hand_back, judge, limits_for
from insights.bench.readings import Limit, Reading, check_protection, reading_from_json
from insights.bench.sheets import Instrument
from insights.errors import RequestError
from insights.history.book.book import Book
from insights.history.book.checking import checked
from insights.history.book.entries import BookJob, Settings
from insights.history.book.people import Person
from insights.history.declared import Declared

READINGS, PROTECTION, NOT_RETURNED = "readings", "protection", "not_returned"
"""What is kept beside the history's columns, in :attr:`BookJob.bench`."""


OMEGA = "\N{GREEK CAPITAL LETTER OMEGA}"


@dataclass(frozen=True)
class Save:
    """How one save is made; see :meth:`insights.history.book.book.Book.save`.

    Parameters
    ----------
    expected, by, token, today
        As there.
    """

    expected: int
    by: Person
    token: str | None = None
    today: date | None = None


def readings_of(job: BookJob) -> tuple[Reading, ...]:
    """Give every final reading of a job in the order taken, repeated ones too."""
    return tuple(reading_from_json(kept) for kept in job.bench.get(READINGS, ()))


def protection_of(book: Book, job: BookJob) -> str:
    """Give the protection of a job's unit: its own, else its model's; empty: not known."""
    own = str(job.bench.get(PROTECTION, ""))
    sheet = None if own else sheet_of(book, job.values["model"])
    return sheet.protection if sheet else own


def limits_of(book: Book, job: BookJob) -> tuple[Limit, ...]:
    """Choose the limits for a job's unit.

    Raises
    ------
    RequestError
        There are limits but the unit's protection is not known, or two are equally close.
    """
    every = limits(book)
    if not every:
        return ()
    protection = protection_of(book, job)
    if not protection:
        raise RequestError(
            f"The protection of {job.values['model']} is not known, so its limits can't be "
            "chosen. Read it off the rating plate and enter it with the final readings."
        )
    return limits_for(every, job.values["model"], protection)


def judgement_of(book: Book, job: BookJob) -> Judgement:
    """Judge a job's final readings against its unit's limits; raises as :func:`limits_of`."""
    return judge(readings_of(job), limits_of(book, job))


def reading_column(said: str) -> str:
    """Name a reading's column from its name and unit as one writes them: "Plate left, °C".

    Raises
    ------
    RequestError
        A name or a unit is missing, or the unit is one in which no reading is kept.
    """
    text = said.replace("\N{OHM SIGN}", OMEGA)
    if f"m{OMEGA}" in text:
        # A thousandth and a million times must not meet in one spelling.
        raise RequestError(
            f"'{said}': no reading is kept in m{OMEGA}. Write it in {OMEGA}: 50 m{OMEGA} is 0.05."
        )
    text = text.replace(OMEGA, "ohm ").lower()
    if any(sign.isalnum() and not sign.isascii() for sign in text):
        raise RequestError(
            f"'{said}': a reading's name and unit are kept in the letters a to z. Write it in "
            "those, such as plate left, c or leakage, ma."
        )
    words = re.findall(r"[a-z0-9]+", text)
    if len(words) < 2:
        raise RequestError(
            f"'{said}': a reading has a name and a unit, such as plate left, °C. Write both."
        )
    return f"reading_{'_'.join(words)}"


def readings_typed(
    typed: Mapping[str, str], instrument: Instrument | None, settings: Settings, day: date
) -> tuple[Reading, ...]:
    """Read measurements as they were typed.

    Parameters
    ----------
    typed
        ``reading_<quantity>_<unit>`` -> what was typed; empty ones were not taken.
    instrument
        What they were taken with; None: not recorded.
    settings
        The book's, for its decimal mark.
    day
        When they were taken.

    Raises
    ------
    EntryError
        A field holds no number, or its name makes no column.
    RequestError
        The instrument is said to be calibrated after that day.
    """
    given = {name: text for name, text in typed.items() if text.strip()}
    declared = Declared(decimal=settings.decimal, currency=settings.currency)
    values = checked(given, digits=settings.minor_digits, declared=declared, today=day)
    readings = []
    for name, value in values.items():
        quantity, _, unit = name.removeprefix("reading_").rpartition("_")
        if instrument is None:
            readings.append(Reading(quantity, unit, value, day))
        else:
            readings.append(instrument.reading(quantity, unit, value, day))
    return tuple(readings)


def save_readings(
    book: Book, job: BookJob, taken: Iterable[Reading], protection: str, how: Save
) -> BookJob:
    """Keep more final readings of a job; those kept already stay.

    Parameters
    ----------
    book, job
        The job as it was read.
    taken
        In the order taken.
    protection
        Of this unit, a key of :data:`insights.bench.readings.PROTECTIONS`; empty: as before.
    how
        Who saves, and what was expected.

    Raises
    ------
    RequestError
        There is no such protection, or nothing was entered.
    ChangedMeanwhile, EntryError, NotAllowed, BookError
        As :meth:`insights.history.book.book.Book.save`.
    """
    if protection:
        check_protection(protection)
    taken = tuple(taken)
    if not taken and protection in ("", protection_of(book, job)):
        raise RequestError("No reading is entered. Enter one, then save.")
    kept = [*job.bench.get(READINGS, ()), *(reading.to_json() for reading in taken)]
    return book.save(
        job.job_id,
        {reading.column: reading.value for reading in taken},
        bench={READINGS: kept, **({PROTECTION: protection} if protection else {})},
        what="final readings",
        **vars(how),
    )


def hand_back(
    book: Book, job: BookJob, entered: Mapping[str, Any], not_returned: str, how: Save
) -> BookJob:
    """Let a unit leave.

    Parameters
    ----------
    book, job
        The job as it was read.
    entered
        ``handed_back`` with ``price``, ``term_days``, ...; or ``ended_on`` and ``ended_how``,
        which hands nothing back, so that no reading can hold it.
    not_returned
        Why it is not returned to use, in the workshop's words, kept with the job; empty: it is.
    how
        Who saves, and what was expected.

    Raises
    ------
    RequestError
        A reading is out of its limit or missing, and no reason is given.
    ChangedMeanwhile, EntryError, NotAllowed, BookError
        As :meth:`insights.history.book.book.Book.save`.

    Notes
    -----
    What is judged is the version that was read; had it changed, the save itself is refused.
    """
    why = not_returned.strip()
    leaves = bool(entered.get("handed_back"))
    if leaves and not why:
        check_hand_back(judgement_of(book, job))
    return book.save(
        job.job_id,
        entered,
        bench={NOT_RETURNED: why or None},
        what=_leaving(leaves, why),
        **vars(how),
    )


def _leaving(leaves: bool, why: str) -> str:
    if why:
        return "not returned to use"
    return "handed back" if leaves else "left service"
