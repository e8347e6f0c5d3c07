"""What is done to keep a job book: made, backed up, brought back, written out, checked."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path

from insights.errors import BookError, RequestError
from insights.history.book.backup import Copied, backup, restore
from insights.history.book.condition import condition
from insights.history.book.entries import Settings
from insights.history.book.exporting import export_book, rebuild_book
from insights.history.book.opening import create_book, open_book
from insights.history.book.people import Person
from insights.history.book.whole_files import whole_file
from insights.history.written import form_of, write_history
from insights.verbs.answer import Answer
from insights.verbs.asked import as_of_day
from insights.verbs.book import named
from insights.verbs.leaving import note_leaving
from insights.wording import book as wording_book


def new(args: argparse.Namespace) -> Answer:
    """Make an empty book."""
    said = ("currency", "minor_digits", "decimal", "workshop", "prefix")
    given = {name: value for name in said if (value := getattr(args, name)) is not None}
    book = create_book(args.book, Settings(**given), Person(named(args)))
    return Answer({"book": book.name}, wording_book.of_new(book.name))


def check(args: argparse.Namespace) -> Answer:
    """Check that a book is whole, and count what is in it; an older one is brought forward."""
    found = condition(open_book(args.book))
    last = found.last_saved_at
    data = {**asdict(found), "last_saved_at": None if last is None else last.isoformat()}
    return Answer(data, wording_book.of_condition(found))


def back_up(args: argparse.Namespace) -> Answer:
    """Write a checked copy."""
    # A book that can't be written to any more needs its backup most, so that goes first.
    book = open_book(args.book, read_only=True, as_it_is=True)
    try:
        note_leaving(args.book, args.by, f"backup {args.to}")
        unnoted: tuple[str, ...] = ()
    except (BookError, RequestError) as error:
        unnoted = (wording_book.not_noted(error),)
    copied = backup(book, args.to)
    return Answer(_data(copied), wording_book.of_backup(copied).with_caveats(unnoted))


def bring_back(args: argparse.Namespace) -> Answer:
    """Make a book from a backup."""
    copied = restore(args.backup, args.book)
    return Answer(_data(copied), wording_book.of_restore(copied))


def export(args: argparse.Namespace) -> Answer:
    """Write everything as tables."""
    book = open_book(args.book, read_only=True)
    note_leaving(args.book, args.by, f"everything, to {args.folder}")
    exported = export_book(book, args.folder, args.form)
    return Answer(asdict(exported), wording_book.of_export(exported, args.folder))


def rebuild(args: argparse.Namespace) -> Answer:
    """Make a book from an export."""
    exported = rebuild_book(args.folder, args.book)
    return Answer(asdict(exported), wording_book.of_rebuild(exported, args.book))


def write_jobs(args: argparse.Namespace) -> Answer:
    """Write the jobs as one table."""
    form, as_of = form_of(args.to), as_of_day(args)
    history = open_book(args.book, read_only=True).history(as_of)
    note_leaving(args.book, args.by, f"{len(history.jobs)} jobs, to {args.to}")
    with whole_file(Path(args.to)) as making:
        write_history(history, making, form)
    data = {"file": args.to, "jobs": len(history.jobs), "as_of": args.as_of}
    return Answer(data, wording_book.of_jobs_written(len(history.jobs), args.to, as_of))


def _data(copied: Copied) -> dict[str, object]:
    return {"file": copied.name, "rows": copied.counts, "digest": copied.digest}
