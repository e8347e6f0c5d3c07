"""Guessing passwords made slow: every wrong one lengthens the wait, by name and by address.

Counts are kept in the book, so that a restart forgives nothing. An attempt is counted before the
password is looked at and taken back when it was right: a hundred guesses sent at once are not a
hundred free ones.
"""

from __future__ import annotations

import hashlib

from sqlalchemy import Connection, delete, insert, select, update

from insights.history.book.access_tables import attempts
from insights.history.book.engines import now_us

FREE_BY_NAME = 4
"""Wrong ones in a row that cost no waiting: slips of a gloved hand (common practice)."""

FREE_BY_ADDRESS = 20
"""More, as several people may share an address."""

FIRST_WAIT_SECONDS = 5
LONGEST_WAIT_SECONDS = 900
FORGOTTEN_SECONDS = 24 * 3600
_SECOND = 1_000_000


def keys_of(sign: str, address: str) -> dict[str, int]:
    """Name what an attempt counts against, with the wrong ones that are free for each.

    Hashed, because a password typed into the field for the name must not be kept.
    """
    return {
        _hashed(f"name:{sign}"): FREE_BY_NAME,
        _hashed(f"address:{address}"): FREE_BY_ADDRESS,
    }


def wait_seconds(failures: int, free: int) -> int:
    """Give the wait after so many wrong ones: doubled by each, up to a quarter of an hour."""
    if failures < free:
        return 0
    return min(FIRST_WAIT_SECONDS * 2 ** min(failures - free, 30), LONGEST_WAIT_SECONDS)


def claim_attempt(connection: Connection, keys: dict[str, int]) -> int:
    """Count an attempt as wrong, unless one must still wait.

    Parameters
    ----------
    connection
        Of a write.
    keys
        Of :func:`keys_of`.

    Returns
    -------
    int
        0: the password may be looked at; otherwise the seconds to wait, and nothing was counted.
    """
    now = now_us()
    old = attempts.c.last_at_us < now - FORGOTTEN_SECONDS * _SECOND
    connection.execute(delete(attempts).where(old))
    asked = select(attempts).where(attempts.c.key_hash.in_(keys))
    kept = {row.key_hash: row for row in connection.execute(asked)}
    longest = 0
    for key, row in kept.items():
        until = row.last_at_us + wait_seconds(row.failures, keys[key]) * _SECOND
        longest = max(longest, -((now - until) // _SECOND))
    if longest > 0:
        return longest
    for key in keys:
        if key in kept:
            counted = {"failures": kept[key].failures + 1, "last_at_us": now}
            connection.execute(update(attempts).where(attempts.c.key_hash == key).values(counted))
        else:
            connection.execute(insert(attempts).values(key_hash=key, failures=1, last_at_us=now))
    return 0


def was_right(connection: Connection, keys: dict[str, int]) -> None:
    """Forget the wrong ones of the name; of the address only this attempt is taken back.

    Otherwise someone with a password of their own could guess another's for ever.
    """
    name, address = keys
    connection.execute(delete(attempts).where(attempts.c.key_hash == name))
    connection.execute(
        update(attempts)
        .where(attempts.c.key_hash == address)
        .values(failures=attempts.c.failures - 1)
    )


def _hashed(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
