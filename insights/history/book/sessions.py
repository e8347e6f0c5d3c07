"""Signing in and out. A session is known by a random token, of which the book keeps a hash."""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Row, delete, insert, or_, select, update

from insights.history.book.access_log import note_access
from insights.history.book.access_tables import sessions, users
from insights.history.book.book import Book
from insights.history.book.engines import now_us, reading, writing
from insights.history.book.passwords import hash_password, is_outdated, is_password
from insights.history.book.people import Person
from insights.history.book.throttle import claim_attempt, keys_of, was_right
from insights.history.book.users import sign_of

IDLE_SECONDS = 45 * 60
"""A tablet left alone is signed out; a job's finding rarely takes longer (common practice)."""

WHOLE_SECONDS = 12 * 3600
"""A working day."""

SEEN_EVERY_SECONDS = 60
"""How often a visit is written down: a write for every click would slow the bench."""

_SECOND = 1_000_000
_TOKEN_BYTES = 32


@dataclass(frozen=True)
class SignedIn:
    """What came of an attempt to sign in.

    Parameters
    ----------
    token
        The new session's; None where the name or the password was wrong, or one must wait.
    wait_seconds
        How long to wait before the next attempt is looked at.
    """

    token: str | None = None
    wait_seconds: int = 0


def sign_in(book: Book, name: str, password: str, *, address: str) -> SignedIn:
    """Check a name and a password, and begin a session.

    Parameters
    ----------
    book
        Opened for writing.
    name, password
        As typed.
    address
        Where from, for the count of wrong guesses.

    Raises
    ------
    BookError
        The book can't be read or written.
    """
    keys = keys_of(sign_of(name), address)
    with writing(book.engine, book.name) as connection:
        wait = claim_attempt(connection, keys)
        found = connection.execute(select(users).where(users.c.sign == sign_of(name))).first()
    if wait:
        return SignedIn(wait_seconds=wait)
    # Outside the transaction: hashing takes long on purpose, and nobody should wait to save.
    if not is_password(None if found is None else found.password_hash, password):
        return SignedIn()
    assert found is not None
    return SignedIn(token=_begin(book, found, password, keys))


def _begin(book: Book, user: Row[Any], password: str, keys: dict[str, int]) -> str | None:
    token = secrets.token_urlsafe(_TOKEN_BYTES)
    renewed = hash_password(password) if is_outdated(user.password_hash) else None
    now = now_us()
    with writing(book.engine, book.name) as connection:
        # Changed or taken out while the password was being checked: then it no longer counts.
        same = (users.c.sign == user.sign) & (users.c.password_hash == user.password_hash)
        if connection.execute(select(users.c.sign).where(same)).first() is None:
            return None
        if renewed is not None:
            connection.execute(update(users).where(same).values(password_hash=renewed))
        was_right(connection, keys)
        connection.execute(delete(sessions).where(_over(now)))
        connection.execute(
            insert(sessions).values(
                token_hash=_hashed(token), sign=user.sign, begun_at_us=now, seen_at_us=now
            )
        )
        note_access(connection, Person(user.name, user.role), "signed in", "")
    return token


def person_of(book: Book, token: str | None) -> Person | None:
    """Tell whose session it is, as of now; None where it is none, or is over.

    Parameters
    ----------
    book
        Opened for writing: that someone is still there is written down once a minute.
    token
        As the browser gave it.
    """
    if not token:
        return None
    now = now_us()
    asked = (
        select(users.c.name, users.c.role, sessions.c.seen_at_us)
        .join(sessions, sessions.c.sign == users.c.sign)
        .where(sessions.c.token_hash == _hashed(token), ~_over(now))
    )
    with reading(book.engine, book.name) as connection:
        found = connection.execute(asked).first()
    if found is None:
        return None
    if now - found.seen_at_us > SEEN_EVERY_SECONDS * _SECOND:
        with writing(book.engine, book.name) as connection:
            seen = update(sessions).where(sessions.c.token_hash == _hashed(token))
            connection.execute(seen.values(seen_at_us=now))
    return Person(found.name, found.role)


def sign_out(book: Book, token: str | None) -> None:
    """End a session; nothing happens where there is none."""
    if token:
        with writing(book.engine, book.name) as connection:
            connection.execute(delete(sessions).where(sessions.c.token_hash == _hashed(token)))


def has_users(book: Book) -> bool:
    """Tell whether anyone may sign in."""
    with reading(book.engine, book.name) as connection:
        return connection.execute(select(users.c.sign).limit(1)).first() is not None


def _over(now: int) -> Any:
    return or_(
        sessions.c.seen_at_us < now - IDLE_SECONDS * _SECOND,
        sessions.c.begun_at_us < now - WHOLE_SECONDS * _SECOND,
    )


def _hashed(token: str) -> str:
    # A token is drawn from 256 bits: it needs no slow hash, as a password does.
    return hashlib.sha256(token.encode("utf-8")).hexdigest()
