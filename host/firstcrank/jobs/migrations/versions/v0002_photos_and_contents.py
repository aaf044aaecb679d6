"""Photos, and contents kept in the database where there is no folder that every bay reaches."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Adds two tables; nothing that is there is touched."""
    op.create_table(
        "photos",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("job_id", sa.Integer, sa.ForeignKey("jobs.id"), nullable=False, index=True),
        sa.Column("added_utc", sa.String(32), nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("caption", sa.Text, nullable=False, server_default=""),
        sa.Column("content_hash", sa.String(64), nullable=False),
    )
    op.create_table(
        "contents",
        sa.Column("content_hash", sa.String(64), primary_key=True),
        sa.Column("content", sa.LargeBinary, nullable=False),
    )
