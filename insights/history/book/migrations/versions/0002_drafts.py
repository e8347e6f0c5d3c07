"""Drafts: what is typed and not saved yet. The one table whose rows are replaced and dropped."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the table."""
    op.create_table(
        "drafts",
        sa.Column("key", sa.Text, primary_key=True),
        sa.Column("saved_at_us", sa.BigInteger, nullable=False),
        sa.Column("saved_by", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
    )
