"""Is the record whole: every row, every job it names, every recording against its hash, every search text. Nothing is changed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from sqlalchemy import Connection, select

from firstcrank.errors import StoreError
from firstcrank.jobs.access import recordings_folder, seen_by_all
from firstcrank.jobs.contents import SUFFIX
from firstcrank.jobs.outbox import waiting
from firstcrank.jobs.schema import JOBS
from firstcrank.jobs.search_index import text_of
from firstcrank.jobs.snapshot import TABLES, hashes, rows_of, snapshot
from firstcrank.jobs.store import Store
from firstcrank.jobs.tombstones import tombstones

Progress = Callable[[int, int], None]
MOST_LINES = 20  # of one kind


@dataclass(slots=True)
class Found:
    """`trouble`: lines about what is lost or wrong; `notes`: what should be known; `rows` read by table; `contents` whole."""

    trouble: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    rows: dict[str, int] = field(default_factory=dict)
    contents: int = 0


def check(store: Store, progress: Progress | None = None) -> Found:
    """Reads all of it as it is at one moment. Raises nothing: a table that can't be read is a line."""
    found = Found()
    try:
        with snapshot(store) as connection:
            found.trouble += _database(connection)
            _rows(connection, found)
            found.trouble += islice(_search(connection), MOST_LINES)
            _contents(store, hashes(connection), found, progress)
    except StoreError as error:
        found.trouble.append(str(error))
    file = store.place.file
    if file is not None:
        if seen_by_all(file):
            found.notes.append("any user of this computer can read it: firstcrank jobs access --owner-only")
        found.notes += _unnamed(store, file)
    found.trouble += _forgotten(store)
    entries, lines = waiting(store.name)
    found.trouble += lines
    if entries:
        found.notes.append(f"{len(entries)} starts wait for it in this computer's outbox: firstcrank jobs outbox")
    return found


def _database(connection: Connection) -> Iterator[str]:
    if connection.dialect.name != "sqlite":
        return
    for (line,) in connection.exec_driver_sql(f"PRAGMA integrity_check({MOST_LINES})"):
        if line != "ok":
            yield f"the database file: {str(line).splitlines()[0]}"
    for table, row, parent, _ in connection.exec_driver_sql("PRAGMA foreign_key_check").fetchmany(MOST_LINES):
        yield f"row {row} of {table} belongs to a row of {parent} that is not there"


def _rows(connection: Connection, found: Found) -> None:
    for table in TABLES:
        count = 0
        try:
            for _ in rows_of(connection, table):
                count += 1
        except StoreError as error:
            found.trouble.append(f"{table.name}: after {count} rows: {error}")
        found.rows[table.name] = count


def _search(connection: Connection) -> Iterator[str]:
    query = select(JOBS.c.id, JOBS.c.number, JOBS.c.search_text).order_by(JOBS.c.id)
    for job_id, number, kept in connection.execute(query).all():
        if text_of(connection, job_id) != kept:
            yield f"job {number} is not found by all of its words: firstcrank jobs change {number} with any field mends it"


def _contents(store: Store, wanted: list[str], found: Found, progress: Progress | None) -> None:
    for number, content_hash in enumerate(wanted, start=1):
        state = store.contents.state(content_hash)
        if state == "whole":
            found.contents += 1
        else:
            found.trouble.append(f"the recording or photo {content_hash[:12]} is {state}")
        if progress:
            progress(number, len(wanted))


def _forgotten(store: Store) -> Iterator[str]:
    """Recordings that were deleted for privacy and whose files are still there: deleting them was cut off."""
    folder = recordings_folder(store.place.file) if store.place.file is not None else None
    if folder is None or not folder.is_dir():
        return
    try:
        with store.engine.connect() as connection:
            gone = {name for kind, name in tombstones(connection).names if kind == "content"} - set(hashes(connection))
    except StoreError:
        return
    count = sum(path.name.removesuffix(SUFFIX) in gone for path in folder.glob("??/*"))
    if count:
        yield f"{count} recordings or photos that were deleted for privacy are still there: firstcrank jobs forget --sweep"


def _unnamed(store: Store, file: Path) -> Iterator[str]:
    """Recordings that no row names: a start whose filing was cut off, or one that salvage can bring back."""
    folder = recordings_folder(file)
    if not folder.is_dir():
        return
    try:
        with store.engine.connect() as connection:
            named = set(hashes(connection))
    except StoreError:
        return
    lonely = [path for path in folder.rglob("*") if path.is_file() and path.name.removesuffix(SUFFIX) not in named]
    if lonely:
        yield f"{len(lonely)} files in {folder} belong to no start: their filing was cut off, and nothing that was told as filed is in them"
