"""The people who may sign in to the book: added, changed and taken out by an owner."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, Row, delete, func, insert, select, update

from insights.errors import EntryError, RequestError
from insights.history.book.access_log import note_access
from insights.history.book.access_tables import sessions, users
from insights.history.book.book import Book
from insights.history.book.engines import now_us, reading, writing
from insights.history.book.entries import moment
from insights.history.book.passwords import check_password, hash_password, is_password
from insights.history.book.people import OWNER, ROLES, Person, Role

LONGEST_NAME = 60


@dataclass(frozen=True)
class User:
    """Someone who may sign in.

    Parameters
    ----------
    name, role
        As written beside what they save.
    added_at
        When, UTC.
    """

    name: str
    role: Role
    added_at: datetime


def sign_of(name: str) -> str:
    """Give the form under which a name is told from others: case and blanks aside."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def users_of(book: Book) -> tuple[User, ...]:
    """List who may sign in, by name."""
    with reading(book.engine, book.name) as connection:
        rows = connection.execute(select(users).order_by(users.c.sign)).all()
    return tuple(User(row.name, row.role, moment(row.added_at_us)) for row in rows)


def add_user(book: Book, name: str, role: Role, password: str, *, by: Person) -> None:
    """Add someone who may sign in.

    Parameters
    ----------
    book
        The book.
    name
        As it will stand beside what they save.
    role
        One of :data:`insights.history.book.people.ROLES`; the first to be added must be an owner.
    password
        Their first one.
    by
        An owner.

    Raises
    ------
    EntryError
        The name is empty, too long or taken, or the password too weak.
    RequestError
        No such role, or nobody would be owner.
    NotAllowed
        Not an owner.
    """
    by.must_be(OWNER)
    name = " ".join(name.split())
    _check_role(role)
    if not name or len(name) > LONGEST_NAME or not name.isprintable():
        remedy = f"write a name of 1 to {LONGEST_NAME} letters"
        raise EntryError((("name", name, "not a name that can be shown", remedy),))
    hashed = hash_password(check_password(password, name))
    with writing(book.engine, book.name) as connection:
        if _find(connection, name) is not None:
            raise EntryError((("name", name, "the name is taken", "choose another"),))
        if role != "owner" and not _owners(connection):
            raise RequestError("Add an owner first: without one nobody could look after the book.")
        connection.execute(
            insert(users).values(
                sign=sign_of(name),
                name=name,
                role=role,
                password_hash=hashed,
                added_at_us=now_us(),
            )
        )
        note_access(connection, by, "user added", f"{name} ({role})")


def set_role(book: Book, name: str, role: Role, *, by: Person) -> None:
    """Give someone another role, from their next click on.

    Raises
    ------
    RequestError
        No such role or user, or nobody would be owner any more.
    NotAllowed
        Not an owner.
    """
    by.must_be(OWNER)
    _check_role(role)
    with writing(book.engine, book.name) as connection:
        found = _found(connection, name)
        if role != "owner":
            _keep_an_owner(connection, found)
        connection.execute(update(users).where(users.c.sign == found.sign).values(role=role))
        note_access(connection, by, "role changed", f"{found.name}: {found.role} to {role}")


def set_password(book: Book, name: str, password: str, *, by: Person) -> None:
    """Give someone another password; wherever they are signed in, they are signed out.

    Raises
    ------
    EntryError
        The password is too weak.
    RequestError
        No such user.
    NotAllowed
        Not an owner.
    """
    by.must_be(OWNER)
    with writing(book.engine, book.name) as connection:
        _renew(connection, _found(connection, name), password, by)


def change_own_password(book: Book, old: str, new: str, *, by: Person) -> None:
    """Change one's own password; wherever one is signed in, one is signed out.

    Raises
    ------
    EntryError
        The old one is not right, or the new one too weak.
    RequestError
        The person is no user.
    """
    with reading(book.engine, book.name) as connection:
        found = _found(connection, by.name)
    if not is_password(found.password_hash, old):
        remedy = "type the one you signed in with"
        raise EntryError((("password", "not shown", "not your present password", remedy),))
    with writing(book.engine, book.name) as connection:
        _renew(connection, found, new, by)


def remove_user(book: Book, name: str, *, by: Person) -> None:
    """Take someone out; what they saved keeps their name.

    Raises
    ------
    RequestError
        No such user, or nobody would be owner any more.
    NotAllowed
        Not an owner.
    """
    by.must_be(OWNER)
    with writing(book.engine, book.name) as connection:
        found = _found(connection, name)
        _keep_an_owner(connection, found)
        connection.execute(delete(sessions).where(sessions.c.sign == found.sign))
        connection.execute(delete(users).where(users.c.sign == found.sign))
        note_access(connection, by, "user removed", found.name)


def _renew(connection: Connection, found: Row, password: str, by: Person) -> None:
    hashed = hash_password(check_password(password, found.name))
    connection.execute(update(users).where(users.c.sign == found.sign).values(password_hash=hashed))
    connection.execute(delete(sessions).where(sessions.c.sign == found.sign))
    note_access(connection, by, "password changed", found.name)


def _check_role(role: str) -> None:
    if role not in ROLES:
        raise RequestError(f"There is no role '{role}'. Choose one of {', '.join(ROLES)}.")


def _find(connection: Connection, name: str) -> Row | None:
    return connection.execute(select(users).where(users.c.sign == sign_of(name))).first()


def _found(connection: Connection, name: str) -> Row:
    found = _find(connection, name)
    if found is None:
        raise RequestError(f"There is no user '{name}'. List them, or add one.")
    return found


def _owners(connection: Connection) -> int:
    asked = select(func.count()).select_from(users).where(users.c.role == "owner")
    return int(connection.execute(asked).scalar_one())


def _keep_an_owner(connection: Connection, changing: Row) -> None:
    if changing.role == "owner" and _owners(connection) == 1:
        raise RequestError(
            f"{changing.name} is the only owner: nobody could look after the book. Make someone "
            "else an owner first."
        )
