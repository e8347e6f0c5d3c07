"""In what state the bench found the work of an earlier repair; kept like all that is stored."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

# Written out, not taken from the program: a step must do the same for ever.
FIXED_VERSIONS = (
    "version_id, number, saved_at_us, saved_by, what, token, job_id, received_day, "
    "handed_back_day, model, unit_serial, unit_age_years, condition, earlier_repair, root_cause, "
    "upstream_cause, cause_removed, technician, bench_minutes, parts_cost_minor, price_minor, "
    "term_days, notified_day, relation, decision, claim_cost_minor, ended_on_day, ended_how, "
    "families, earlier_work"
)


def upgrade() -> None:
    """Add the column, and let the database refuse to change it too."""
    op.add_column("versions", sa.Column("earlier_work", sa.Text))
    postgres = op.get_bind().dialect.name == "postgresql"
    op.execute(f"DROP TRIGGER versions_kept{' ON versions' if postgres else ''}")
    refuse = (
        "FOR EACH ROW EXECUTE FUNCTION refuse_change()"
        if postgres
        else "BEGIN SELECT RAISE(ABORT, 'the book only ever adds'); END"
    )
    op.execute(
        f"CREATE TRIGGER versions_kept BEFORE UPDATE OF {FIXED_VERSIONS} ON versions {refuse}"
    )
