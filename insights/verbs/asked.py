"""From the words of a command line to the hand-backs they ask about."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from insights.errors import RequestError
from insights.followup import (
    COUNTS,
    FOLLOWS,
    GRACE_DAYS,
    Followup,
    as_day,
    follow_up,
    select,
)
from insights.history.book.address import is_book
from insights.history.declared import Declared
from insights.history.exact import exact_units
from insights.history.intake import read_history
from insights.history.schema import History
from insights.history.units import LINK_AT, Links, link_units

if TYPE_CHECKING:
    from insights.history.book.book import Book

DAYS = "90,180,365"


def common_options(parser: argparse.ArgumentParser) -> None:
    """Add the options that every analysis takes."""
    parser.add_argument("source", metavar="SOURCE", help="CSV, XLSX or Parquet file, or a job book")
    clock = parser.add_argument_group("the clock")
    clock.add_argument("--data-date", metavar="DAY", help="the history is complete up to this day")
    clock.add_argument(
        "--follow",
        choices=FOLLOWS,
        default="covered",
        help="up to which day a job is followed: to the end of its own term and the grace, or to "
        "the data date (%(default)s)",
    )
    clock.add_argument(
        "--count",
        choices=COUNTS,
        default="faults",
        help="which comebacks count: all, all but misuse and no fault found, or those covered "
        "(%(default)s)",
    )
    clock.add_argument(
        "--grace",
        type=int,
        default=GRACE_DAYS,
        metavar="DAYS",
        help="days after the term in which a comeback still arrives (%(default)s)",
    )
    clock.add_argument(
        "--link-at",
        type=float,
        default=LINK_AT,
        metavar="PROBABILITY",
        help="how likely two jobs must be one unit to be taken for one (%(default)s)",
    )
    clock.add_argument(
        "--serials-only",
        action="store_true",
        help="know a unit by equal serials alone: for many millions of jobs",
    )
    which = parser.add_argument_group("which hand-backs")
    which.add_argument("--since", metavar="DAY", help="handed back on this day or later")
    which.add_argument("--until", metavar="DAY", help="handed back on this day or earlier")
    which.add_argument(
        "--where",
        action="append",
        default=[],
        metavar="COLUMN=VALUE",
        help="only these, such as model=grinder; may be given again",
    )
    file_options(parser)
    as_of_option(parser.add_argument_group("a job book"))
    parser.add_argument("--json", action="store_true", help="one JSON object on stdout")


def as_of_option(parser: argparse._ActionsContainer) -> None:
    """Add the day as of which a book is asked."""
    parser.add_argument(
        "--as-of", metavar="DAY", help="as the book knew it at the end of that day (UTC)"
    )


def file_options(parser: argparse.ArgumentParser) -> None:
    """Add what can be said about how a file is written."""
    file = parser.add_argument_group("how the file is written")
    file.add_argument("--headings", metavar="FILE", help="a mapping written by `check --suggest`")
    file.add_argument("--date-format", metavar="FORMAT", help="such as %%d/%%m/%%Y for 31/12/2026")
    file.add_argument("--decimal", choices=(".", ","), help="the mark before decimals")
    file.add_argument("--currency", metavar="NAME", help="of every amount, such as EUR")
    file.add_argument("--sheet", metavar="NAME", help="of a workbook that has several")


def declared(args: argparse.Namespace) -> Declared | None:
    """Gather what was said about the file; None where nothing was."""
    base = Declared.load(args.headings) if args.headings else Declared()
    said = {
        name: value
        for name in ("date_format", "decimal", "currency", "sheet")
        if (value := getattr(args, name)) is not None
    }
    if not said and not args.headings:
        return None
    return Declared(**{**base.__dict__, **said})


def read(args: argparse.Namespace) -> History:
    """Read the source.

    Raises
    ------
    RequestError
        What is asked fits a file only, or a job book only.
    """
    as_of = as_of_day(args)
    if not is_book(args.source):
        if as_of is not None:
            raise RequestError(
                f"--as-of {args.as_of} asks what was known then, which a file can't tell. Give a "
                "job book, or leave it out."
            )
        return read_history(Path(args.source), declared(args))
    if declared(args) is not None:
        raise RequestError(
            f"{args.source} is a job book, which needs no --headings, --date-format, --decimal, "
            "--currency or --sheet. Leave them out."
        )
    return open_read_only(args).history(as_of)


def open_read_only(args: argparse.Namespace) -> Book:
    """Open the job book asked about."""
    # The database library takes a while to import, which only a book should cost.
    from insights.history.book.opening import open_book

    return open_book(args.source, read_only=True)


def as_of_day(args: argparse.Namespace) -> date | None:
    """Read the day as of which a book is asked; None where none was said.

    Raises
    ------
    RequestError
        It is not written as a day.
    """
    try:
        return None if args.as_of is None else date.fromisoformat(args.as_of)
    except ValueError:
        raise RequestError(f"--as-of {args.as_of}: write the day as 2026-03-09.") from None


def _decisions(args: argparse.Namespace, history: History) -> pd.DataFrame | None:
    """Read what people decided on doubtful pairs; a file knows none."""
    if not is_book(args.source):
        return None
    from insights.history.book.decisions import unit_decisions

    return unit_decisions(open_read_only(args), history, as_of_day(args))


def followed(args: argparse.Namespace, history: History) -> Followup:
    """Link units and start the clocks."""
    return follow_up(
        history,
        data_date=data_date(args),
        follow=args.follow,
        count=args.count,
        grace_days=args.grace,
        links=_units(args, history),
    )


def data_date(args: argparse.Namespace) -> pd.Timestamp | None:
    """Read the data date; None where none was said.

    Raises
    ------
    RequestError
        It is no day, or lies ahead: days to come would count as days without a comeback.
    """
    if args.data_date is None:
        return None
    day = as_day(args.data_date, "data date")
    if day > pd.Timestamp(date.today()):
        raise RequestError(
            f"--data-date {args.data_date} is still to come, so no record is complete up to it. "
            "Give a day up to today."
        )
    return day


def _units(args: argparse.Namespace, history: History) -> Links:
    decisions = _decisions(args, history)
    if args.serials_only:
        return exact_units(history, decisions=decisions)
    return link_units(history, link_at=args.link_at, decisions=decisions)


def selected(args: argparse.Namespace, followup: Followup | None = None) -> Followup:
    """Keep the hand-backs that the filters ask for, of the source's if not of those given."""
    followup = followed(args, read(args)) if followup is None else followup
    where = wanted_values(args)
    if not (where or args.since or args.until):
        return followup
    return select(followup, since=args.since, until=args.until, where=where)


def wanted_values(args: argparse.Namespace) -> dict[str, tuple[str, ...]]:
    """Gather the values to keep, by column.

    Raises
    ------
    RequestError
        A condition is not written as one.
    """
    where: dict[str, tuple[str, ...]] = {}
    for condition in args.where:
        name, equals, value = condition.partition("=")
        if not equals:
            raise RequestError(f"--where {condition}: write it as COLUMN=VALUE.")
        where[name] = (*where.get(name, ()), value)
    return where


def days_of(text: str, *, option: str = "--at") -> tuple[float, ...]:
    """Read a list of days.

    Raises
    ------
    RequestError
        A day is not a number above zero.
    """
    try:
        days = tuple(float(day) for day in text.split(","))
    except ValueError:
        raise RequestError(f"{option} {text}: write days with commas, like {DAYS}.") from None
    if any(not 0 < day < float("inf") for day in days):
        raise RequestError(f"{option} {text}: every day must be above zero.")
    return tuple(sorted(set(days)))


def names_of(text: str | None) -> tuple[str, ...] | None:
    """Read a list of names; None where none was given."""
    return None if text is None else tuple(name.strip() for name in text.split(","))
