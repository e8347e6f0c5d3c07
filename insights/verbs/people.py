"""The options of what can be done with a book's people and its customers' data."""

from __future__ import annotations

import argparse

from insights.verbs.book import answered_in, book_option, by_option
from insights.verbs.verb import Verb

ANSWERS = "insights.verbs.people_of_book"
ROLES = ("bench", "owner", "reader")
ACTIONS = ("list", "add", "role", "password", "remove")


def _user_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("action", choices=ACTIONS)
    book_option(parser)
    parser.add_argument("name", metavar="NAME", nargs="?", help="as beside what they save")
    parser.add_argument("--role", choices=ROLES, help="for add and role")
    by_option(parser)
    parser.epilog = "A password is asked for, or read from the standard input; never a word here."


def _erase_options(parser: argparse.ArgumentParser) -> None:
    book_option(parser)
    parser.add_argument("customer", metavar="CUSTOMER", help="their reference, as on their jobs")
    by_option(parser)


def _retention_options(parser: argparse.ArgumentParser) -> None:
    book_option(parser)
    limit = parser.add_mutually_exclusive_group()
    limit.add_argument("--days", type=int, help="keep customers' data so long, then offer to wipe")
    limit.add_argument("--no-limit", action="store_true")
    parser.add_argument("--wipe", action="store_true", help="wipe what is beyond the limit")
    by_option(parser)


def _log_options(parser: argparse.ArgumentParser) -> None:
    book_option(parser)
    by_option(parser)


PEOPLE_VERBS = (
    Verb(
        "user", "who may sign in, and what each may do", _user_options, answered_in(ANSWERS, "user")
    ),
    Verb(
        "erase",
        "wipe a customer out of the book; the statistics stay",
        _erase_options,
        answered_in(ANSWERS, "erase"),
    ),
    Verb(
        "retention",
        "how long customers' data are kept, and whose are beyond it",
        _retention_options,
        answered_in(ANSWERS, "retention"),
    ),
    Verb(
        "accesses",
        "who looked at, exported or erased customers' data",
        _log_options,
        answered_in(ANSWERS, "log"),
    ),
)
