"""Curves and causes of a job book whose database does the counting."""

from __future__ import annotations

import argparse

import pandas as pd

from insights import as_json, tables, wording
from insights.errors import RequestError
from insights.history.book.address import is_book
from insights.notes import Note
from insights.survival.causes import CauseCurves, causes_from_counts
from insights.survival.curves import Curves, curves_from_counts
from insights.survival.lifetable import LifeTable
from insights.survival.stating import MIN_AT_RISK, Request, request
from insights.verbs.answer import Answer
from insights.verbs.asked import data_date, days_of, names_of, open_read_only, wanted_values

LEVEL = 0.95
ROWS_NEEDED = (
    "How often a unit comes back, repeats counted, is not told by counts. Ask without "
    "--in-database for it."
)


def counted_option(parser: argparse.ArgumentParser) -> None:
    """Add the option that leaves the counting to the book's database."""
    parser.add_argument(
        "--in-database",
        action="store_true",
        help="a job book's database counts, and only counts leave it; units by equal serials and "
        "your decisions alone",
    )


def curves(args: argparse.Namespace) -> Answer:
    """State the share back by day from counts made in the database."""
    table, notes = _counted(args)
    result = curves_from_counts(table, _request(args), (*notes, Note("no_repeats", ROWS_NEEDED)))
    return Answer(as_json.curves(result), wording.of_curves(result), tables_of_curves(result))


def tables_of_curves(curves: Curves) -> tuple[tuple[str, pd.DataFrame], ...]:
    """List the share back by every day asked for, and the tests between groups."""
    listed = [("Share back", tables.of_curves(curves, every_day=True))]
    tests = tables.tests_of(curves)
    if len(tests):
        listed.append(("Do the groups differ by more than chance?", tests))
    return (*listed, ("Until a comeback", tables.of_days_without(curves)))


def causes(args: argparse.Namespace) -> CauseCurves:
    """Split the share back by root cause, from counts made in the database."""
    table, notes = _counted(args)
    return causes_from_counts(table, _request(args), notes)


def _request(args: argparse.Namespace) -> Request:
    return request(days_of(args.at), MIN_AT_RISK, LEVEL)


def _counted(args: argparse.Namespace) -> tuple[LifeTable, tuple[Note, ...]]:
    if not is_book(args.source):
        raise RequestError(
            f"--in-database asks a job book's database to count, and {args.source} is a file. "
            "Leave it out, or give a job book."
        )
    if args.as_of is not None:
        raise RequestError(
            "--in-database counts a book as it stands, not --as-of a day. Leave one of them out."
        )
    # The database library takes a while to import, which only a book should cost.
    from insights.survival.counted_in_book import count_in_book

    found = count_in_book(
        open_read_only(args),
        names_of(args.by) or (),
        data_date=data_date(args),
        follow=args.follow,
        count=args.count,
        grace_days=args.grace,
        since=args.since,
        until=args.until,
        where=wanted_values(args),
    )
    return found.table, found.notes
