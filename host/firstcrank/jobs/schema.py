"""Tables of the record store. Times are UTC, written as ISO 8601 text so that every database keeps them alike."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, Float, ForeignKey, Index, Integer, LargeBinary, MetaData, String, Table, Text

METADATA = MetaData()

JOBS = Table(
    "jobs",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("number", String(200), nullable=False, unique=True),
    Column("created_utc", String(32), nullable=False),
    Column("vehicle", Text, nullable=False, default=""),
    Column("vin", String(64), nullable=False, default=""),
    Column("odometer", String(64), nullable=False, default=""),
    Column("engine", Text, nullable=False, default=""),
    Column("technician", Text, nullable=False, default=""),
    Column("archived", Boolean, nullable=False, default=False),
)

STARTS = Table(
    "starts",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("job_id", ForeignKey("jobs.id"), nullable=False, index=True),
    Column("filed_utc", String(32), nullable=False),
    Column("recorded_utc", String(32), nullable=False, default=""),
    Column("content_hash", String(64), nullable=False, index=True),  # SHA-256 of the recording
    Column("size_bytes", Integer, nullable=False),
    Column("file_name", Text, nullable=False),
    Column("verdict", String(16), nullable=False, index=True),  # overall: the worst of the feed's and of any other fault
    Column("feed_verdict", String(16)),  # the key feed's; null where the judgement kept does not say
    Column("reason", Text, nullable=False, default=""),
    Column("cause", String(64), nullable=False, default=""),
    Column("crank_count", Integer, nullable=False, default=0),
    Column("feed_drop_v", Float),
    Column("speed_rpm", Float),
    Column("battery_gain", Float),  # volts per code of the battery input: its drift over the years
    Column("board", String(64), nullable=False, default="", index=True),
    Column("firmware", String(32), nullable=False, default=""),
    Column("host_version", String(32), nullable=False, default=""),
    Column("limits_json", Text, nullable=False),
    Column("calibration_json", Text, nullable=False, default=""),
    Column("judgement_json", Text, nullable=False),
    Column("synthetic", Boolean, nullable=False, default=False),
)

NOTES = Table(
    "notes",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("job_id", ForeignKey("jobs.id"), nullable=False, index=True),
    Column("written_utc", String(32), nullable=False),
    Column("who", Text, nullable=False, default=""),
    Column("text", Text, nullable=False),
)

MEASUREMENTS = Table(
    "measurements",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("job_id", ForeignKey("jobs.id"), nullable=False, index=True),
    Column("taken_utc", String(32), nullable=False),
    Column("what", Text, nullable=False),
    Column("value", Float, nullable=False),
    Column("unit", String(16), nullable=False),
    Column("meter", Text, nullable=False, default=""),
)

# Added by the second migration.
PHOTOS = Table(
    "photos",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("job_id", ForeignKey("jobs.id"), nullable=False, index=True),
    Column("added_utc", String(32), nullable=False),
    Column("name", Text, nullable=False),
    Column("caption", Text, nullable=False, default=""),
    Column("content_hash", String(64), nullable=False),
)
CONTENTS = Table(  # recordings and photos where there is no folder that every bay reaches
    "contents",
    METADATA,
    Column("content_hash", String(64), primary_key=True),
    Column("content", LargeBinary, nullable=False),
)
Index("starts_job_recorded", STARTS.c.job_id, STARTS.c.recorded_utc)
