"""What is done to keep a job book: made, backed up, brought back, written out, checked."""

from __future__ import annotations

import argparse

from insights import wording_book
from insights.answer import Answer
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.verbs_book import named


def new(args: argparse.Namespace) -> Answer:
    """Make an empty book."""
    said = ("currency", "minor_digits", "decimal", "workshop", "prefix")
    given = {name: value for name in said if (value := getattr(args, name)) is not None}
    book = create_book(args.book, Settings(**given), Person(named(args)))
    return Answer({"book": book.name}, wording_book.of_new(book.name))
