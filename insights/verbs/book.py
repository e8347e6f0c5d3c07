"""The verb `book`: make a job book, look after it, bring histories in and out.

Each line of :data:`BOOK_VERBS` is one thing that can be done with a book: its name, what it does,
its options and its answer, as for an analysis. The answers live in modules that are imported when
one is asked for: the database library takes a while, which only a book should cost.
"""

from __future__ import annotations

import argparse
import getpass
import importlib
from collections.abc import Callable

from insights.errors import RequestError
from insights.history.written import FORMS
from insights.verbs.answer import Answer
from insights.verbs.asked import as_of_option, file_options
from insights.verbs.verb import Verb

KEEPING = "insights.verbs.keeping_book"
FILLING = "insights.verbs.filling_book"
MAILING = "insights.verbs.mail_of_book"


def book_option(parser: argparse.ArgumentParser) -> None:
    """Add the book itself: a file's path or a database's address."""
    parser.add_argument("book", metavar="BOOK", help="a file, or postgresql://user@host/name")


def by_option(parser: argparse.ArgumentParser) -> None:
    """Add who does it; whoever may open the file here may do everything with it."""
    parser.add_argument("--by", metavar="NAME", help="who does it; this machine's user if not said")


def named(args: argparse.Namespace) -> str:
    """Name who does it, as :func:`name_or_user` does."""
    return name_or_user(args.by)


def name_or_user(given: str | None, option: str = "--by") -> str:
    """Give the name that was said, else that of this machine's user.

    Parameters
    ----------
    given, option
        The name, and the word it is said with.

    Raises
    ------
    RequestError
        This machine knows no name for its user.
    """
    try:
        return given or getpass.getuser()
    except (OSError, KeyError, ImportError) as error:
        raise RequestError(
            f"This machine has no name for you. Say it with {option} NAME."
        ) from error


def answered_in(module: str, function: str) -> Callable[[argparse.Namespace], Answer]:
    """Give an answer by its name, to be imported when it is asked for.

    Parameters
    ----------
    module, function
        Where the function stands that takes the words and gives the answer.
    """

    def answer(args: argparse.Namespace) -> Answer:
        found: Answer = getattr(importlib.import_module(module), function)(args)
        return found

    return answer


def _new_options(parser: argparse.ArgumentParser) -> None:
    book_option(parser)
    by_option(parser)
    parser.add_argument("--currency", metavar="NAME", help="the one currency of every amount")
    parser.add_argument(
        "--minor-digits", type=int, choices=range(5), help="decimals of an amount; 2 if not said"
    )
    parser.add_argument("--decimal", choices=(".", ","), help="the decimal mark of what is typed")
    parser.add_argument("--workshop", metavar="NAME", help="the name on what is printed")
    parser.add_argument("--prefix", help="what new job numbers begin with; J if not said")


def _backup_options(parser: argparse.ArgumentParser) -> None:
    book_option(parser)
    by_option(parser)
    parser.add_argument("to", metavar="FILE", help="a name at which there is nothing yet")


def _restore_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("backup", metavar="BACKUP", help="a file that `book backup` wrote")
    book_option(parser)


def _export_options(parser: argparse.ArgumentParser) -> None:
    book_option(parser)
    by_option(parser)
    parser.add_argument("folder", metavar="FOLDER", help="a name at which there is nothing yet")
    parser.add_argument("--form", choices=FORMS, default=FORMS[0], help="csv if not said")


def _rebuild_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="FOLDER", help="what `book export` wrote")
    book_option(parser)


def _history_options(parser: argparse.ArgumentParser) -> None:
    book_option(parser)
    by_option(parser)
    parser.add_argument("to", metavar="FILE", help="a new .csv or .parquet file")
    as_of_option(parser)


def _add_options(parser: argparse.ArgumentParser) -> None:
    book_option(parser)
    parser.add_argument("file", metavar="FILE", help="CSV, XLSX or Parquet file, one row a job")
    by_option(parser)
    parser.add_argument(
        "--try", dest="try_out", action="store_true", help="say what would happen, store nothing"
    )
    file_options(parser)


def _refused_options(parser: argparse.ArgumentParser) -> None:
    book_option(parser)
    by_option(parser)
    parser.add_argument("--to", metavar="FILE", help="write them to a CSV file, to be mended there")
    parser.add_argument(
        "--drop", metavar="KEY", action="append", help="take a row off the list: it is no job"
    )


def _mail_options(parser: argparse.ArgumentParser) -> None:
    book_option(parser)
    by_option(parser)
    change = parser.add_mutually_exclusive_group()
    change.add_argument("--settings", metavar="FILE.toml", help="keep how it is mailed")
    change.add_argument("--off", action="store_true", help="it is not mailed any more")


BOOK_VERBS = (
    Verb("new", "make an empty job book", _new_options, answered_in(KEEPING, "new")),
    Verb(
        "check", "is the book whole, and what is in it", book_option, answered_in(KEEPING, "check")
    ),
    Verb(
        "backup",
        "a checked copy of the book as it stands, while work goes on",
        _backup_options,
        answered_in(KEEPING, "back_up"),
    ),
    Verb(
        "restore",
        "a book again from a backup; nothing is overwritten",
        _restore_options,
        answered_in(KEEPING, "bring_back"),
    ),
    Verb(
        "export",
        "everything in the book as plain tables, for any program",
        _export_options,
        answered_in(KEEPING, "export"),
    ),
    Verb(
        "rebuild",
        "a book again from an export",
        _rebuild_options,
        answered_in(KEEPING, "rebuild"),
    ),
    Verb(
        "history",
        "the jobs as one table, for a spreadsheet or an analysis",
        _history_options,
        answered_in(KEEPING, "write_jobs"),
    ),
    Verb(
        "add",
        "a file's jobs into the book, once; what is refused waits there to be mended",
        _add_options,
        answered_in(FILLING, "add"),
    ),
    Verb(
        "refused",
        "the rows that wait to be mended",
        _refused_options,
        answered_in(FILLING, "refused"),
    ),
    Verb("mail", "how the monthly summary is mailed", _mail_options, answered_in(MAILING, "mail")),
)
