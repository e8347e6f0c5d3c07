"""The tables of who may use the book: people, their sessions, wrong guesses, what was looked at."""

from __future__ import annotations

from sqlalchemy import BigInteger, Column, ForeignKey, Index, Integer, Table, Text

from insights.history.book.tables import metadata

_KEY = BigInteger().with_variant(Integer, "sqlite")  # only INTEGER counts up by itself there

users = Table(
    "users",
    metadata,
    Column("sign", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("role", Text, nullable=False),
    Column("password_hash", Text, nullable=False),
    Column("added_at_us", BigInteger, nullable=False),
)

sessions = Table(
    "sessions",
    metadata,
    Column("token_hash", Text, primary_key=True),
    Column("sign", Text, ForeignKey("users.sign"), nullable=False),
    Column("begun_at_us", BigInteger, nullable=False),
    Column("seen_at_us", BigInteger, nullable=False),
    Index("sessions_sign", "sign"),
)

attempts = Table(
    "attempts",
    metadata,
    Column("key_hash", Text, primary_key=True),
    Column("failures", Integer, nullable=False),
    Column("last_at_us", BigInteger, nullable=False),
)

access_log = Table(
    "access_log",
    metadata,
    Column("entry_id", _KEY, primary_key=True, autoincrement=True),
    Column("at_us", BigInteger, nullable=False),
    Column("who", Text, nullable=False),
    Column("did", Text, nullable=False),
    Column("what", Text, nullable=False),
    Index("access_log_at", "at_us"),
    sqlite_autoincrement=True,
)
