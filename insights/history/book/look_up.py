"""At the counter: was this unit here before, and what was done then.

A :class:`LookUp` belongs to one open book and is kept between questions: it holds the signs of
every job, catches up with the book before each answer, and compares an arrival with the few jobs
that can be meant exactly as linking the whole history would.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import Future, wait
from dataclasses import dataclass
from datetime import date
from threading import Lock, Thread
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import Connection, Row, func, select

from insights.history.book.arrivals import Likeness, likenesses
from insights.history.book.book import Book
from insights.history.book.checking import checked
from insights.history.book.decisions import among, every_decision
from insights.history.book.engines import reading
from insights.history.book.entries import BookJob, as_job
from insights.history.book.packing import FIXED, pack
from insights.history.book.signs import Signs
from insights.history.book.tables import heads, versions
from insights.history.cards import READ_BY_CARDS, make_cards, records_of
from insights.history.declared import Declared
from insights.history.matching import Ratios, estimate
from insights.history.schema import History
from insights.history.terms import day_of_term, reported_inside
from insights.history.units import LINK_AT, link_units

ARRIVING = "\uffff"
"""The arrival's number while it has none: the last of its day."""

LEARN_ANEW = 1.2
"""The ratios are learnt again when the book has grown by a fifth (judgement), or a person decided
on a doubtful pair; that is done beside the answers, which go by the last ones until then."""

PAIR = ("job_id", "earlier_job_id")

STORED = [FIXED[name] for name in READ_BY_CARDS]
_AS_THEY_STAND = select(*(versions.c[name] for name in STORED)).join(
    heads, heads.c.version_id == versions.c.version_id
)
_CHUNK = 500


@dataclass(frozen=True)
class Visit:
    """One earlier job of a unit.

    Parameters
    ----------
    job
        The job as it stands: cause, practices, lots, who did it.
    on_bench
        It was not handed back yet.
    days
        Whole days from its hand-back to the report of the fault, or else to the arrival; None
        while it is on the bench.
    inside_term
        Whether that is inside its own term; None where it was not handed back or no term was
        recorded.
    """

    job: BookJob
    on_bench: bool
    days: int | None
    inside_term: bool | None


@dataclass(frozen=True)
class SeenUnit:
    """A unit that was here before and may be the one that arrives.

    Parameters
    ----------
    probability
        That it is the same unit; 1 for an equal serial and for what a person decided.
    impossible
        By what the book says it is still on the bench, or out of service; the book may be behind.
    reasons
        For and against, in plain words.
    visits
        Its earlier jobs, the latest first; the first is the one that a comeback is judged against.
    """

    probability: float
    impossible: bool
    reasons: str
    visits: tuple[Visit, ...]

    @property
    def is_sure(self) -> bool:
        """Whether the analysis counts it as the same unit without asking anyone."""
        return self.probability >= LINK_AT and not self.impossible


@dataclass(frozen=True)
class Found:
    """What the book knows of an arriving unit.

    Parameters
    ----------
    units
        Units it may be, the likeliest first; empty: a unit new to us.
    jobs
        How many jobs the book holds.
    needs_model
        Only equal serials could be looked for, because the model was not told.
    """

    units: tuple[SeenUnit, ...]
    jobs: int
    needs_model: bool = False

    @property
    def last(self) -> Visit | None:
        """The visit that a comeback is judged against; None where no unit is sure."""
        return self.units[0].visits[0] if self.units and self.units[0].is_sure else None


@dataclass(frozen=True)
class _Lesson:
    """What agreements are worth, from how many jobs and which decisions."""

    ratios: Ratios
    jobs: int
    taught: list[list[Any]]


