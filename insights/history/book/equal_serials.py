"""Which jobs of a book are the same unit by equal serials, worked out inside the database.

The rules are those of :func:`insights.history.exact.exact_units`; only what needs a person's or
a program's eye (decided pairs, words taken for no serial, the shortest serials) leaves the
database, and that is little.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd
from sqlalchemy import (
    ColumnElement,
    Connection,
    Subquery,
    Text,
    and_,
    case,
    column,
    func,
    literal,
    or_,
    select,
    values,
)

from insights.history.book.decisions import among
from insights.history.book.tables import heads, versions
from insights.history.cards import FILLER_CUSTOMERS, NEVER
from insights.history.exact import Decided, remarks, stand_ins
from insights.history.serials import SHORTEST_FOR_SAME, plain
from insights.history.units import DECISION_COLUMNS
from insights.notes import Note

MOST_NAMED = 500
_OWN = "job "  # no serial's sign holds a space, so no serial reads like this


@dataclass(frozen=True)
class UnitsInBook:
    """Every job's unit, as a question that the database answers.

    Parameters
    ----------
    jobs
        One row a job: ``version_id`` (of the job as it stands), ``first`` (of its first save,
        which gives the order of jobs), ``unit`` (text, equal for jobs of one unit).
    notes
        By what units are known, and how many jobs have no serial.
    """

    jobs: Subquery
    notes: tuple[Note, ...]


def units_in_book(connection: Connection, decisions: pd.DataFrame) -> UnitsInBook:
    """Write the question which jobs are one unit.

    Parameters
    ----------
    connection
        An open transaction on the book.
    decisions
        All decisions on doubtful pairs
        (:func:`insights.history.book.decisions.every_decision`).

    Raises
    ------
    RequestError
        Decisions that contradict each other.
    """
    fillers = _fillers(connection)
    pairs = _known_pairs(connection, decisions)
    apart = sorted({pair.job_id for pair in pairs if not pair.same})
    key = _key(connection, fillers, apart)
    involved = sorted({job for pair in pairs for job in (pair.job_id, pair.earlier_job_id)})
    joined = stand_ins(pairs, _looked_up(connection, key, involved))
    bare = or_(heads.c.serial_sign.is_(None), heads.c.serial_sign.in_(fillers))
    count = connection.execute(select(func.count()).where(bare)).scalar_one()
    return UnitsInBook(
        jobs=_jobs(key, joined),
        notes=remarks(jobs=0, units=None, bare=count, decided=len(pairs), fillers=fillers),
    )


def _key(connection: Connection, fillers: list[str], apart: list[str]) -> ColumnElement[str]:
    """Write what a job goes by before anything was decided."""
    sign = heads.c.serial_sign
    alone = or_(sign.is_(None), sign.in_(fillers), heads.c.job_id.in_(apart))
    cases: list[Any] = [(alone, literal(_OWN) + heads.c.job_id)]
    short = func.length(sign) < SHORTEST_FOR_SAME
    joined = versions.c.version_id == heads.c.version_id
    asked = select(versions.c.model).join(heads, joined).where(short).distinct()
    models = [str(row.model) for row in connection.execute(asked)]
    if models:
        plain_of = dict(zip(models, plain(pd.Series(models)).fillna(""), strict=True))
        model = select(versions.c.model).where(joined).correlate(heads).scalar_subquery()
        cases.append((short, sign + literal(" ") + case(plain_of, value=model, else_="")))
    return case(*cases, else_=sign)


def _jobs(key: ColumnElement[str], joined: dict[str, str]) -> Subquery:
    first = versions.alias("first")
    earliest = (
        select(first.c.version_id)
        .where(first.c.job_id == heads.c.job_id, first.c.number == 1)
        .correlate(heads)
        .scalar_subquery()
    )
    keyed = select(
        heads.c.version_id,
        case((heads.c.number == 1, heads.c.version_id), else_=earliest).label("first"),
        key.label("unit"),
    )
    if not joined:
        return keyed.subquery("jobs")
    inner = keyed.subquery("keyed")
    pairs = values(column("was", Text), column("stands", Text), name="joined")
    said = pairs.data(list(joined.items())).cte("joined")
    return (
        select(
            inner.c.version_id,
            inner.c.first,
            func.coalesce(said.c.stands, inner.c.unit).label("unit"),
        )
        .join_from(inner, said, said.c.was == inner.c.unit, isouter=True)
        .subquery("jobs")
    )


def _fillers(connection: Connection) -> list[str]:
    """Find the serials that stand for none (:func:`insights.history.cards.filler_serials`)."""
    sign, customer = heads.c.serial_sign, heads.c.customer_sign
    known = and_(sign.is_not(None), customer.is_not(None))
    often = select(sign).group_by(sign).having(func.count() >= FILLER_CUSTOMERS)
    many = (
        select(sign)
        .where(known, sign.in_(often))
        .group_by(sign)
        .having(
            func.count() >= FILLER_CUSTOMERS,
            func.count() == func.count(customer.distinct()),
        )
    )
    open_or_gone = or_(versions.c.handed_back_day.is_(None), versions.c.ended_on_day.is_not(None))
    free = case((open_or_gone, literal(NEVER)), else_=versions.c.handed_back_day)
    before: dict[str, Any] = {
        "partition_by": sign,
        "order_by": [versions.c.received_day, heads.c.job_id],
        "rows": (None, -1),
    }
    jobs = (
        select(
            sign.label("sign"), versions.c.received_day, func.max(free).over(**before).label("u")
        )
        .join(versions, versions.c.version_id == heads.c.version_id)
        .where(known, sign.in_(many))
        .subquery()
    )
    asked = select(jobs.c.sign).where(jobs.c.received_day < jobs.c.u).distinct()
    return sorted(str(row.sign) for row in connection.execute(asked))


def _known_pairs(connection: Connection, decisions: pd.DataFrame) -> list[Decided]:
    ids = pd.unique(decisions[["job_id", "earlier_job_id"]].to_numpy().ravel()).tolist()
    there = _looked_up(connection, heads.c.job_id, ids)
    both = among(decisions, there)
    return [Decided(*row) for row in both[list(DECISION_COLUMNS)].itertuples(index=False)]


def _looked_up(
    connection: Connection, wanted: ColumnElement[str], job_ids: list[str]
) -> dict[str, str]:
    """Read something of some jobs' heads, a few hundred at a time."""
    found: dict[str, str] = {}
    for start in range(0, len(job_ids), MOST_NAMED):
        some = job_ids[start : start + MOST_NAMED]
        asked = select(heads.c.job_id, wanted.label("wanted")).where(heads.c.job_id.in_(some))
        found.update((row.job_id, row.wanted) for row in connection.execute(asked))
    return found
