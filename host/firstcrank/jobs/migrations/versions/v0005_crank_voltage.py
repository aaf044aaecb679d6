"""Crank and system voltage of a start, which row an audit line is about, figures kept of forgotten starts."""

from __future__ import annotations

import re

import sqlalchemy as sa
from alembic import op

from firstcrank.jobs.kept_values import crank_v_kept, system_v_kept

revision = "0005"
down_revision = "0004"
BATCH = 500
OF_NOTES = ("note corrected", "for customer", "not for customer")
NUMBERED = re.compile(r"(note|photo) (\d+)\b")  # how an audit line of a note or photo begins


def upgrade() -> None:
    """Adds columns and a table; what is not in the judgement kept with a start stays empty."""
    op.add_column("starts", sa.Column("crank_v", sa.Float))
    op.add_column("starts", sa.Column("system_v", sa.Integer))
    op.add_column("audit", sa.Column("about", sa.String(36), nullable=False, server_default=""))
    op.create_table(
        "anonymous_starts",
        sa.Column("id", sa.Integer, primary_key=True),
        *(
            sa.Column(n, sa.String(k), nullable=False, server_default="")
            for n, k in (("when_utc", 32), ("cause", 64), ("board", 64))
        ),
        sa.Column("verdict", sa.String(16), nullable=False),
        sa.Column("feed_verdict", sa.String(16)),
        *(sa.Column(name, sa.Float) for name in ("feed_drop_v", "speed_rpm", "crank_v", "battery_gain")),
        sa.Column("system_v", sa.Integer),
        sa.Column("synthetic", sa.Boolean, nullable=False, server_default=sa.false()),
        sa.Column("uuid", sa.String(36), nullable=False, unique=True),
    )
    connection = op.get_bind()
    _give_voltages(connection)
    name_what_lines_are_about(connection)


def _give_voltages(connection: sa.Connection) -> None:
    names = ("judgement_json", "limits_json", "crank_v", "system_v")
    starts, last = sa.table("starts", sa.column("id", sa.Integer), *(sa.column(name) for name in names)), 0
    change = sa.update(starts).where(starts.c.id == sa.bindparam("start"))
    change = change.values(crank_v=sa.bindparam("volts", type_=sa.Float), system_v=sa.bindparam("system", type_=sa.Integer))
    while True:
        query = sa.select(starts.c.id, starts.c.judgement_json, starts.c.limits_json)
        rows = connection.execute(query.where(starts.c.id > last).order_by(starts.c.id).limit(BATCH)).all()
        if not rows:
            return
        last = int(rows[-1][0])
        found = [
            {"start": int(start), "volts": crank_v_kept(judgement), "system": system_v_kept(limits)}
            for start, judgement, limits in rows
        ]
        connection.execute(change, found)


def name_what_lines_are_about(connection: sa.Connection) -> None:
    """Each audit line that does not say it gets the UUID of the start, note, photo or job that it is about, by numbers of this store."""
    audit = sa.table("audit", *(sa.column(name) for name in ("id", "job_id", "start_id", "action", "text", "about")))
    uuids: dict[str, dict[int, str]] = {}
    for name in ("jobs", "starts", "notes", "photos"):
        table = sa.table(name, sa.column("id"), sa.column("uuid"))
        uuids[name] = {int(row): str(found) for row, found in connection.execute(sa.select(table.c.id, table.c.uuid))}
    query = sa.select(audit.c.id, audit.c.job_id, audit.c.start_id, audit.c.action, audit.c.text).where(audit.c.about == "")
    found = []
    for line, job, start, action, text in connection.execute(query):
        named = NUMBERED.match(text) if action in OF_NOTES else None
        if start is not None:
            about = uuids["starts"].get(start, "")
        elif named:
            about = uuids[f"{named[1]}s"].get(int(named[2]), "")
        else:
            about = uuids["jobs"].get(job, "")
        found.append({"line": line, "found": about})
    if found:
        connection.execute(
            sa.update(audit).where(audit.c.id == sa.bindparam("line")).values(about=sa.bindparam("found")), found
        )