class LookUp:
    """Look up arriving units in a book.

    Parameters
    ----------
    book
        An open book. Its jobs are read once here; later only what was saved since.
    """

    def __init__(self, book: Book) -> None:
        self._book = book
        self._lock = Lock()
        self._signs = Signs()
        self._last_version = 0
        self._learnt: _Lesson | None = None
        self._learning: Future[_Lesson] | None = None
        decided = every_decision(book)
        with reading(book.engine, book.name) as connection:
            self._catch_up(connection, decided)

    def find(self, known: Mapping[str, Any], *, today: date | None = None) -> Found:
        """Say whether a unit was here before.

        Parameters
        ----------
        known
            Our heading -> what was entered so far, as for :meth:`Book.receive`: of use are
            ``unit_serial``, ``model``, ``customer``, ``phone``, ``postcode``,
            ``unit_age_years``, ``earlier_repair``, ``received`` and ``notified``; with a
            ``job_id`` of the book that job is left out, and so are jobs that arrived after it.
        today
            The day of arrival where none is entered; None: by this machine's clock.

        Returns
        -------
        Found

        Raises
        ------
        EntryError
            A field can't be read.

        Notes
        -----
        The jobs that :meth:`insights.history.book.signs.Signs.like` finds are linked with the
        arrival by :func:`insights.history.units.link_units`, with ratios learnt from the whole
        book and from what people decided. A unit that the book still has on the bench, or that
        left service, can't be linked; where its odds alone would be worth a person's look it is
        listed with that remark, as the book may be behind, unless a person said it is another.
        """
        settings = self._book.settings()
        today = today or date.today()
        declared = Declared(decimal=settings.decimal, currency=settings.currency)
        told = checked(known, digits=settings.minor_digits, declared=declared, today=today)
        arrival = {name: value for name, value in told.items() if value is not None}
        arrival.setdefault("received", pd.Timestamp(today))
        arrival.setdefault("job_id", ARRIVING)
        decided = every_decision(self._book)
        with reading(self._book.engine, self._book.name) as connection:
            with self._lock:
                self._catch_up(connection, decided)
                like = self._like(arrival, decided)
            rows = _earlier(_versions(connection, like), arrival)
        units: tuple[SeenUnit, ...] = ()
        learnt = self._learnt
        if rows and learnt is not None:
            history = _with_arrival(arrival, rows, settings.minor_digits)
            decided = among(decided, history.jobs["job_id"])
            links = link_units(history, decisions=decided, ratios=learnt.ratios)
            jobs = [as_job(row, settings.minor_digits) for row in rows]
            units = tuple(_seen(likeness, jobs, arrival) for likeness in likenesses(links))
        return Found(units, len(self._signs), needs_model="model" not in arrival)

    def _like(self, arrival: Mapping[str, Any], decided: pd.DataFrame) -> list[str]:
        """Find the jobs worth comparing with an arrival, and those decided to be one with them."""
        if not len(self._signs):
            return []
        same = decided.loc[decided["same"].astype(bool), list(PAIR)].to_numpy().tolist()
        own = [arrival["job_id"]] if arrival["job_id"] in self._signs.place else []
        return self._signs.joined([*self._signs.like(_one_row(arrival)), *own], same)

    def _catch_up(self, connection: Connection, decided: pd.DataFrame) -> None:
        newest = connection.execute(select(func.max(versions.c.version_id))).scalar() or 0
        if newest != self._last_version:
            since = versions.c.version_id > self._last_version
            self._signs.note(_frame(connection.execute(_AS_THEY_STAND.where(since)).all()))
            self._last_version = newest
        if self._learning is not None and self._learning.done():
            learning, self._learning = self._learning, None
            self._learnt = learning.result()
        if self._is_outgrown(decided) and (decided.empty or self._learnt is None):
            self._learnt = _learn(connection, decided.iloc[:0])
        if self._is_outgrown(decided) and self._learning is None:
            self._learning = Future()
            beside = Thread(target=self._learn_beside, args=(decided, self._learning), daemon=True)
            beside.start()

    def _is_outgrown(self, decided: pd.DataFrame) -> bool:
        if self._learnt is None:
            return len(self._signs) > 0
        grown = len(self._signs) > LEARN_ANEW * self._learnt.jobs
        return grown or decided.to_numpy().tolist() != self._learnt.taught

    def _learn_beside(self, decided: pd.DataFrame, learning: Future[_Lesson]) -> None:
        try:
            with reading(self._book.engine, self._book.name) as connection:
                learning.set_result(_learn(connection, decided))
        except Exception as error:  # noqa: BLE001 - the next question meets it
            learning.set_exception(error)

    def settle(self, seconds: float | None = None) -> None:
        """Wait for what is being learnt: from the next question on it counts.

        Parameters
        ----------
        seconds
            At most so long; None: until it is done.
        """
        learning = self._learning
        if learning is not None:
            wait([learning], timeout=seconds)


