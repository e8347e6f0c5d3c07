"""Books of both kinds: a file, and one on a real PostgreSQL server."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path

import postgres
import pytest
from sqlalchemy import create_engine, text

from insights.history.book.book import Book
from insights.history.book.engines import url_of
from insights.history.book.entries import Settings
from insights.history.book.opening import create_book, open_book
from insights.history.book.people import Person

ADA = Person("Ada", "owner")
KINDS = ("file", "server")
_numbers = count()


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    if postgres.programs() is None:
        pytest.skip(postgres.INSTALL)
    with postgres.running() as folder:
        yield folder


def _execute(server: str, statement: str) -> None:
    engine = create_engine(url_of(postgres.address(server)), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(statement))
    engine.dispose()


@pytest.fixture(scope="session")
def model_book(server: str) -> str:
    """A database with an empty book, of which copies are made."""
    _execute(server, "CREATE DATABASE model_book")
    create_book(postgres.address(server, "model_book"), Settings("EUR"), ADA).engine.dispose()
    return "model_book"


@pytest.fixture
def empty_database(server: str) -> Callable[[], str]:
    """Make a database with nothing in it; gives its address."""

    def make(template: str = "template1") -> str:
        name = f"test_{next(_numbers)}"
        _execute(server, f"CREATE DATABASE {name} TEMPLATE {template}")
        return postgres.address(server, name)

    return make


@pytest.fixture(params=KINDS)
def new_place(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[], str]:
    """Where a book can be made: a path, or an empty database's address."""
    if request.param == "server":
        return request.getfixturevalue("empty_database")
    return lambda: str(tmp_path / f"place-{next(_numbers)}.db")


@pytest.fixture(params=KINDS)
def book(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Book]:
    """An empty book in euros."""
    if request.param == "file":
        made = create_book(tmp_path / "book.db", Settings(currency="EUR"), ADA)
    else:
        model = request.getfixturevalue("model_book")
        made = open_book(request.getfixturevalue("empty_database")(model))
    yield made
    made.engine.dispose()
