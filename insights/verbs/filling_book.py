"""What fills a job book from files: adding one, and mending the rows that were refused."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path

import pandas as pd

from insights.history.book.adding import add_file, plan_adding
from insights.history.book.book import Book
from insights.history.book.opening import open_book
from insights.history.book.people import Person
from insights.history.book.refused import RefusedRow, as_given, drop, refused_row, refused_rows
from insights.history.intake import read_history
from insights.history.refusals import write_refused
from insights.history.schema import History
from insights.verbs.answer import Answer
from insights.verbs.asked import declared
from insights.verbs.book import named
from insights.verbs.leaving import note_leaving
from insights.wording import adding as wording_adding

MEND = (
    "To mend refused rows, open the book (`staysfixed open BOOK`) at Add a file; or write them out "
    "with `staysfixed book refused BOOK --to FILE`, mend them there and add that file."
)


def add(args: argparse.Namespace) -> Answer:
    """Add a file's jobs to a book."""
    book = open_book(args.book)
    how = declared(args)
    if args.try_out:
        added = plan_adding(book, read_history(Path(args.file), how), how).added
    else:
        added = add_file(book, Path(args.file), how, by=Person(named(args)))
    data = {**asdict(added), "table": added.table}
    tables = (("Refused, and differing from the book", added.table),) if len(added.table) else ()
    found = wording_adding.of_added(added, tried=args.try_out)
    return Answer(data, found.with_caveats((MEND,) if added.refused else ()), tables)


def refused(args: argparse.Namespace) -> Answer:
    """List the rows that wait to be mended, write them out, or drop some."""
    book = open_book(args.book)
    if args.drop:
        return _drop(args, book)
    waiting = refused_rows(book)
    table = pd.DataFrame(
        [(row.key, row.source, row.row, row.job_id, row.problem, row.remedy) for row in waiting],
        columns=["key", "source", "row", "job_id", "problem", "remedy"],
        dtype=object,
    )
    if args.to and waiting:
        note_leaving(args.book, args.by, f"{len(waiting)} refused rows, to {args.to}")
        files = _written(waiting, Path(args.to))
        finding = wording_adding.of_written(waiting, files)
        return Answer({"refused": table, "files": files}, finding)
    tables = (("Waiting", table),) if waiting else ()
    return Answer({"refused": table}, wording_adding.of_refused(waiting), tables)


def _drop(args: argparse.Namespace, book: Book) -> Answer:
    by = Person(named(args))
    rows = [refused_row(book, key) for key in args.drop]
    for row in rows:
        drop(book, row, by=by)
    return Answer({"dropped": [row.key for row in rows]}, wording_adding.of_dropped(rows))


def _written(waiting: tuple[RefusedRow, ...], target: Path) -> list[str]:
    """Write one file for each way of reading, so that each can be added with its own options."""
    ways: dict[str, list[RefusedRow]] = {}
    for row in waiting:
        ways.setdefault(f"{list(row.cells)} {row.declared}", []).append(row)
    files = []
    for place, rows in enumerate(ways.values(), start=1):
        path = target if place == 1 else target.with_stem(f"{target.stem}-{place}")
        mending = History(jobs=pd.DataFrame(), refused_rows=as_given(rows))
        files.append(str(write_refused(mending, path)))
    return files
