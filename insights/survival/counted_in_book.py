"""A book's life table counted by its own database: rows stay there, counts travel."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import CTE, Connection, Select, and_, case, func, select

from insights.errors import RequestError
from insights.followup import (
    ENDINGS,
    GRACE_DAYS,
    UNKNOWN,
    Count,
    Follow,
    as_day,
    check_rules,
    no_job,
    nothing_left,
    nothing_to_follow,
    remarks,
)
from insights.history.book.book import Book
from insights.history.book.decisions import every_decision
from insights.history.book.engines import reading
from insights.history.book.equal_serials import units_in_book
from insights.history.book.steps import in_parts
from insights.history.book.tables import heads, versions
from insights.notes import Note
from insights.survival.clock_in_book import Rules, clocked
from insights.survival.facts_in_book import order_of, recorded, value
from insights.survival.lifetable import LifeTable

_EPOCH = pd.Timestamp("1970-01-01")
_COUNTED = ("kept", "half_days", "cause", "ending", "unit", "jobs", "termless", "problems")


@dataclass(frozen=True)
class CountedInBook:
    """What a database counted.

    Parameters
    ----------
    table
        The life table.
    data_date
        The day up to which the history is complete.
    rows
        How many rows of counts left the database.
    notes
        What a reader should know: by what units are known, and what the clock met.
    """

    table: LifeTable
    data_date: pd.Timestamp
    rows: int
    notes: tuple[Note, ...]


def count_in_book(
    book: Book,
    by: Sequence[str] = (),
    *,
    data_date: str | pd.Timestamp | None = None,
    follow: Follow = "covered",
    count: Count = "faults",
    grace_days: int = GRACE_DAYS,
    since: str | pd.Timestamp | None = None,
    until: str | pd.Timestamp | None = None,
    where: Mapping[str, tuple[str, ...]] | None = None,
) -> CountedInBook:
    """Let the book's database follow every hand-back and collapse it to counts.

    Parameters
    ----------
    book
        Any book: a file, or one on a PostgreSQL server.
    by
        Grouping columns.
    data_date, follow, count, grace_days
        As in :func:`insights.followup.follow_up`.
    since, until, where
        As in :func:`insights.followup.select`.

    Returns
    -------
    CountedInBook
        The life table is that of the same jobs read and counted here, with units by
        :func:`insights.history.exact.exact_units`.

    Raises
    ------
    RequestError
        An unknown rule, column or value, or nothing is left to count.
    BookError
        The database refused.

    Notes
    -----
    One statement, the same for every engine: units, the unit's next job (a window), the first
    end, counts. Units that came once travel as counts only; of a unit that came several times,
    which counts it stands in, under a number, so that variances can be clustered by unit.
    """
    check_rules(follow, count, grace_days)
    chosen = dict(where or {})
    facts = {name: recorded(name) for name in (*by, *chosen)}
    decisions = every_decision(book)
    with reading(book.engine, book.name) as connection:
        latest = _latest(connection) if data_date is None else as_day(data_date, "data date")
        units = units_in_book(connection, decisions)
        clocks = clocked(units.jobs, Rules(_day(latest), follow, count, grace_days), facts)
        said = _with_values(clocks, (*by, *chosen))
        kept = [said.c.episode == 1, *_in_period(said, since, until)]
        for name, wanted in chosen.items():
            _check_values(connection, said, name, wanted)
            kept.append(_fact(said, name).in_(wanted))
        asked = _counts(said, and_(*kept), tuple(by))
        counted = _frame(in_parts(connection, asked), tuple(by))
    episodes = counted[counted["kept"] == 1]
    if episodes.empty:
        raise nothing_left() if (chosen or since or until) else nothing_to_follow(latest)
    unknown = int(episodes["jobs"][episodes["cause"] == UNKNOWN].sum())
    termless = int(episodes["termless"].sum())
    return CountedInBook(
        table=_life_table(episodes, tuple(by), _causes(counted)),
        data_date=latest,
        rows=len(counted),
        notes=(
            *units.notes,
            *remarks(
                follow,
                termless=termless,
                termed=int(episodes["jobs"].sum()) - termless,
                problems=int(counted["problems"].sum()),
                unknown=unknown,
            ),
        ),
    )


def _latest(connection: Connection) -> pd.Timestamp:
    """Find the latest arrival or hand-back among the jobs as they stand."""
    found = connection.execute(
        select(func.max(versions.c.received_day), func.max(versions.c.handed_back_day)).join(
            heads, heads.c.version_id == versions.c.version_id
        )
    ).one()
    days = [day for day in found if day is not None]
    if not days:
        raise no_job()
    return _EPOCH + pd.Timedelta(days=max(days))


def _day(day: pd.Timestamp) -> int:
    return int((day - _EPOCH).days)


def _with_values(clocks: CTE, names: Iterable[str]) -> CTE:
    """Say every fact asked for as text, beside the clock."""
    kept = ("unit", "first", "handed_back_day", "episode", "half_days", "cause", "ending")
    said = {name: value(name, clocks).label(f"is_{name}") for name in dict.fromkeys(names)}
    columns = [clocks.c[name] for name in (*kept, "termless", "problems")]
    return select(*columns, *said.values()).cte("said")


def _check_values(connection: Connection, said: CTE, name: str, wanted: tuple[str, ...]) -> None:
    fact = _fact(said, name)
    asked = select(fact).where(said.c.episode == 1).distinct()
    known = order_of(name, [str(row[0]) for row in connection.execute(asked)])
    unknown = [value for value in wanted if value not in known]
    if unknown:
        raise RequestError(
            f"No job has {name} = {', '.join(unknown)}. Recorded: {', '.join(known[:20])}."
        )


def _fact(said: CTE, name: str) -> Any:
    return said.c[f"is_{name}"]


def _in_period(
    said: CTE, since: str | pd.Timestamp | None, until: str | pd.Timestamp | None
) -> Iterator[Any]:
    if since is not None:
        yield said.c.handed_back_day >= _day(as_day(since, "since"))
    if until is not None:
        yield said.c.handed_back_day <= _day(as_day(until, "until"))


def _counts(said: CTE, kept: Any, by: tuple[str, ...]) -> Select[Any]:
    """Ask for the counts; jobs that are no episodes pass through, for their contradictions."""
    marked = select(*said.c, case((kept, 1), else_=0).label("kept")).cte("marked")
    row = marked.c

    def of_kept(value: Any) -> Any:
        return case((row.kept == 1, value))

    unit: dict[str, Any] = {"partition_by": row.unit}
    numbered = select(
        *row,
        func.sum(row.kept).over(**unit).label("times"),
        func.min(of_kept(row.first)).over(**unit).label("number"),
    ).cte("numbered")
    row = numbered.c
    keys = {
        "kept": row.kept,
        "half_days": of_kept(row.half_days),
        "cause": row.cause,  # of the others too: a selection keeps the record's list of causes
        "ending": of_kept(row.ending),
        "unit": case((and_(row.kept == 1, row.times > 1), row.number)),
        **{f"by_{place}": of_kept(row[f"is_{name}"]) for place, name in enumerate(by)},
    }
    keyed = select(
        *(key.label(name) for name, key in keys.items()),
        of_kept(row.termless).label("termless"),
        row.problems,
    ).subquery("keyed")
    grouped = [keyed.c[name] for name in keys]
    return select(
        *grouped[:5],
        func.count(),
        func.sum(keyed.c.termless),
        func.sum(keyed.c.problems),
        *grouped[5:],
    ).group_by(*grouped)


def _frame(parts: Iterable[Sequence[Any]], by: tuple[str, ...]) -> pd.DataFrame:
    names = [*_COUNTED, *by]
    frames = []
    for part in parts:
        frame = pd.DataFrame(part, columns=names)
        for name in ("kept", "jobs", "problems"):
            frame[name] = frame[name].astype(np.int64)
        for name in ("half_days", "unit", "termless"):
            frame[name] = frame[name].astype(float)
        frames.append(frame)
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=names)


def _causes(counted: pd.DataFrame) -> tuple[str, ...]:
    known = [str(cause) for cause in counted["cause"].dropna().unique()]
    return tuple(sorted(known, key=lambda cause: (cause == UNKNOWN, cause)))


def _life_table(episodes: pd.DataFrame, by: tuple[str, ...], causes: tuple[str, ...]) -> LifeTable:
    """Lay counts out as :func:`insights.survival.lifetable.life_table` does."""
    pattern, patterns = _patterns(episodes, by)
    endings = tuple(how for how in ENDINGS if (episodes["ending"] == how).any())
    outcome = _outcomes(episodes, causes, endings)
    jobs = episodes["jobs"].to_numpy()
    keys = np.stack([pattern, episodes["half_days"].to_numpy(dtype=np.int64), outcome])
    seen, cell = np.unique(keys, axis=1, return_inverse=True)
    cell = cell.reshape(-1)
    cells = pd.DataFrame(
        {
            "pattern": seen[0],
            "days": seen[1] / 2,
            "outcome": seen[2],
            "jobs": np.bincount(cell, weights=jobs).astype(np.int64),
        }
    )
    often = episodes["unit"].notna().to_numpy()
    unit = pd.factorize(episodes["unit"][often], sort=True)[0]
    order = np.argsort(unit, kind="stable")
    repeats = pd.DataFrame({"unit": unit[order], "cell": cell[often][order]})
    repeats = repeats.loc[repeats.index.repeat(jobs[often][order])].reset_index(drop=True)
    pairs = np.unique(np.stack([unit, pattern[often]]), axis=1)
    units = np.bincount(pattern[~often], weights=jobs[~often], minlength=len(patterns))
    units += np.bincount(pairs[1].astype(np.int64), minlength=len(patterns))
    return LifeTable(by, patterns, causes, endings, cells, repeats, units.astype(np.int64))


def _patterns(episodes: pd.DataFrame, by: tuple[str, ...]) -> tuple[np.ndarray, pd.DataFrame]:
    if not by:
        return np.zeros(len(episodes), dtype=np.int64), pd.DataFrame(index=range(1))
    typed = pd.DataFrame(
        {
            name: pd.Categorical(episodes[name], order_of(name, list(episodes[name].unique())))
            for name in by
        }
    )
    grouped = typed.groupby(list(by), observed=True, sort=True)
    patterns = grouped.size().index.to_frame(index=False)
    for name in by:
        patterns[name] = pd.Categorical(patterns[name], typed[name].cat.categories)
    return grouped.ngroup().to_numpy(dtype=np.int64), patterns


def _outcomes(
    episodes: pd.DataFrame, causes: tuple[str, ...], endings: tuple[str, ...]
) -> np.ndarray:
    cause = pd.Categorical(episodes["cause"], causes).codes.astype(np.int64)
    ending = pd.Categorical(episodes["ending"], endings).codes.astype(np.int64)
    return np.where(cause >= 0, 1 + cause, np.where(ending >= 0, 1 + len(causes) + ending, 0))
