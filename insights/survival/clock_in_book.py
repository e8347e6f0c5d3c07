"""The clock's rules as a question to the database: :mod:`insights.followup`, word for word.

One expression for every engine, made of windows and cases. Days count from 1970 and ends are kept
in half days, so that a same-day comeback (half a day) is a whole number too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import (
    CTE,
    ColumnElement,
    Integer,
    Subquery,
    and_,
    case,
    cast,
    func,
    literal,
    not_,
    null,
    or_,
    select,
)

from insights.followup import ENDINGS, NOT_A_FAULT, UNKNOWN, Count, Follow
from insights.history.book.tables import versions

_NEVER = 10_000_000  # later than any day
_BACK, _ENDED, _TERM, _DATA_DATE = range(4)
Expression = ColumnElement[Any]


@dataclass(frozen=True)
class Rules:
    """What starts, stops and counts.

    Parameters
    ----------
    until
        The data date, in days since 1970.
    follow, count, grace_days
        As in :func:`insights.followup.follow_up`.
    """

    until: int
    follow: Follow
    count: Count
    grace_days: int


def clocked(jobs: Subquery, rules: Rules, facts: dict[str, Expression]) -> CTE:
    """Ask for every job with its clock.

    Parameters
    ----------
    jobs
        Every job's unit (:class:`insights.history.book.equal_serials.UnitsInBook`).
    rules
        What starts, stops and counts.
    facts
        What else to say of each job: expressions over ``versions``, by name.

    Returns
    -------
    sqlalchemy.CTE
        One row a job: ``unit``, ``first``, ``received_day``, ``handed_back_day``, ``episode``
        (1: the hand-back is followed), ``half_days``, ``cause`` (of a counted comeback, null
        otherwise), ``ending`` (how the unit left service, null otherwise), ``termless``,
        ``problems`` (dates that contradict each other), and the facts; the half days and ends
        mean something for episodes only.
    """
    return _outcomes(_first_ends(_ends(_lined_up(jobs, facts), rules, list(facts))), rules)


def repair_number(clocks: CTE) -> Expression:
    """Count a unit's followed hand-backs up to each one, over rows of :func:`clocked`."""
    row = clocks.c
    return func.sum(row.episode).over(
        partition_by=row.unit, order_by=_in_time(row, row.first), rows=(None, 0)
    )


def _in_time(row: Any, first: Expression) -> list[Expression]:
    # An empty hand-back sorts last among same-day arrivals.
    return [row.received_day, func.coalesce(row.handed_back_day, _NEVER), first]


def _flag(condition: Expression) -> Expression:
    return case((condition, 1), else_=0)


def _lined_up(jobs: Subquery, facts: dict[str, Expression]) -> CTE:
    """Line up each unit's jobs in time, each beside the one after it."""
    kept = versions.c
    order: dict[str, Any] = {
        "partition_by": jobs.c.unit,
        "order_by": _in_time(kept, jobs.c.first),
    }
    following = ("received_day", "notified_day", "relation", "decision", "root_cause")
    own = ("received_day", "handed_back_day", "term_days", "ended_on_day", "ended_how")
    return (
        select(
            jobs.c.unit,
            jobs.c.first,
            kept.notified_day,
            *(kept[name] for name in own),
            *(func.lead(kept[name]).over(**order).label(f"next_{name}") for name in following),
            *(fact.label(name) for name, fact in facts.items() if name not in own),
        )
        .join(versions, kept.version_id == jobs.c.version_id)
        .cte("lined_up")
    )


def _ends(jobs: CTE, rules: Rules, facts: list[str]) -> CTE:
    """Add the days to each possible end, and what contradicts."""
    row = jobs.c
    start, until = row.handed_back_day, rules.until
    overlap = row.next_received_day < start
    ended_early = row.ended_on_day < start
    back_early = start < row.received_day
    two_open = and_(start.is_(None), row.ended_on_day.is_(None), row.next_received_day.is_not(None))
    dates = (row.received_day, start, row.ended_on_day, row.notified_day)
    after = or_(*(date > until for date in dates))
    flaws = [_flag(flaw) for flaw in (overlap, two_open, ended_early, back_early, after)]
    sound = [not_(func.coalesce(flaw, False)) for flaw in (overlap, ended_early, back_early)]
    term_end: Expression = cast(null(), Integer)
    if rules.follow == "covered":
        term_end = row.term_days + rules.grace_days
    return select(
        *row,
        _flag(and_(start <= until, *sound)).label("episode"),
        sum(flaws[1:], flaws[0]).label("problems"),
        case((row.next_received_day <= until, row.next_received_day - start)).label("back"),
        case((row.ended_on_day <= until, row.ended_on_day - start)).label("ended"),
        term_end.label("term_end"),
        (until - start).label("data_end"),
    ).cte("ends")


def _first_ends(jobs: CTE) -> CTE:
    """Say which end comes first: a comeback before leaving service, both before the term's end."""
    row = jobs.c

    def not_after(end: Expression, *others: Expression) -> Expression:
        return and_(end.is_not(None), *(or_(other.is_(None), end <= other) for other in others))

    came_first = case(
        (not_after(row.back, row.ended, row.term_end), _BACK),
        (not_after(row.ended, row.term_end), _ENDED),
        (row.term_end <= row.data_end, _TERM),
        else_=_DATA_DATE,
    )
    return select(*row, came_first.label("came_first")).cte("first_ends")


def _outcomes(jobs: CTE, rules: Rules) -> CTE:
    row = jobs.c
    episode = row.episode == 1
    back, ended = row.came_first == _BACK, row.came_first == _ENDED
    half_days = case(
        (and_(back, row.back == 0), 1),  # on the day of hand-back: half a day
        (back, 2 * row.back),
        (and_(ended, row.ended == 0), 1),
        (ended, 2 * row.ended),
        (row.came_first == _TERM, 2 * row.term_end),
        else_=2 * row.data_end,
    )
    counted = and_(episode, back, _counted(jobs, rules.count))
    made = {
        "half_days": half_days,
        "cause": case((counted, func.coalesce(row.next_root_cause, UNKNOWN))),
        "ending": case((and_(episode, ended), func.coalesce(row.ended_how, ENDINGS[0]))),
        "termless": _flag(and_(episode, row.term_days.is_(None))),
    }
    return select(*row, *(value.label(name) for name, value in made.items())).cte("clocked")


def _counted(jobs: CTE, count: Count) -> Expression:
    row = jobs.c
    if count == "all":
        return literal(1) == 1
    if count == "faults":
        return or_(row.next_relation.is_(None), row.next_relation.not_in(NOT_A_FAULT))
    reported = func.coalesce(row.next_notified_day, row.next_received_day)
    undecided = or_(row.next_decision.is_(None), row.next_decision == "pending")
    in_term = reported <= row.handed_back_day + row.term_days
    return or_(row.next_decision == "covered", and_(undecided, in_term))
