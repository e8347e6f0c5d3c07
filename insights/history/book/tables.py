"""The book's tables. Days are whole days since 1970-01-01, money is in minor units.

A *version* is a job as it stood after one save; versions are only ever added. A *head* points to
a job's latest version and holds what a job is looked up by. A *record* is anything else the
workshop keeps (a checklist, a limit, a decision on a doubtful pair): a kind, a key and a JSON
body, versioned in the same way. A *draft* is what is typed and not saved yet: no fact, so it is
replaced and dropped.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

from insights.history.schema import COLUMNS
from insights.history.schema import Column as Described

MONEY = ("parts_cost", "price", "claim_cost")
PERSONAL = ("customer", "postcode", "phone", "complaint", "notes")
FAMILIES = ("practice_", "lot_", "reading_")

metadata = MetaData()
_KEY = BigInteger().with_variant(Integer, "sqlite")  # only INTEGER counts up by itself there


def stored_as(name: str, kind: str) -> str:
    """Name the book's column that keeps one of the history's fixed columns."""
    if name in MONEY:
        return f"{name}_minor"
    return f"{name}_day" if kind == "date" else name


def _column(described: Described) -> Column[Any]:
    name = stored_as(described.name, described.kind)
    if described.kind == "date":
        return Column(name, Integer, nullable=not described.required)
    if described.name in MONEY:
        return Column(name, BigInteger)
    kinds: dict[str, Any] = {"number": Float, "whole": Integer}
    return Column(name, kinds.get(described.kind, Text), nullable=not described.required)


versions = Table(
    "versions",
    metadata,
    Column("version_id", _KEY, primary_key=True, autoincrement=True),
    Column("number", Integer, nullable=False),
    Column("saved_at_us", BigInteger, nullable=False),
    Column("saved_by", Text, nullable=False),
    Column("what", Text, nullable=False),
    Column("token", Text, nullable=False, unique=True),
    *(_column(described) for described in COLUMNS),
    Column("families", Text, nullable=False),
    Column("bench", Text, nullable=False),
    UniqueConstraint("job_id", "number"),
    Index("versions_saved", "saved_at_us"),
    sqlite_autoincrement=True,
)

heads = Table(
    "heads",
    metadata,
    Column("job_id", Text, primary_key=True),
    Column("version_id", BigInteger, ForeignKey("versions.version_id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("on_bench", Boolean, nullable=False),
    Column("serial_sign", Text),
    Column("customer_sign", Text),
    Column("phone_sign", Text),
    Index("heads_bench", "on_bench"),
    Index("heads_serial", "serial_sign"),
    Index("heads_customer", "customer_sign"),
    Index("heads_phone", "phone_sign"),
)

counters = Table(
    "counters",
    metadata,
    Column("name", Text, primary_key=True),
    Column("last", BigInteger, nullable=False),
)

records = Table(
    "records",
    metadata,
    Column("record_id", _KEY, primary_key=True, autoincrement=True),
    Column("kind", Text, nullable=False),
    Column("key", Text, nullable=False),
    Column("number", Integer, nullable=False),
    Column("saved_at_us", BigInteger, nullable=False),
    Column("saved_by", Text, nullable=False),
    Column("token", Text, nullable=False, unique=True),
    Column("body", Text, nullable=False),
    UniqueConstraint("kind", "key", "number"),
    sqlite_autoincrement=True,
)

drafts = Table(
    "drafts",
    metadata,
    Column("key", Text, primary_key=True),
    Column("saved_at_us", BigInteger, nullable=False),
    Column("saved_by", Text, nullable=False),
    Column("body", Text, nullable=False),
)
