"""The verb `book`: make a job book, look after it, bring histories in and out.

Each line of :data:`BOOK_VERBS` is one thing that can be done with a book: its name, what it does,
its options and its answer, exactly as for an analysis.
"""

from __future__ import annotations

import argparse
import getpass

from insights import wording_book
from insights.answer import Answer
from insights.errors import RequestError
from insights.history.book.book import Book
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book, open_book
from insights.history.book.people import Person
from insights.verbs import Verb


def book_option(parser: argparse.ArgumentParser) -> None:
    """Add the book itself: a file's path or a database's address."""
    parser.add_argument("book", metavar="BOOK", help="a file, or postgresql://user@host/name")


def by_option(parser: argparse.ArgumentParser) -> None:
    """Add who does it; whoever may open the file here may do everything with it."""
    parser.add_argument("--by", metavar="NAME", help="who does it; this machine's user if not said")


def person(args: argparse.Namespace) -> Person:
    """Name who does it.

    Raises
    ------
    RequestError
        This machine knows no name for its user.
    """
    if args.by:
        return Person(args.by)
    try:
        return Person(getpass.getuser())
    except (OSError, KeyError, ImportError) as error:
        raise RequestError("This machine has no name for you. Say it with --by NAME.") from error


def opened(args: argparse.Namespace) -> Book:
    """Open the book that was named, for writing."""
    return open_book(args.book)


def _new_options(parser: argparse.ArgumentParser) -> None:
    usual = Settings()
    book_option(parser)
    by_option(parser)
    parser.add_argument("--currency", default=usual.currency, metavar="NAME")
    parser.add_argument(
        "--minor-digits",
        type=int,
        default=usual.minor_digits,
        choices=range(5),
        help="decimals of an amount",
    )
    parser.add_argument("--decimal", choices=(".", ","), default=usual.decimal)
    parser.add_argument("--workshop", default=usual.workshop, metavar="NAME")
    parser.add_argument("--prefix", default=usual.prefix, help="what new job numbers begin with")


def _new(args: argparse.Namespace) -> Answer:
    settings = Settings(
        currency=args.currency,
        minor_digits=args.minor_digits,
        decimal=args.decimal,
        workshop=args.workshop,
        prefix=args.prefix,
    )
    book = create_book(args.book, settings, person(args))
    return Answer({"book": book.name}, wording_book.of_new(book.name))


BOOK_VERBS = (Verb("new", "make an empty job book", _new_options, _new),)
