"""UUIDs, customer, phone, plate, order, search text, time and state of a start, audit lines, tombstones, compressed contents."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from typing import TypeAlias

import sqlalchemy as sa
from alembic import op
from sqlalchemy.sql.base import ReadOnlyColumnCollection
from sqlalchemy.types import TypeEngine

from firstcrank.jobs.folding import search_text
from firstcrank.jobs.identity import FIXED, uuid_of_old_row

Row: TypeAlias = dict[str, object]
Clause: TypeAlias = "sa.TableClause[ReadOnlyColumnCollection[str, sa.ColumnClause[object]]]"
revision = "0004"
down_revision = "0003"
BATCH = 500
TEXTS = {  # what a search looked through and looks through now, by table
    "notes": ("text", "who"),
    "measurements": ("what",),
    "starts": ("reason", "cause", "board", "verdict", "file_name"),
    "photos": ("name", "caption"),
}


def upgrade() -> None:
    """Adds columns and tables; nothing that was filed is changed."""
    _columns()
    _tables()
    connection = op.get_bind()
    for table in FIXED:
        _give_uuids(connection, table)
        op.create_index(f"{table}_uuid", table, ["uuid"], unique=True)
    _give_times(connection)
    op.create_index("ix_starts_when_utc", "starts", ["when_utc"])
    _give_search_texts(connection)


def _text(name: str, kind: TypeEngine[str] | None = None) -> sa.Column[str]:
    return sa.Column(name, kind or sa.Text(), nullable=False, server_default="")


def _columns() -> None:
    added: dict[str, Sequence[sa.Column[str] | sa.Column[bool]]] = {
        "jobs": (
            _text("customer"),
            *(_text(name, sa.String(64)) for name in ("phone", "plate", "order_number")),
            _text("search_text"),
        ),
        "starts": (_text("when_utc", sa.String(32)), _text("state", sa.String(16)), _text("reading_json")),
        "notes": (sa.Column("for_customer", sa.Boolean, nullable=False, server_default=sa.false()),),
        "photos": (sa.Column("for_customer", sa.Boolean, nullable=False, server_default=sa.false()),),
        "contents": (_text("codec", sa.String(8)),),
    }
    for table in FIXED:
        op.add_column(table, _text("uuid", sa.String(36)))
    for table, columns in added.items():
        for column in columns:
            op.add_column(table, column)
    if op.get_bind().dialect.name == "postgresql":  # compressed by us: not once more by the server
        op.execute("ALTER TABLE contents ALTER COLUMN content SET STORAGE EXTERNAL")


def _tables() -> None:
    op.create_table(
        "audit",
        sa.Column("id", sa.Integer, primary_key=True),
        sa.Column("at_utc", sa.String(32), nullable=False),
        _text("who"),
        sa.Column("job_id", sa.Integer, sa.ForeignKey("jobs.id"), index=True),
        sa.Column("start_id", sa.Integer),
        sa.Column("action", sa.String(32), nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("uuid", sa.String(36), nullable=False, unique=True),
    )
    op.create_table(
        "forgotten",
        sa.Column("kind", sa.String(16), primary_key=True),
        sa.Column("name", sa.String(64), primary_key=True),
        sa.Column("at_utc", sa.String(32), nullable=False),
        _text("who"),
    )


def _table(name: str, columns: Sequence[str]) -> Clause:
    return sa.table(name, sa.column("id", sa.Integer), *(sa.column(c) for c in columns if c != "id"))


def _batches(connection: sa.Connection, table: Clause) -> Iterator[list[Row]]:
    last = 0
    while True:
        query = sa.select(table).where(table.c.id > last).order_by(table.c.id).limit(BATCH)
        rows = [dict(row) for row in connection.execute(query).mappings()]
        if not rows:
            return
        yield rows
        last = int(str(rows[-1]["id"]))


def _set(connection: sa.Connection, name: str, column: str, found: list[Row]) -> None:
    table = _table(name, (column,))
    change = sa.update(table).where(table.c.id == sa.bindparam("row")).values({column: sa.bindparam("found")})
    connection.execute(change, found)


def _give_uuids(connection: sa.Connection, name: str) -> None:
    for rows in _batches(connection, _table(name, FIXED[name])):
        _set(connection, name, "uuid", [{"row": row["id"], "found": uuid_of_old_row(name, row)} for row in rows])


def _give_times(connection: sa.Connection) -> None:
    for rows in _batches(connection, _table("starts", ("recorded_utc", "filed_utc"))):
        found = [{"row": row["id"], "found": when_utc(str(row["recorded_utc"]), str(row["filed_utc"]))} for row in rows]
        _set(connection, "starts", "when_utc", found)


def _give_search_texts(connection: sa.Connection) -> None:
    names = ("number", "vehicle", "vin", "odometer", "engine", "technician")
    for jobs in _batches(connection, _table("jobs", names)):
        texts = {job["id"]: [str(job[name]) for name in names] for job in jobs}
        for name, columns in TEXTS.items():
            table = _table(name, (*columns, "job_id"))
            for row in connection.execute(sa.select(table).where(table.c.job_id.in_(list(texts)))).mappings():
                texts[row["job_id"]] += [str(row[column]) for column in columns]
        found: list[Row] = [
            {"row": job["id"], "found": search_text(texts[job["id"]], (str(job["number"]), str(job["vin"])))} for job in jobs
        ]
        _set(connection, "jobs", "search_text", found)


def when_utc(recorded: str, filed: str) -> str:
    """The time of recording in UTC, or that of filing where it is not known."""
    try:
        when = datetime.fromisoformat(recorded)
    except ValueError:
        return filed
    return (when if when.tzinfo else when.replace(tzinfo=UTC)).astimezone(UTC).isoformat(timespec="seconds")
