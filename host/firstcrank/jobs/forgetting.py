"""Deleted for privacy: a job with all that belongs to it. A tombstone keeps it from being taken in again by outbox, merge or restore.

What stays: the tombstones (UUIDs, hashes), one audit line without a name, and, where asked for, each start's figures without job and day.
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from sqlalchemy import ColumnElement, Connection, delete, insert, select, update

from firstcrank.errors import StoreError
from firstcrank.jobs.audit import write_line
from firstcrank.jobs.folding import folded, search_text
from firstcrank.jobs.identity import RECORD
from firstcrank.jobs.listing import every_job
from firstcrank.jobs.outbox import remove, waiting
from firstcrank.jobs.rows import JobRow
from firstcrank.jobs.schema import ANONYMOUS_STARTS, AUDIT, CONTENTS, FORGOTTEN, JOBS, PHOTOS, STARTS, StoreTable
from firstcrank.jobs.search_index import refresh
from firstcrank.jobs.snapshot import hashes
from firstcrank.jobs.store import Store
from firstcrank.jobs.tombstones import OWNED, add_tombstones, number_hash
from firstcrank.units import counted

FIGURES = (
    "verdict",
    "feed_verdict",
    "cause",
    "feed_drop_v",
    "speed_rpm",
    "crank_v",
    "system_v",
    "battery_gain",
    "board",
    "synthetic",
)
GONE = "(forgotten)"


@dataclass(slots=True)
class Deleted:
    """What belonged to the jobs deleted: jobs, and rows by kind. `trouble`: lines about files that could not be deleted."""

    jobs: int = 0
    rows: dict[str, int] = field(default_factory=dict)
    trouble: list[str] = field(default_factory=list)

    def text(self) -> str:
        """As it stands in the audit line: counts alone."""
        counts = ", ".join(counted(count, kind) for kind, count in self.rows.items())
        return f"{counted(self.jobs, 'job')} with {counts or 'nothing in it'}"

    def add(self, other: Deleted) -> None:
        """Counts of another one too."""
        self.jobs += other.jobs
        for kind, count in other.rows.items():
            self.rows[kind] = self.rows.get(kind, 0) + count


def of_customer(store: Store, typed: str) -> list[JobRow]:
    """Jobs that have every word of `typed`, or a part of it, in their customer or phone, archived ones too."""
    wanted = [way for word in typed.split() for way in folded(word)[:1]]
    found = []
    for job in every_job(store, typed) if wanted else ():
        own = search_text([job["customer"]], [job["phone"]])
        if all(way in own for way in wanted):
            found.append(job)
    return found


def forget(store: Store, job_ids: Iterable[int], who: str = "", keep_figures: bool = False) -> Deleted:
    """Deletes jobs with all that belongs to them in one transaction, then their recordings. `keep_figures`: see the module.

    Call scrubbing.scrub afterwards: the text may still stand in free pages of the database. Raises StoreError.
    """
    done = Deleted()
    with store.engine.begin() as connection:
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql("PRAGMA secure_delete = ON")
        for job_id in job_ids:
            done.add(delete_job(connection, job_id, who, keep_figures))
        kept = "; the starts' figures are kept without job and day" if keep_figures else ""
        write_line(connection, "forgotten", f"{done.text()} deleted for privacy{kept}", who=who)
    done.trouble += sweep(store)
    return done


def delete_job(connection: Connection, job_id: int, who: str, keep_figures: bool) -> Deleted:
    """One job and all rows that belong to it, with their tombstones, in the caller's transaction. Files are left to `sweep`."""
    connection.execute(
        update(JOBS).where(JOBS.c.id == job_id).values(archived=JOBS.c.archived)
    )  # nobody else writes in SQLite now
    lock = select(JOBS).where(JOBS.c.id == job_id).with_for_update()
    job = dict(connection.execute(lock).mappings().one())
    done = Deleted(1)
    numbers = _numbers(connection, job)
    stones = {("job", str(job["uuid"])), *(("number", number_hash(number)) for number in numbers)}
    own = _hashes(connection, STARTS.c.job_id == job_id, PHOTOS.c.job_id == job_id)
    shared = _hashes(connection, STARTS.c.job_id != job_id, PHOTOS.c.job_id != job_id)
    stones |= {("content", found) for found in own - shared}
    if keep_figures:
        _keep_figures(connection, job_id)
    for table, kind in OWNED:
        uuids = connection.execute(select(table.c.uuid).where(table.c.job_id == job_id)).scalars().all()
        stones |= {(kind, str(found)) for found in uuids}
        if uuids:
            done.rows[kind] = len(uuids)
        connection.execute(delete(table).where(table.c.job_id == job_id))
    connection.execute(delete(AUDIT).where(AUDIT.c.job_id == job_id))
    _out_of_other_lines(connection, numbers)
    connection.execute(delete(JOBS).where(JOBS.c.id == job_id))
    delete_contents(connection, own - shared)
    add_tombstones(connection, stones, who)
    return done


