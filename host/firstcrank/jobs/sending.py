"""What waits in the outbox goes into its store, once and only once, whenever the store is next opened."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy.exc import SQLAlchemyError

from firstcrank.errors import StoreError, UsageError
from firstcrank.jobs.audit import write_line
from firstcrank.jobs.filing import add_row
from firstcrank.jobs.outbox import Waiting, remove, waiting
from firstcrank.jobs.records import create_job, find_job
from firstcrank.jobs.rows import JobRow
from firstcrank.jobs.store import Store
from firstcrank.jobs.tombstones import number_forgotten


@dataclass(frozen=True, slots=True)
class Filed:
    """A start out of the outbox: its job and number; `made`: the job was made for it."""

    job: str
    start: int
    made: bool
    uuid: str


@dataclass(frozen=True, slots=True)
class Sent:
    """What was filed, and a line about each start that stays or that can't be read."""

    filed: tuple[Filed, ...] = ()
    trouble: tuple[str, ...] = ()


def send(store: Store, every: bool = False) -> Sent:
    """Files what waits for this store; `every`: also what was kept for another name of it. Raises nothing: it is told.

    A job that the store does not have is made, with an audit line: it was typed while nobody could look it up.
    """
    entries, lines = waiting(None if every else store.name)
    filed: list[Filed] = []
    trouble = list(lines)
    if store.read_only:
        return Sent((), tuple(trouble))
    for entry in entries:
        try:
            _not_forgotten(store, entry)
            job, made = job_for(store, entry.job, entry.kept_utc)
            start = add_row(store, job["id"], entry.content(), dict(entry.row))
        except UsageError as error:  # forgotten for privacy
            trouble.append(f"a start for job {entry.job} is taken out of the outbox: {error}")
            remove(entry)
            continue
        except (StoreError, SQLAlchemyError) as error:
            trouble.append(f"a start for job {entry.job} stays in the outbox: {error}")
            continue
        remove(entry)
        filed.append(Filed(job["number"], start, made, str(entry.row["uuid"])))
    return Sent(tuple(filed), tuple(trouble))


def _not_forgotten(store: Store, entry: Waiting) -> None:
    """Raises UsageError where its job was deleted for privacy after it was kept."""
    with store.engine.connect() as connection:
        day = number_forgotten(connection, entry.job, entry.kept_utc)
    if day:
        raise UsageError(f"that job was deleted from the record for privacy on {day}")


def job_for(store: Store, number: str, kept_utc: str) -> tuple[JobRow, bool]:
    """The job of that number, and whether it was made just now."""
    try:
        return find_job(store, number), False
    except UsageError:
        try:
            job_id = create_job(store, number)
        except UsageError:  # another laptop has just made it
            return find_job(store, number), False
        with store.engine.begin() as connection:
            text = f"made by a start that was kept on a laptop on {kept_utc[:10]}: is its number right?"
            write_line(connection, "job made", text, job_id)
        return find_job(store, number), True
