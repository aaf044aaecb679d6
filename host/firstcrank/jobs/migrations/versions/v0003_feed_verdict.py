"""The key feed's verdict beside the overall one; of starts filed before, read out of the judgement kept with them."""

from __future__ import annotations

import json

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
BATCH = 500


def upgrade() -> None:
    """Adds one column that may be empty. The verdict as filed is not touched: before, it was the feed's alone."""
    op.add_column("starts", sa.Column("feed_verdict", sa.String(16)))
    starts = sa.table(
        "starts",
        *(sa.column(name) for name in ("verdict", "judgement_json", "feed_verdict")),
        sa.column("id", sa.Integer),
    )
    connection, last = op.get_bind(), 0
    while True:
        query = sa.select(starts.c.id, starts.c.judgement_json).where(starts.c.id > last).order_by(starts.c.id).limit(BATCH)
        rows = connection.execute(query).all()
        if not rows:
            return
        last = int(rows[-1][0])
        found = [{"start": int(start), "found": feed_verdict_kept(text)} for start, text in rows]
        change = sa.update(starts).where(starts.c.id == sa.bindparam("start")).values(feed_verdict=sa.bindparam("found"))
        connection.execute(change, found)


def feed_verdict_kept(judgement_json: str) -> str | None:
    """The feed's verdict in a kept judgement of schema 1 (whose verdict it was) or 2; None where it can't be read."""
    try:
        table = json.loads(judgement_json)
        found = table["feed"]["verdict"] if "feed" in table else table["verdict"]
    except (ValueError, KeyError, TypeError):
        return None
    return found if found in ("PASS", "FAIL", "NO VERDICT") else None
