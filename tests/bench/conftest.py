"""A small job book with comebacks in it."""

from __future__ import annotations

import pytest
from bench_book import ADA, BO, JOBS, TODAY

from insights.history.book.book import Book
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book


@pytest.fixture
def book(tmp_path) -> Book:
    made = create_book(tmp_path / "book.db", Settings(workshop="Three Benches"), ADA)
    for job in JOBS:
        made.receive({"model": "boiler", **job}, by=BO, today=TODAY)
    made.save(
        "J000002", {"handed_back": "2026-02-20"}, expected=1, by=BO, what="hand-back", today=TODAY
    )
    return made
