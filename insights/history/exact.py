"""Which jobs are the same unit by equal serials and people's decisions alone.

For records of many millions of jobs, and for a book whose database does the counting: nothing is
compared, so nothing is learnt, and a mistyped serial is a unit of its own.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import pandas as pd
import pyarrow.compute as pc

from insights.history.cards import FILLER_CUSTOMERS, MISSING, filler_serials, free_from
from insights.history.joining import contradicting
from insights.history.schema import History
from insights.history.serials import SHORTEST_FOR_SAME, identifiers, plain, sign_codes
from insights.history.units import PAIR_COLUMNS, Links, checked_decisions
from insights.notes import Note, counted, whole

Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True)
class Decided:
    """A person's decision on a pair, beside what each job goes by.

    Parameters
    ----------
    job_id, earlier_job_id
        The two jobs.
    same
        Whether they are one unit.
    """

    job_id: str
    earlier_job_id: str
    same: bool


def exact_units(history: History, *, decisions: pd.DataFrame | None = None) -> Links:
    """Say which jobs are the same unit, by equal serials and decisions alone.

    Parameters
    ----------
    history
        The jobs. A job without a serial is a unit of its own.
    decisions
        As :func:`insights.history.units.link_units` takes them.

    Returns
    -------
    Links
        Without doubtful pairs, and without evidence to draw units anew from.

    Raises
    ------
    RequestError
        A decision on an unknown job, or decisions that contradict each other.

    Notes
    -----
    The first step of :func:`insights.history.units.link_units`, with its rules for short serials
    and for words that stand for none, in a fraction of its time and memory.
    """
    decided = checked_decisions(decisions, history)
    code, signs = sign_codes(history.jobs["unit_serial"])
    code, fillers = _without_fillers(history.jobs, code)
    length = np.append(np.asarray(pc.utf8_length(signs), dtype=np.int64), 0)
    record = _records(history.jobs, code, length)
    apart = decided.loc[~decided["same"], "row"].to_numpy()
    record[apart] = record.max(initial=MISSING) + 1 + np.arange(len(apart))
    pairs = decisions_made(history.jobs["job_id"], decided)
    key_of = dict(
        (str(history.jobs["job_id"].iloc[row]), int(record[row]))
        for row in np.unique(decided[["row", "earlier_row"]].to_numpy())
    )
    for other, stands in stand_ins(pairs, key_of).items():
        record[record == other] = stands
    unit = pd.factorize(record)[0]
    return Links(
        unit_of_job=unit,
        pairs=_pair_frame(pairs),
        notes=remarks(
            jobs=len(unit),
            units=int(unit.max(initial=-1)) + 1,
            bare=int((code == MISSING).sum()),
            decided=len(pairs),
            fillers=fillers,
        ),
    )


def decisions_made(job_id: pd.Series, decided: pd.DataFrame) -> tuple[Decided, ...]:
    """Write checked decisions with their jobs' numbers."""
    return tuple(
        Decided(str(job_id.iloc[row]), str(job_id.iloc[earlier]), bool(same))
        for row, earlier, same in decided[["row", "earlier_row", "same"]].itertuples(index=False)
    )


def stand_ins(pairs: Sequence[Decided], key_of: dict[str, Key]) -> dict[Key, Key]:
    """Find which keys become another one where people said that jobs are one unit.

    Parameters
    ----------
    pairs
        The decisions.
    key_of
        Job number -> what the job goes by, with jobs kept apart under a key of their own.

    Raises
    ------
    RequestError
        Decisions that contradict each other.
    """
    parent = {key: key for key in key_of.values()}

    def root(key: Key) -> Key:
        while parent[key] != key:
            key = parent[key]
        return key

    for pair in pairs:
        if pair.same:
            parent[root(key_of[pair.job_id])] = root(key_of[pair.earlier_job_id])
    for pair in pairs:
        if not pair.same and root(key_of[pair.job_id]) == root(key_of[pair.earlier_job_id]):
            raise contradicting(pair.job_id, pair.earlier_job_id)
    return {key: root(key) for key in parent if root(key) != key}


def remarks(
    *, jobs: int, units: int | None, bare: int, decided: int, fillers: Iterable[str]
) -> tuple[Note, ...]:
    """Say by what units are known here, and how many jobs that leaves alone.

    Parameters
    ----------
    jobs, units
        How many there are; None where units were not counted.
    bare
        Jobs without a serial.
    decided
        Decisions in force.
    fillers
        Serials taken as words for none.
    """
    notes = (
        []
        if units is None
        else [Note("units", f"Units among {counted(jobs, 'job')}: {whole(units)}.", jobs)]
    )
    notes.append(
        Note(
            "serials_only",
            "Units are known by equal serials and people's decisions alone: a unit whose serial "
            "was mistyped counts as two, so somewhat fewer comebacks are seen than there were.",
        )
    )
    notes.append(
        Note(
            "no_serial",
            f"{counted(bare, 'job has', 'jobs have')} no serial that can be read as one: each is "
            "taken as a unit of its own, so comebacks after it are not seen.",
            bare,
        )
    )
    notes.append(Note("decided", f"Pairs that a person decided: {whole(decided)}.", decided))
    named = ", ".join(fillers)
    if named:
        notes.append(
            Note(
                "filler_serials",
                "Taken as words for no serial, because each is on five or more jobs of as many "
                f"customers, on the bench at once: {named}.",
            )
        )
    return tuple(notes)


def _without_fillers(jobs: pd.DataFrame, code: np.ndarray) -> tuple[np.ndarray, tuple[str, ...]]:
    """Take the words that stand for no serial out of the codes; and name them."""
    often = np.append(np.bincount(code[code != MISSING]) >= FILLER_CUSTOMERS, False)
    rows = np.flatnonzero(often[code])
    some = jobs.take(rows)
    arrived = some["received"].to_numpy("datetime64[D]").astype(np.int64)
    order = np.lexsort((some["job_id"].to_numpy(str), arrived))
    some, arrived = some.iloc[order], arrived[order]
    serial = identifiers(some["unit_serial"])
    customer = pd.factorize(identifiers(some["customer"]))[0]
    fillers = filler_serials(serial, customer, arrived, free_from(some))
    known = code.copy()
    known[rows[order[serial.isin(fillers).to_numpy(dtype=bool)]]] = MISSING
    return known, fillers


def _records(jobs: pd.DataFrame, code: np.ndarray, length: np.ndarray) -> np.ndarray:
    """Give every job its record: equal serials share one, the shortest only within a model."""
    record = code.astype(np.int64)
    short = np.flatnonzero((length < SHORTEST_FOR_SAME)[code] & (code != MISSING))
    model = pd.factorize(plain(jobs["model"].take(short)).fillna(""))[0]
    record[short] = len(length) * (1 + model.astype(np.int64)) + code[short]
    bare = np.flatnonzero(code == MISSING)
    record[bare] = record.max(initial=MISSING) + 1 + np.arange(len(bare))
    return record


def _pair_frame(pairs: Sequence[Decided]) -> pd.DataFrame:
    said = {True: "a person said: the same unit", False: "a person said: another unit"}
    rows = [
        (pair.job_id, pair.earlier_job_id, float(pair.same), "decided", said[pair.same])
        for pair in pairs
    ]
    return pd.DataFrame(rows, columns=list(PAIR_COLUMNS))
