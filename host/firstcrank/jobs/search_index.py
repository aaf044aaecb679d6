"""Keeps the one column that a search looks through up to date, in the transaction that changed a job."""

from __future__ import annotations

from sqlalchemy import Connection, select, update

from firstcrank.jobs.folding import search_text
from firstcrank.jobs.schema import JOBS, MEASUREMENTS, NOTES, PHOTOS, STARTS

FIELDS = ("vehicle", "odometer", "engine", "technician", "customer")
NUMBERS = ("number", "vin", "phone", "plate", "order_number")
# What belongs to a job and is found with it.
TEXTS = (
    (NOTES, ("text", "who")),
    (MEASUREMENTS, ("what",)),
    (STARTS, ("reason", "cause", "board", "verdict", "file_name", "state")),
    (PHOTOS, ("name", "caption")),
)


def text_of(connection: Connection, job_id: int) -> str:
    """The search text of a job as it is now."""
    job = connection.execute(select(JOBS).where(JOBS.c.id == job_id)).mappings().one()
    texts = [str(job[name]) for name in FIELDS]
    for table, names in TEXTS:
        rows = connection.execute(select(*(table.c[name] for name in names)).where(table.c.job_id == job_id).distinct())
        texts += [str(value) for row in rows for value in row]
    return search_text(texts, (str(job[name]) for name in NUMBERS))


def refresh(connection: Connection, job_id: int) -> None:
    """After any change of a job or of what belongs to it, in the same transaction.

    The job's row is locked first: of two bays that change one job at once the later sees what the earlier wrote.
    """
    lock = select(JOBS.c.id).where(JOBS.c.id == job_id).with_for_update(key_share=True)
    connection.execute(lock)
    connection.execute(update(JOBS).where(JOBS.c.id == job_id).values(search_text=text_of(connection, job_id)))
