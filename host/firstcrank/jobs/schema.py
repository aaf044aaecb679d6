"""Tables of the record store. Times are UTC, written as ISO 8601 text so that every database keeps them alike."""

from __future__ import annotations

from typing import TypeAlias

from sqlalchemy import Boolean, Column, Float, ForeignKey, Index, Integer, LargeBinary, MetaData, String, Table, Text
from sqlalchemy.sql.base import ReadOnlyColumnCollection

from firstcrank.jobs.identity import new_uuid
from firstcrank.jobs.states import UNCOUNTED

# Any of the tables below, for what goes through all of them.
StoreTable: TypeAlias = "Table[ReadOnlyColumnCollection[str, Column[object]]]"

METADATA = MetaData()


def _uuid() -> Column[str]:
    """What the row is called in every store (identity.py)."""
    return Column("uuid", String(36), nullable=False, default=new_uuid, unique=True)


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
    _uuid(),
    Column("customer", Text, nullable=False, default=""),
    Column("phone", String(64), nullable=False, default=""),
    Column("plate", String(64), nullable=False, default=""),
    Column("order_number", String(64), nullable=False, default=""),
    Column("search_text", Text, nullable=False, default=""),  # every word of the job as a search compares it (folding.py)
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
    _uuid(),
    Column("when_utc", String(32), nullable=False, default="", index=True),  # recorded, or filed where that is not known
    Column("state", String(16), nullable=False, default=""),  # states.py
    Column("reading_json", Text, nullable=False, default=""),  # how the file was read and what was answered (reading.py)
    # Added by the fifth migration, as what it adds below.
    Column("crank_v", Float),  # the battery's mean while cranking; null where it was not measured
    Column("system_v", Integer),  # 12 or 24: of the limits that it was judged by
)

NOTES = Table(
    "notes",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("job_id", ForeignKey("jobs.id"), nullable=False, index=True),
    Column("written_utc", String(32), nullable=False),
    Column("who", Text, nullable=False, default=""),
    Column("text", Text, nullable=False),
    _uuid(),
    Column("for_customer", Boolean, nullable=False, default=False),
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
    _uuid(),
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
    _uuid(),
    Column("for_customer", Boolean, nullable=False, default=False),
)
CONTENTS = Table(  # recordings and photos where there is no folder that every bay reaches
    "contents",
    METADATA,
    Column("content_hash", String(64), primary_key=True),
    Column("content", LargeBinary, nullable=False),
    Column(
        "codec", String(8), nullable=False, default=""
    ),  # "": as it is; "zlib": compressed (RFC 1950). The hash is of what is inside
)
# Added by the fourth migration.
AUDIT = Table(  # who changed what and when; nothing in it is ever changed
    "audit",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("at_utc", String(32), nullable=False),
    Column("who", Text, nullable=False, default=""),
    Column("job_id", ForeignKey("jobs.id"), index=True),  # null where the job itself is gone
    Column("start_id", Integer),  # no foreign key: a line outlives a forgotten start
    Column("action", String(32), nullable=False),
    Column("text", Text, nullable=False),
    _uuid(),
    Column("about", String(36), nullable=False, default=""),  # UUID of the row that was changed: its number differs by store
)
FORGOTTEN = Table(  # what was deleted for privacy: never taken in again from an outbox, another store or a backup
    "forgotten",
    METADATA,
    # "job", "start", "note", "measurement", "photo": the UUID; "content": the hash; "number": SHA-256 of a job's number
    Column("kind", String(16), primary_key=True),
    Column("name", String(64), primary_key=True),
    Column("at_utc", String(32), nullable=False),
    Column("who", Text, nullable=False, default=""),
)
ANONYMOUS_STARTS = (
    Table(  # figures of starts whose job was forgotten, where the shop wanted to keep them: no job, no day, no recording
        "anonymous_starts",
        METADATA,
        Column("id", Integer, primary_key=True),
        Column("when_utc", String(32), nullable=False, default=""),  # the begin of the month
        Column("verdict", String(16), nullable=False),
        Column("feed_verdict", String(16)),
        Column("cause", String(64), nullable=False, default=""),
        Column("feed_drop_v", Float),
        Column("speed_rpm", Float),
        Column("crank_v", Float),
        Column("system_v", Integer),
        Column("battery_gain", Float),
        Column("board", String(64), nullable=False, default=""),
        Column("synthetic", Boolean, nullable=False, default=False),
        _uuid(),
    )
)
Index("starts_job_recorded", STARTS.c.job_id, STARTS.c.recorded_utc)
COUNTED = STARTS.c.state.not_in([str(state) for state in UNCOUNTED])  # starts that say something of the vehicle
