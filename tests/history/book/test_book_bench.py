"""How long a large book takes (run with -m bench --benchmark-enable)."""

from __future__ import annotations

from itertools import count

import pytest

from insights.history.book.backup import backup
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book
from insights.history.book.people import Person
from insights.survival.counted_in_book import count_in_book
from synthetic.generate import generate
from synthetic.presets import cafe_workshop

ADA = Person("Ada")
ABOUT = 100_000
numbers = count()


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    made, _ = generate(cafe_workshop(jobs=ABOUT))
    place = tmp_path_factory.mktemp("large")
    book = create_book(place / "book.db", Settings(currency="EUR"), ADA)
    book.add_history(made, by=ADA)
    return book, place


@pytest.mark.bench
def test_read_a_large_book(benchmark, large, measured):
    book, _ = large
    history = benchmark.pedantic(book.history, rounds=3)
    measured.seconds("load a book as a history", benchmark, jobs=len(history.jobs))


@pytest.mark.bench
def test_save_in_a_large_book(benchmark, large, measured):
    book, _ = large

    def save() -> None:
        arrival = {"received": "2025-09-30", "model": "grill", "unit_serial": f"N{next(numbers)}"}
        job = book.receive(arrival, by=ADA)
        book.save(job.job_id, {"price": "45.50"}, expected=1, by=ADA, what="price")

    benchmark.pedantic(save, rounds=50)
    measured.seconds("receive a unit and save it once more", benchmark, jobs=ABOUT)


@pytest.mark.bench
def test_count_in_a_large_book(benchmark, large, measured):
    book, _ = large
    found = benchmark.pedantic(lambda: count_in_book(book, ("model",)), rounds=3)
    measured.seconds("count a book in its own database", benchmark, jobs=found.table.job_count)


@pytest.mark.bench
def test_back_up_a_large_book(benchmark, large, measured):
    book, place = large
    benchmark.pedantic(lambda: backup(book, place / f"{next(numbers)}.backup"), rounds=2)
    measured.seconds("back up, compared cell by cell", benchmark, jobs=ABOUT)
