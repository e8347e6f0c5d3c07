"""Jobs made comparable: clean identifiers in order of time, and the jobs of equal serials."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from insights.history.serials import SHORTEST_FOR_SAME, identifiers, plain

MISSING = -1
NEVER = np.iinfo(np.int64).max // 4
FILLER_CUSTOMERS = 5
READ_BY_CARDS = (
    "job_id",
    "received",
    "handed_back",
    "ended_on",
    "model",
    "unit_serial",
    "customer",
    "phone",
    "postcode",
    "unit_age_years",
    "earlier_repair",
)
"""What linking looks at; whatever else a save changes, the units stay."""


@dataclass(frozen=True)
class Cards:
    """Jobs in order of arrival (then of job number), so that nothing hangs on the row order.

    Parameters
    ----------
    row
        Row of ``history.jobs``, shape (n,), as are all below.
    job_id
        The job's own number.
    received
        Day of arrival, in days since 1970.
    free
        First day on which the unit can arrive again: the hand-back; ``NEVER`` while it is on
        the bench or after it left service.
    serial, written
        Normalised serial (None: missing) and the serial as it was written.
    model, customer, phone, postcode
        Codes, ``MISSING`` where there is none.
    age_years
        Age of the unit, NaN where unknown.
    here
        Was the unit repaired here before: 1 yes, 0 no, ``MISSING`` unknown.
    record
        Cards with equal serials share a record (of one model, where the serial is so short that
        makers number each model from the start); a card without serial has its own. Numbered
        by first arrival.
    fillers
        Serials that were taken as words for none: each on five or more jobs, all of different
        customers, that were on the bench at once.
    """

    row: np.ndarray
    job_id: np.ndarray
    received: np.ndarray
    free: np.ndarray
    serial: np.ndarray
    written: np.ndarray
    model: np.ndarray
    customer: np.ndarray
    phone: np.ndarray
    postcode: np.ndarray
    age_years: np.ndarray
    here: np.ndarray
    record: np.ndarray
    fillers: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.row)

    @property
    def bare(self) -> np.ndarray:
        """Which cards have no serial."""
        return pd.isna(self.serial)


@dataclass(frozen=True)
class Records:
    """The cards of each record, in order of arrival.

    Parameters
    ----------
    order
        Cards sorted by record, then arrival, shape (n,).
    start
        Where each record starts in ``order``, shape (records + 1,).
    key
        ``record * n + card`` along ``order``, rising: where a card would stand in a record.
    """

    order: np.ndarray
    start: np.ndarray
    key: np.ndarray

    def __len__(self) -> int:
        return len(self.start) - 1

    @property
    def first(self) -> np.ndarray:
        """First card of each record."""
        return self.order[self.start[:-1]]

    @property
    def jobs(self) -> np.ndarray:
        """How many cards each record has."""
        return np.diff(self.start)

    def of(self, record: int) -> np.ndarray:
        """Cards of one record, in order of arrival."""
        return self.order[self.start[record] : self.start[record + 1]]


def make_cards(jobs: pd.DataFrame, apart: np.ndarray) -> Cards:
    """Make jobs comparable.

    Parameters
    ----------
    jobs
        Jobs in the dtypes of the schema.
    apart
        Rows that a person took out of the record their serial puts them in.
    """
    ids = jobs["job_id"].astype("object").to_numpy()
    arrived = jobs["received"].to_numpy("datetime64[D]").astype(np.int64)
    row = np.lexsort((pd.factorize(ids, sort=True)[0], arrived))
    ordered = jobs.take(row)
    customer = _codes(identifiers(ordered["customer"]))
    model = pd.factorize(plain(ordered["model"]).fillna(""))[0]
    # Every job of a record has a model; an arrival at the counter may not have one yet.
    model[ordered["model"].isin([""]).to_numpy(bool)] = MISSING
    arrived, free = arrived[row], free_from(ordered)
    serial = identifiers(ordered["unit_serial"])
    fillers = filler_serials(serial, customer, arrived, free)
    serial = serial.where(~serial.isin(fillers), None)
    alone = np.isin(row, apart)
    return Cards(
        row=row,
        job_id=ids[row],
        received=arrived,
        free=free,
        serial=serial.to_numpy(),
        written=ordered["unit_serial"].astype("object").to_numpy(),
        model=model,
        customer=customer,
        phone=_codes(identifiers(ordered["phone"])),
        postcode=_codes(identifiers(ordered["postcode"])),
        age_years=ordered["unit_age_years"].to_numpy(),
        here=_here(ordered["earlier_repair"]),
        record=_record(model, serial, alone),
        fillers=fillers,
    )


def records_of(cards: Cards) -> Records:
    """Sort the cards by record."""
    order = np.argsort(cards.record, kind="stable")
    sizes = np.bincount(cards.record)
    start = np.concatenate(([0], np.cumsum(sizes)))
    return Records(order, start, cards.record[order] * len(cards) + order)


def _codes(values: pd.Series) -> np.ndarray:
    return pd.factorize(values)[0]


def _here(answers: pd.Series) -> np.ndarray:
    known = {"here": 1, "never": 0, "elsewhere": 0}
    return answers.astype("object").map(known).fillna(MISSING).to_numpy(np.int8)


def free_from(jobs: pd.DataFrame) -> np.ndarray:
    """Give the first day on which each unit can arrive again (:class:`Cards`), shape (n,)."""
    open_or_gone = (jobs["handed_back"].isna() | jobs["ended_on"].notna()).to_numpy()
    days = jobs["handed_back"].to_numpy("datetime64[D]").astype(np.int64)
    return np.where(open_or_gone, NEVER, days)


def filler_serials(
    serial: pd.Series, customer: np.ndarray, arrived: np.ndarray, free: np.ndarray
) -> tuple[str, ...]:
    """Find serials that stand for none: of five or more customers, on the bench at once.

    Parameters
    ----------
    serial
        Normalised serials of jobs in order of arrival, shape (n,).
    customer, arrived, free
        As in :class:`Cards`.
    """
    known = pd.DataFrame(
        {"serial": serial.to_numpy(), "customer": customer, "arrived": arrived, "free": free}
    )
    known = known[known["serial"].notna() & (known["customer"] != MISSING)]
    by_serial = known.groupby("serial")["customer"].agg(["size", "nunique"])
    many = (by_serial["size"] >= FILLER_CUSTOMERS) & (by_serial["size"] == by_serial["nunique"])
    known = known[known["serial"].isin(by_serial.index[many])]
    # A customer column may hold a number a job; but no unit is on the bench twice at once.
    until = known.groupby("serial")["free"].transform(lambda days: days.cummax().shift())
    return tuple(sorted(known["serial"][known["arrived"] < until].unique()))


def _record(model: np.ndarray, serial: pd.Series, alone: np.ndarray) -> np.ndarray:
    code = _codes(serial)
    shared = (code != MISSING) & ~alone
    short = (serial.str.len() < SHORTEST_FOR_SAME).to_numpy(dtype=bool, na_value=False)
    width = code.max(initial=0) + 1
    key = np.where(short, (1 + model.astype(np.int64)) * width + code, code)
    own = -1 - np.arange(len(code), dtype=np.int64)
    return pd.factorize(np.where(shared, key, own))[0]
