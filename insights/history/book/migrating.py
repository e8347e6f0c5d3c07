"""Bringing a book's tables to the version this program works with."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from insights.errors import BookError
from insights.history.book.engines import reading, writing

_STEPS = Path(__file__).parent / "migrations"


@cache
def newest() -> str:
    """Name the newest version: the steps' files are named by the version they lead to."""
    return max(path.name[:4] for path in (_STEPS / "versions").glob("[0-9]*.py"))


def version_of(connection: Connection) -> str | None:
    """Read which version of the tables a database has; None where it is no book."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return None if found is None else str(found)


def check_version(engine: Engine, book: str) -> bool:
    """Tell whether a book's tables are of the newest version.

    Raises
    ------
    BookError
        It is no book, or one that a later version of this program wrote.
    """
    with reading(engine, book) as connection:
        found = version_of(connection)
    if found is None:
        raise BookError(f"{book} is not a job book. Give a job book, or make one.")
    if found > newest():
        raise BookError(
            f"{book} was written by a later version of this program (tables {found}, this one "
            f"knows {newest()}). Update the program."
        )
    return found == newest()


def refuse_filled(engine: Engine, book: str) -> None:
    """Raise BookError where a database holds any table."""
    with reading(engine, book) as connection:
        found = inspect(connection).get_table_names()
    if found:
        raise BookError(f"{book} is not empty and is left as it is. Give an empty database.")


def upgrade(engine: Engine, book: str, to: str = "head") -> None:
    """Run the steps that a book lacks, all of them in one transaction.

    Parameters
    ----------
    engine, book
        The book, and its name for messages.
    to
        The version to stop at; ``head``: the newest.
    """
    with writing(engine, book) as connection:
        upgrade_within(connection, to)


def upgrade_within(connection: Connection, to: str = "head") -> None:
    """Run the steps that a book lacks, inside a transaction of the caller's.

    Parameters
    ----------
    connection
        In a transaction that writes.
    to
        The version to stop at; ``head``: the newest.
    """
    # Imported here: a book is opened daily and migrated hardly ever.
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(_STEPS).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, to)
