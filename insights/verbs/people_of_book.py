"""What is done with a book's people and its customers' data, on the command line."""

from __future__ import annotations

import argparse
import getpass
import sys
from dataclasses import asdict
from datetime import date

import pandas as pd

from insights.errors import RequestError
from insights.history.book.access_log import accesses
from insights.history.book.book import Book
from insights.history.book.erasing import erase_customer
from insights.history.book.opening import open_book
from insights.history.book.people import Person
from insights.history.book.retention import overdue, retention_days, set_retention, wipe_overdue
from insights.history.book.users import add_user, remove_user, set_password, set_role, users_of
from insights.verbs.answer import Answer
from insights.verbs.book import named
from insights.wording import people as wording_people


def user(args: argparse.Namespace) -> Answer:
    """List who may sign in, or change it."""
    book, action = open_book(args.book), args.action
    if action == "list":
        return _listed(book)
    if not args.name:
        raise RequestError(f"Say whom: staysfixed book user {action} BOOK NAME.")
    if action in ("add", "role") and args.role is None:
        raise RequestError("Say what they may do: --role bench, --role owner or --role reader.")
    by = Person(named(args))
    if action == "add":
        add_user(book, args.name, args.role, _password(), by=by)
    elif action == "role":
        set_role(book, args.name, args.role, by=by)
    elif action == "password":
        set_password(book, args.name, _password(), by=by)
    else:
        remove_user(book, args.name, by=by)
    said = {"action": action, "name": args.name, "role": args.role}
    return Answer(said, wording_people.of_change(args.name, action, args.role))


def erase(args: argparse.Namespace) -> Answer:
    """Wipe a customer."""
    done = erase_customer(open_book(args.book), args.customer, by=Person(named(args)))
    return Answer(asdict(done), wording_people.of_erased(done))


def retention(args: argparse.Namespace) -> Answer:
    """Set the limit, list who is beyond it, wipe them."""
    book, by, today = open_book(args.book), Person(named(args)), date.today()
    if args.days is not None or args.no_limit:
        set_retention(book, args.days, by=by)
    if args.wipe:
        done = wipe_overdue(book, today, by=by)
        return Answer(asdict(done), wording_people.of_erased(done))
    days, people = retention_days(book), overdue(book, today)
    shown = people.drop(columns=["sign", "job_ids"])
    tables = (("Beyond the limit", shown),) if len(shown) else ()
    data = {"days": days, "beyond": shown}
    return Answer(data, wording_people.of_retention(days, len(shown)), tables)


def log(args: argparse.Namespace) -> Answer:
    """List accesses."""
    found = accesses(open_book(args.book), by=Person(named(args)))
    # To the second, as text: a day alone would not tell a morning's accesses apart.
    found["at"] = [f"{at:%Y-%m-%d %H:%M:%S} UTC" for at in found["at"]]
    tables = (("Accesses", found),) if len(found) else ()
    return Answer({"accesses": found}, wording_people.of_accesses(len(found)), tables)


def _listed(book: Book) -> Answer:
    people = users_of(book)
    table = pd.DataFrame([asdict(one) for one in people], columns=["name", "role", "added_at"])
    finding = wording_people.of_users([(one.name, one.role) for one in people])
    return Answer({"users": table}, finding)


def _password() -> str:
    """Ask for a password; it is never a word of the command, which others can see.

    Raises
    ------
    RequestError
        The two times differ, or nothing was given.
    """
    if not sys.stdin.isatty():
        given = sys.stdin.readline().rstrip("\r\n")
        if not given:
            raise RequestError("No password came on the standard input. Write it on one line.")
        return given
    given = getpass.getpass("New password: ")
    if getpass.getpass("Once more: ") != given:
        raise RequestError("The two passwords differ. Nothing was changed.")
    return given
