"""Audit lines: who changed what and when. Written in the transaction of the change; never changed or removed by it."""

from __future__ import annotations

import getpass
from typing import cast

from sqlalchemy import Connection, insert, select

from firstcrank.jobs.rows import AuditRow
from firstcrank.jobs.schema import AUDIT
from firstcrank.jobs.store import Store
from firstcrank.jobs.times import now_utc
from firstcrank.printable import storable


def write_line(
    connection: Connection,
    action: str,
    text: str,
    job_id: int | None = None,
    start_id: int | None = None,
    who: str = "",
    about: str = "",
) -> None:
    """One line; `who` is the computer's user where nobody is named, `about` the UUID of the row that is changed."""
    values = {"at_utc": now_utc(), "who": storable(who.strip() or user()), "action": action, "text": storable(text)}
    connection.execute(insert(AUDIT).values(job_id=job_id, start_id=start_id, about=about, **values))


def user() -> str:
    """The name of the computer's user; empty where it has none."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return ""


def audit_lines(store: Store, job_id: int) -> tuple[AuditRow, ...]:
    """All lines of a job, the oldest first."""
    with store.engine.connect() as connection:
        rows = connection.execute(select(AUDIT).where(AUDIT.c.job_id == job_id).order_by(AUDIT.c.id)).mappings()
        return tuple(cast(AuditRow, dict(row)) for row in rows)
