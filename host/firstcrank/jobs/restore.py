"""An empty store filled from a backup: contents first, then all rows in one transaction, a few at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from pathlib import Path

from sqlalchemy import Connection, func, insert, select

from firstcrank.errors import UsageError
from firstcrank.jobs.backup_file import FORMAT, WITH_UUIDS, About, BackupFile, check_backup, open_backup
from firstcrank.jobs.migrations.versions.v0005_crank_voltage import name_what_lines_are_about
from firstcrank.jobs.schema import JOBS, StoreTable
from firstcrank.jobs.search_index import refresh
from firstcrank.jobs.snapshot import AT_ONCE, TABLES
from firstcrank.jobs.store import Store
from firstcrank.jobs.tombstones import Tombstones, tombstones

Progress = Callable[[int, int], None]


def restore(store: Store, path: Path, progress: Progress | None = None) -> About:
    """Fills an empty store from a backup, checked first. Raises UsageError where the store holds jobs, StoreError as check_backup."""
    with store.engine.connect() as connection:
        if connection.execute(select(JOBS.c.id).limit(1)).first() is not None:
            raise UsageError("restore only into an empty store: name a new one with --store")
    check_backup(path)
    with open_backup(path) as backup:
        fill(store, backup, progress)
        return backup.about


def fill(store: Store, backup: BackupFile, progress: Progress | None = None) -> None:
    """As restore, without its checks. What the store's own tombstones name stays out."""
    with store.engine.connect() as connection:
        gone = tombstones(connection)
    for number, content_hash in enumerate(backup.contents, start=1):
        if ("content", content_hash) not in gone.names:
            store.contents.put_packed(backup.content(content_hash), content_hash)
        if progress:
            progress(number, len(backup.contents))
    with store.engine.begin() as connection:
        forgotten: set[object] = set()
        for table in backup.about.tables:
            for batch in batches(_left(backup.rows(table), table, gone, forgotten)):
                connection.execute(insert(table), batch)
        if backup.about.format < FORMAT:
            name_what_lines_are_about(connection)
        if backup.about.format < WITH_UUIDS:
            for job_id in connection.execute(select(JOBS.c.id)).scalars().all():
                refresh(connection, job_id)
        numbers_go_on(connection)


def _left(
    rows: Iterable[dict[str, object]], table: StoreTable, gone: Tombstones, jobs: set[object]
) -> Iterator[dict[str, object]]:
    """Rows that were not forgotten. `jobs`: ids of jobs left out, which are added to."""
    for row in rows:
        if gone.hold(table, row) or (row.get("job_id") is not None and row["job_id"] in jobs):
            if table is JOBS:
                jobs.add(row["id"])
            continue
        yield row


def numbers_go_on(connection: Connection) -> None:
    """The next job and start get the number after the highest: PostgreSQL counts by itself and must be told."""
    for table in (t for t in TABLES if connection.dialect.name == "postgresql" and "id" in t.c):
        highest = connection.execute(select(func.max(table.c.id))).scalar()
        if highest:
            connection.execute(select(func.setval(func.pg_get_serial_sequence(table.name, "id"), highest)))


def batches(rows: Iterable[dict[str, object]]) -> Iterator[list[dict[str, object]]]:
    """A few rows at a time."""
    left = iter(rows)
    while batch := list(islice(left, AT_ONCE)):
        yield batch
