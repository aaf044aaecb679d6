"""Jobs, starts, notes, measurements."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Creates the first tables."""
    op.create_table(
        "jobs",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("number", sa.String(200), nullable=False, unique=True),
        sa.Column("created_utc", sa.String(32), nullable=False),
        *(sa.Column(name, sa.Text, nullable=False, server_default="") for name in ("vehicle", "engine", "technician")),
        *(sa.Column(name, sa.String(64), nullable=False, server_default="") for name in ("vin", "odometer")),
        sa.Column("archived", sa.Boolean, nullable=False, server_default=sa.false()),
    )
    op.create_table(
        "starts",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("job_id", sa.Integer, sa.ForeignKey("jobs.id"), nullable=False, index=True),
        sa.Column("filed_utc", sa.String(32), nullable=False),
        sa.Column("recorded_utc", sa.String(32), nullable=False, server_default=""),
        sa.Column("content_hash", sa.String(64), nullable=False, index=True),
        sa.Column("size_bytes", sa.Integer, nullable=False),
        sa.Column("file_name", sa.Text, nullable=False),
        sa.Column("verdict", sa.String(16), nullable=False, index=True),
        sa.Column("reason", sa.Text, nullable=False, server_default=""),
        sa.Column("cause", sa.String(64), nullable=False, server_default=""),
        sa.Column("crank_count", sa.Integer, nullable=False, server_default="0"),
        *(sa.Column(name, sa.Float) for name in ("feed_drop_v", "speed_rpm", "battery_gain")),
        sa.Column("board", sa.String(64), nullable=False, server_default="", index=True),
        *(sa.Column(name, sa.String(32), nullable=False, server_default="") for name in ("firmware", "host_version")),
        sa.Column("limits_json", sa.Text, nullable=False),
        sa.Column("calibration_json", sa.Text, nullable=False, server_default=""),
        sa.Column("judgement_json", sa.Text, nullable=False),
        sa.Column("synthetic", sa.Boolean, nullable=False, server_default=sa.false()),
    )
    op.create_index("starts_job_recorded", "starts", ["job_id", "recorded_utc"])
    op.create_table(
        "notes",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("job_id", sa.Integer, sa.ForeignKey("jobs.id"), nullable=False, index=True),
        sa.Column("written_utc", sa.String(32), nullable=False),
        sa.Column("who", sa.Text, nullable=False, server_default=""),
        sa.Column("text", sa.Text, nullable=False),
    )
    op.create_table(
        "measurements",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("job_id", sa.Integer, sa.ForeignKey("jobs.id"), nullable=False, index=True),
        sa.Column("taken_utc", sa.String(32), nullable=False),
        sa.Column("what", sa.Text, nullable=False),
        sa.Column("value", sa.Float, nullable=False),
        sa.Column("unit", sa.String(16), nullable=False),
        sa.Column("meter", sa.Text, nullable=False, server_default=""),
    )