def delete_row(connection: Connection, table: StoreTable, kind: str, row: Mapping[str, object], who: str) -> None:
    """A single row whose tombstone came from another store; its job stays."""
    found = {str(row["content_hash"])} if "content_hash" in table.c else set()
    connection.execute(delete(table).where(table.c.id == row["id"]))
    if found:
        delete_contents(connection, found - set(hashes(connection)))
    connection.execute(delete(AUDIT).where(AUDIT.c.about == row["uuid"]))
    add_tombstones(connection, {(kind, str(row["uuid"]))}, who)
    refresh(connection, int(str(row["job_id"])))


def delete_contents(connection: Connection, gone: Iterable[str]) -> None:
    """Rows of contents that nobody names any more, where they are in the database; none where they are files."""
    for content_hash in gone:
        connection.execute(delete(CONTENTS).where(CONTENTS.c.content_hash == content_hash))


def sweep(store: Store) -> list[str]:
    """Deletes the files of recordings and photos that were forgotten and that no row names; lines about those that stay."""
    with store.engine.connect() as connection:
        query = select(FORGOTTEN.c.name).where(FORGOTTEN.c.kind == "content")
        gone = set(map(str, connection.execute(query).scalars())) - set(hashes(connection))
    trouble = []
    for content_hash in sorted(gone):
        try:
            store.contents.remove(content_hash)
        except StoreError as error:
            trouble.append(f"{error}: firstcrank jobs forget --sweep does it later")
    return trouble


def out_of_outbox(store: Store, numbers: Iterable[str]) -> int:
    """Takes what waits on this computer for jobs of this store out of its outbox; how many starts that were.

    What waits on other computers is refused when it arrives, by the tombstone of the job's number.
    """
    wanted = set(numbers)
    entries = [entry for entry in waiting(store.name)[0] if entry.job in wanted]
    for entry in entries:
        remove(entry)
    return len(entries)


def _numbers(connection: Connection, job: Mapping[str, object]) -> set[str]:
    """Of the job, now and before, but those that another job has now."""
    lines = connection.execute(select(AUDIT.c.text).where(AUDIT.c.about == job["uuid"], AUDIT.c.action == "job changed"))
    texts = [str(text).removeprefix("number: ") for text in lines.scalars() if str(text).startswith("number: ")]
    names = {name for text in texts for name in text.split(" -> ")}
    others = connection.execute(select(JOBS.c.number).where(JOBS.c.number.in_(names), JOBS.c.id != job["id"]))
    return (names - set(map(str, others.scalars()))) | {str(job["number"])}


def _hashes(connection: Connection, of_starts: ColumnElement[bool], of_photos: ColumnElement[bool]) -> set[str]:
    found: set[str] = set()
    for table, condition in ((STARTS, of_starts), (PHOTOS, of_photos)):
        query = select(table.c.content_hash).where(condition).distinct()
        found |= set(map(str, connection.execute(query).scalars()))
    return found


def _keep_figures(connection: Connection, job_id: int) -> None:
    columns = [STARTS.c[name] for name in (*FIGURES, "uuid", "when_utc")]
    rows = [dict(row) for row in connection.execute(select(*columns).where(STARTS.c.job_id == job_id)).mappings()]
    for row in rows:
        month = str(row["when_utc"])[:7]
        row["when_utc"] = f"{month}-01T00:00:00+00:00"
        row["uuid"] = str(uuid.uuid5(RECORD, json.dumps(["anonymous_starts", row["uuid"]])))  # kept twice, it counts once
        there = select(ANONYMOUS_STARTS.c.id).where(ANONYMOUS_STARTS.c.uuid == row["uuid"])
        if connection.execute(there).first() is None:
            connection.execute(insert(ANONYMOUS_STARTS).values(**row))


def _out_of_other_lines(connection: Connection, numbers: set[str]) -> None:
    """The job's numbers in lines of other jobs, which tell of a start that was moved."""
    query = select(AUDIT.c.id, AUDIT.c.text).where(AUDIT.c.action == "start moved")
    for line, text in connection.execute(query).all():
        source, to, target = str(text).partition(" to job ")
        for number in numbers:
            if source.endswith(f" from job {number}"):
                source = source.removesuffix(number) + GONE
            if target == number:
                target = GONE
        if source + to + target != text:
            connection.execute(update(AUDIT).where(AUDIT.c.id == line).values(text=source + to + target))
