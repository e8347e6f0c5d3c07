"""Reading what the book keeps of the bench."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from insights.errors import RequestError


@contextmanager
def kept_as(what: str) -> Iterator[None]:
    """Refuse plain data that isn't what is kept under this name.

    Parameters
    ----------
    what
        With its article, like ``a limit``.

    Raises
    ------
    RequestError
        A part is missing, unknown or impossible.
    """
    try:
        yield
    except (KeyError, TypeError, ValueError) as error:
        raise RequestError(f"This is not {what} as kept here ({error}). Enter it anew.") from error
