"""Passwords: what is long enough, how they are kept, how one is checked.

Kept as Argon2id hashes with the library's defaults, which follow RFC 9106's choice for machines
with little memory (64 MiB, three passes); a hash of older settings is renewed at the next sign-in.
Length and normalising follow NIST SP 800-63B: long rather than ornate, Unicode in one form.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from typing import TYPE_CHECKING

from insights.errors import EntryError

if TYPE_CHECKING:
    from argon2 import PasswordHasher

SHORTEST = 12
LONGEST = 200
FEWEST_SIGNS = 5


def check_password(password: str, name: str) -> str:
    """Refuse a password that is too easily guessed.

    Parameters
    ----------
    password
        As typed.
    name
        Whose it will be.

    Returns
    -------
    str
        In the form that is hashed.

    Raises
    ------
    EntryError
        Too short, too long, of too few different signs, or made of the name.
    """
    plain = _one_form(password)
    problem = None
    if len(plain) < SHORTEST:
        problem = f"shorter than {SHORTEST} characters"
    elif len(plain) > LONGEST:
        problem = f"longer than {LONGEST} characters"
    elif len(set(plain)) < FEWEST_SIGNS:
        problem = f"made of fewer than {FEWEST_SIGNS} different characters"
    elif name.casefold() in plain.casefold() and len(plain) - len(name) < SHORTEST // 2:
        problem = "hardly more than the name"
    if problem is not None:
        # The password itself is never repeated: messages end up on screens and in files.
        raise EntryError((("password", "not shown", problem, "take a few words in a row"),))
    return plain


def hash_password(password: str) -> str:
    """Hash a checked password, with a salt of its own."""
    return _hasher().hash(_one_form(password))


def is_password(kept: str | None, password: str) -> bool:
    """Tell whether a password is the one kept.

    Parameters
    ----------
    kept
        The hash; None for a name nobody has: then the same work is done and the answer is no, so
        that the time taken does not tell which names there are.
    password
        As typed.
    """
    from argon2.exceptions import VerifyMismatchError

    given = _one_form(password[: 2 * LONGEST])
    try:
        _hasher().verify(_nobody_s() if kept is None else kept, given)
    except VerifyMismatchError:
        return False
    return kept is not None


def is_outdated(kept: str) -> bool:
    """Tell whether a hash was made with older settings."""
    return _hasher().check_needs_rehash(kept)


def prepare() -> None:
    """Do ahead what the first check would pay for, which would tell it from the later ones."""
    _nobody_s()


def _one_form(password: str) -> str:
    return unicodedata.normalize("NFKC", password)


@cache
def _hasher() -> PasswordHasher:
    from argon2 import PasswordHasher  # only who signs in waits for it

    return PasswordHasher()


@cache
def _nobody_s() -> str:
    import secrets

    return _hasher().hash(secrets.token_urlsafe(32))
