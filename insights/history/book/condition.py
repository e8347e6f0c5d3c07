"""Whether a book is whole, and what is in it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select

from insights.history.book.book import Book
from insights.history.book.copying import check_whole
from insights.history.book.engines import reading
from insights.history.book.entries import moment
from insights.history.book.migrating import version_of
from insights.history.book.tables import heads, records, versions


@dataclass(frozen=True)
class Condition:
    """What a book holds.

    Parameters
    ----------
    name
        What it is called.
    tables
        The version of its tables.
    jobs, on_bench, saves, records
        Jobs, those not handed back, every save of a job, every save of anything else.
    last_saved_at
        When a job was last saved, UTC; None where none was.
    """

    name: str
    tables: str
    jobs: int
    on_bench: int
    saves: int
    records: int
    last_saved_at: datetime | None


def condition(book: Book) -> Condition:
    """Check a book from end to end and count what it holds.

    Raises
    ------
    BookError
        It is damaged.
    """
    with reading(book.engine, book.name) as connection:
        check_whole(connection, book.name)

        def count(table: object, *where: object) -> int:
            asked = select(func.count()).select_from(table).where(*where)  # type: ignore[arg-type]
            return int(connection.execute(asked).scalar_one())

        last = connection.execute(select(func.max(versions.c.saved_at_us))).scalar()
        return Condition(
            name=book.name,
            tables=version_of(connection) or "",
            jobs=count(heads),
            on_bench=count(heads, heads.c.on_bench.is_(True)),
            saves=count(versions),
            records=count(records),
            last_saved_at=None if last is None else moment(last),
        )