def _learn(connection: Connection, decided: pd.DataFrame) -> _Lesson:
    """Learn what agreements are worth; where people decided, also from what they did."""
    jobs = _frame(connection.execute(_AS_THEY_STAND).all())
    known = among(decided, jobs["job_id"])
    if known.empty:
        cards = make_cards(jobs, np.zeros(0, dtype=np.int64))
        ratios = estimate(cards, records_of(cards))
    else:
        # As where the whole history is linked, which takes seconds for a large one.
        evidence = link_units(History(jobs), decisions=known).evidence
        assert evidence is not None
        ratios = evidence.ratios
    return _Lesson(ratios, len(jobs), decided.to_numpy().tolist())


def _one_row(arrival: Mapping[str, Any]) -> pd.DataFrame:
    return pd.DataFrame({name: [arrival.get(name)] for name in READ_BY_CARDS}, dtype=object)


def _frame(rows: Sequence[Sequence[Any]]) -> pd.DataFrame:
    """Put the compared columns, as the book stores them, into what cards are made from."""
    frame = pd.DataFrame.from_records(rows, columns=STORED)
    for name in READ_BY_CARDS:
        stored = FIXED[name]
        if stored != name:
            days = frame.pop(stored).astype("Int64")
            known = days.fillna(0).to_numpy("datetime64[D]").astype("datetime64[ns]")
            frame[name] = pd.Series(known).mask(days.isna())
    frame["unit_age_years"] = frame["unit_age_years"].astype(float)
    return frame


def _versions(connection: Connection, job_ids: Sequence[str]) -> list[Row[Any]]:
    found: list[Row[Any]] = []
    for start in range(0, len(job_ids), _CHUNK):
        asked = (
            select(versions)
            .join(heads, heads.c.version_id == versions.c.version_id)
            .where(heads.c.job_id.in_(job_ids[start : start + _CHUNK]))
        )
        found += connection.execute(asked).all()
    return found


def _earlier(rows: Iterable[Row[Any]], arrival: Mapping[str, Any]) -> list[Row[Any]]:
    """Keep the jobs that arrived before, or on the same day under an earlier number."""
    day = (arrival["received"] - pd.Timestamp(0)).days
    own = arrival["job_id"]
    return [
        row for row in rows if row.job_id != own and (row.received_day, row.job_id) < (day, own)
    ]


def _with_arrival(arrival: Mapping[str, Any], rows: Sequence[Row[Any]], digits: int) -> History:
    """Put the arrival, which has no hand-back yet, in the last row of the jobs it is like."""
    last = pack({"model": "", **arrival, "handed_back": None, "ended_on": None}, digits)
    cells = [tuple(row._mapping[name] for name in STORED) for row in rows]
    return History(_frame([*cells, tuple(last[name] for name in STORED)]))


def _seen(likeness: Likeness, jobs: Sequence[BookJob], arrival: Mapping[str, Any]) -> SeenUnit:
    mine = [jobs[row] for row in likeness.rows]
    mine.sort(key=lambda job: (job.values["received"], job.job_id), reverse=True)
    visits = tuple(_visit(job, arrival) for job in mine)
    return SeenUnit(likeness.probability, likeness.impossible, likeness.reasons, visits)


def _visit(job: BookJob, arrival: Mapping[str, Any]) -> Visit:
    handed_back, term_days = job.values.get("handed_back"), job.values.get("term_days")
    if handed_back is None:
        return Visit(job, "ended_on" not in job.values, None, None)
    notified, received = arrival.get("notified"), arrival["received"]
    days = day_of_term(handed_back, notified, received)
    if term_days is None:
        return Visit(job, False, days, None)
    asked = ([handed_back], [term_days], [notified or pd.NaT], [received])
    inside = reported_inside(*(pd.Series(value) for value in asked))
    return Visit(job, False, days, bool(inside.iloc[0]))
