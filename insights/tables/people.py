"""People, customers' data and accesses as tables for people."""

from __future__ import annotations

from collections.abc import Iterable

import pandas as pd

from insights.history.book.users import User
from insights.wording.people import ROLES


def of_users(users: Iterable[User]) -> pd.DataFrame:
    """List who may sign in, what they may do and since when."""
    lines = [
        (user.name, user.role, ROLES[user.role], f"{user.added_at:%Y-%m-%d}") for user in users
    ]
    return pd.DataFrame(lines, columns=["Name", "Role", "What it may do", "Since"])


def of_overdue(people: pd.DataFrame) -> pd.DataFrame:
    """List whose data are beyond the limit, as :mod:`insights.history.book.retention` found."""
    nobody = [name or "(no reference)" for name in people["customer"]]
    since = [f"{day:%Y-%m-%d}" for day in people["since"]]
    return pd.DataFrame({"Customer": nobody, "Jobs": people["jobs"], "Nothing open since": since})


def of_accesses(found: pd.DataFrame) -> pd.DataFrame:
    """List accesses, from :func:`insights.history.book.access_log.accesses`."""
    when = [f"{at:%Y-%m-%d %H:%M} UTC" for at in found["at"]]
    return pd.DataFrame(
        {"When": when, "Who": found["who"], "Did": found["did"], "What": found["what"]}
    )
