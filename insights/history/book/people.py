"""Who writes in the book, and what each role may do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from insights.errors import NotAllowed

Role = Literal["bench", "owner", "reader"]
ROLES: tuple[Role, ...] = ("bench", "owner", "reader")
WRITERS: tuple[Role, ...] = ("bench", "owner")
OWNER: tuple[Role, ...] = ("owner",)


@dataclass(frozen=True)
class Person:
    """Who does something in the book.

    Parameters
    ----------
    name
        The name written beside every change.
    role
        ``bench`` records jobs, ``owner`` may do everything, ``reader`` only reads.
    """

    name: str
    role: Role = "owner"

    def must_be(self, allowed: tuple[Role, ...]) -> None:
        """Refuse what the role may not do.

        Raises
        ------
        NotAllowed
            The person's role is not among those allowed.
        """
        if self.role not in allowed:
            raise NotAllowed(
                f"{self.name or 'Nobody named'} has the role '{self.role}', which may not do this. "
                f"Ask someone with the role {' or '.join(allowed)}."
            )
