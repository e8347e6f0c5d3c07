"""People, sessions, wrong guesses, what was looked at; records may be wiped of a customer too."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

KEY = sa.BigInteger().with_variant(sa.Integer, "sqlite")
PERSONAL = ("customer", "postcode", "phone", "complaint", "notes", "bench")
# Written out, not taken from the program: a step must do the same for ever.
FIXED_VERSIONS = (
    "version_id, number, saved_at_us, saved_by, what, token, job_id, received_day, "
    "handed_back_day, model, unit_serial, unit_age_years, condition, earlier_repair, root_cause, "
    "upstream_cause, cause_removed, technician, bench_minutes, parts_cost_minor, price_minor, "
    "term_days, notified_day, relation, decision, claim_cost_minor, ended_on_day, ended_how, "
    "families"
)
FIXED_RECORDS = "record_id, kind, key, number, saved_at_us, saved_by, token"


def upgrade() -> None:
    """Make the tables, and let the bench's facts and records be wiped as well."""
    op.create_table(
        "users",
        sa.Column("sign", sa.Text, primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("role", sa.Text, nullable=False),
        sa.Column("password_hash", sa.Text, nullable=False),
        sa.Column("added_at_us", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "sessions",
        sa.Column("token_hash", sa.Text, primary_key=True),
        sa.Column("sign", sa.Text, sa.ForeignKey("users.sign"), nullable=False),
        sa.Column("begun_at_us", sa.BigInteger, nullable=False),
        sa.Column("seen_at_us", sa.BigInteger, nullable=False),
    )
    op.create_index("sessions_sign", "sessions", ["sign"])
    op.create_table(
        "attempts",
        sa.Column("key_hash", sa.Text, primary_key=True),
        sa.Column("failures", sa.Integer, nullable=False),
        sa.Column("last_at_us", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "access_log",
        sa.Column("entry_id", KEY, primary_key=True, autoincrement=True),
        sa.Column("at_us", sa.BigInteger, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("did", sa.Text, nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sqlite_autoincrement=True,
    )
    op.create_index("access_log_at", "access_log", ["at_us"])
    _replace_guards()


def _replace_guards() -> None:
    """Keep everything fixed as before, but for what may name a customer."""
    for name, table in (
        ("versions_kept", "versions"),
        ("versions_wiped", "versions"),
        ("records_never_changed", "records"),
    ):
        on = f" ON {table}" if op.get_bind().dialect.name == "postgresql" else ""
        op.execute(f"DROP TRIGGER {name}{on}")
    wiped = ", ".join(PERSONAL)
    _guard("versions_kept", f"UPDATE OF {FIXED_VERSIONS} ON versions")
    _guard(
        "versions_wiped",
        f"UPDATE OF {wiped} ON versions",
        "COALESCE(NEW.customer, '') NOT LIKE 'erased-%'",
    )
    _guard("records_kept", f"UPDATE OF {FIXED_RECORDS} ON records")
    _guard("records_wiped", "UPDATE OF body ON records", "NEW.body NOT LIKE '%erased-%'")
    _guard("access_log_never_changed", "UPDATE ON access_log")
    _guard("access_log_never_deleted", "DELETE ON access_log")


def _guard(name: str, event: str, when: str = "") -> None:
    """Let the database itself refuse; on SQLite and PostgreSQL as the first step did."""
    refuse = (
        "FOR EACH ROW {when} EXECUTE FUNCTION refuse_change()"
        if op.get_bind().dialect.name == "postgresql"
        else "{when} BEGIN SELECT RAISE(ABORT, 'the book only ever adds'); END"
    )
    condition = f"WHEN ({when})" if when else ""
    op.execute(f"CREATE TRIGGER {name} BEFORE {event} " + refuse.format(when=condition))
