"""What is done about a book's mail, on the command line."""

from __future__ import annotations

import argparse
from dataclasses import asdict

from insights.history.book.opening import open_book
from insights.history.book.people import Person
from insights.mail.settings import MailSettings, keep_settings, read_settings, settings_in
from insights.verbs.answer import Answer
from insights.verbs.book import named
from insights.wording import Finding


def mail(args: argparse.Namespace) -> Answer:
    """Say how the monthly summary is mailed, or keep how, or that it is not."""
    changes = bool(args.settings or args.off)
    book = open_book(args.book, read_only=not changes)
    if changes:
        wanted = read_settings(args.settings) if args.settings else None
        keep_settings(book, wanted, by=Person(named(args)))
    kept = settings_in(book)
    return Answer({"mail": None if kept is None else asdict(kept)}, _said(kept))


def _said(kept: MailSettings | None) -> Finding:
    if kept is None:
        return Finding("The monthly summary is not mailed.")
    who = f" as {kept.user}" if kept.user else ""
    return Finding(
        f"`staysfixed month --mail` sends the summary through {kept.host}, port {kept.at_port} "
        f"({kept.security}){who}, from {kept.sender} to {', '.join(kept.to)}. The password is "
        "looked for when it is sent; the book never holds it."
    )
