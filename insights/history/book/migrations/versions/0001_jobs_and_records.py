"""Jobs, their versions, and records; nothing stored is ever changed."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

# Written out, not taken from the program: a step must do the same for ever.
KEY = sa.BigInteger().with_variant(sa.Integer, "sqlite")
PERSONAL = ("customer", "postcode", "phone", "complaint", "notes")


def version_columns() -> list[sa.Column[Any]]:
    """Write out the columns; new ones at each call, as a column belongs to one table."""
    return [
        sa.Column("version_id", KEY, primary_key=True, autoincrement=True),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("saved_at_us", sa.BigInteger, nullable=False),
        sa.Column("saved_by", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("token", sa.Text, nullable=False, unique=True),
        sa.Column("job_id", sa.Text, nullable=False),
        sa.Column("received_day", sa.Integer, nullable=False),
        sa.Column("handed_back_day", sa.Integer),
        sa.Column("model", sa.Text, nullable=False),
        sa.Column("unit_serial", sa.Text),
        sa.Column("customer", sa.Text),
        sa.Column("postcode", sa.Text),
        sa.Column("phone", sa.Text),
        sa.Column("unit_age_years", sa.Float),
        sa.Column("condition", sa.Integer),
        sa.Column("earlier_repair", sa.Text),
        sa.Column("complaint", sa.Text),
        sa.Column("notes", sa.Text),
        sa.Column("root_cause", sa.Text),
        sa.Column("upstream_cause", sa.Text),
        sa.Column("cause_removed", sa.Text),
        sa.Column("technician", sa.Text),
        sa.Column("bench_minutes", sa.Float),
        sa.Column("parts_cost_minor", sa.BigInteger),
        sa.Column("price_minor", sa.BigInteger),
        sa.Column("term_days", sa.Integer),
        sa.Column("notified_day", sa.Integer),
        sa.Column("relation", sa.Text),
        sa.Column("decision", sa.Text),
        sa.Column("claim_cost_minor", sa.BigInteger),
        sa.Column("ended_on_day", sa.Integer),
        sa.Column("ended_how", sa.Text),
        sa.Column("families", sa.Text, nullable=False),
        sa.Column("bench", sa.Text, nullable=False),
    ]


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "versions",
        *version_columns(),
        sa.UniqueConstraint("job_id", "number"),
        sqlite_autoincrement=True,
    )
    op.create_index("versions_saved", "versions", ["saved_at_us"])
    op.create_table(
        "heads",
        sa.Column("job_id", sa.Text, primary_key=True),
        sa.Column(
            "version_id", sa.BigInteger, sa.ForeignKey("versions.version_id"), nullable=False
        ),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("on_bench", sa.Boolean, nullable=False),
        sa.Column("serial_sign", sa.Text),
        sa.Column("customer_sign", sa.Text),
        sa.Column("phone_sign", sa.Text),
    )
    for name, column in (
        ("heads_bench", "on_bench"),
        ("heads_serial", "serial_sign"),
        ("heads_customer", "customer_sign"),
        ("heads_phone", "phone_sign"),
    ):
        op.create_index(name, "heads", [column])
    op.create_table(
        "counters",
        sa.Column("name", sa.Text, primary_key=True),
        sa.Column("last", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "records",
        sa.Column("record_id", KEY, primary_key=True, autoincrement=True),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("saved_at_us", sa.BigInteger, nullable=False),
        sa.Column("saved_by", sa.Text, nullable=False),
        sa.Column("token", sa.Text, nullable=False, unique=True),
        sa.Column("body", sa.Text, nullable=False),
        sa.UniqueConstraint("kind", "key", "number"),
        sqlite_autoincrement=True,
    )
    _only_ever_added()


def _only_ever_added() -> None:
    """Let the database itself refuse to change or delete what is stored.

    The one exception: a customer's own data may be wiped, and then the reference must say so.
    """
    fixed = [column.name for column in version_columns() if column.name not in PERSONAL]
    guards = (
        ("versions_kept", f"UPDATE OF {', '.join(fixed)} ON versions", ""),
        (
            "versions_wiped",
            f"UPDATE OF {', '.join(PERSONAL)} ON versions",
            "COALESCE(NEW.customer, '') NOT LIKE 'erased-%'",
        ),
        ("versions_never_deleted", "DELETE ON versions", ""),
        ("records_never_changed", "UPDATE ON records", ""),
        ("records_never_deleted", "DELETE ON records", ""),
    )
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            "CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'the book only ever adds'; END $$"
        )
        body = "FOR EACH ROW {when} EXECUTE FUNCTION refuse_change()"
    else:
        body = "{when} BEGIN SELECT RAISE(ABORT, 'the book only ever adds'); END"
    for name, event, when in guards:
        op.execute(
            f"CREATE TRIGGER {name} BEFORE {event} "
            + body.format(when=f"WHEN ({when})" if when else "")
        )
