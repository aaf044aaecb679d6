"""One file that holds a whole store, made and checked: a ZIP with every table as JSON lines and every content by hash."""

from __future__ import annotations

import json
import os
import zipfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import Table, func, insert, select

from firstcrank import __version__
from firstcrank.errors import StoreError, UsageError
from firstcrank.jobs.contents import hash_of
from firstcrank.jobs.identity import FIXED, uuid_of_old_row
from firstcrank.jobs.migrations.versions.v0003_feed_verdict import feed_verdict_kept
from firstcrank.jobs.schema import AUDIT, FORGOTTEN, JOBS, MEASUREMENTS, NOTES, PHOTOS, STARTS
from firstcrank.jobs.search_index import refresh
from firstcrank.jobs.store import Store
from firstcrank.jobs.times import now_utc, when_utc

TABLES = (JOBS, STARTS, NOTES, MEASUREMENTS, PHOTOS, AUDIT, FORGOTTEN)
FORMAT = 3
READABLE = (1, 2, 3)  # 1: before starts kept the feed's verdict in a column of its own; 2: before rows had UUIDs
FREE_BYTES = 64_000_000  # unpacked, whatever the archive's size
MOST_RATIO = 100  # rows repeat their limits and shrink to a thirtieth, recordings to a third
Progress = Callable[[int, int], None]


def _hashes(store: Store) -> list[str]:
    with store.engine.connect() as connection:
        found = {str(h) for table in (STARTS, PHOTOS) for h in connection.execute(select(table.c.content_hash)).scalars()}
    return sorted(found)


def back_up(store: Store, target: Path, progress: Progress | None = None) -> tuple[int, list[str]]:
    """Writes the backup beside its final name, checks it, then puts it in place.

    Returns how many contents are in it and lines about those that are missing or altered in the store. Raises UsageError where
    the target is there already, StoreError where it cannot be written.
    """
    if target.exists():
        raise UsageError(f"{target} is already there: choose another name")
    fresh = target.with_name(target.name + ".new")
    hashes, trouble, kept = _hashes(store), [], 0
    try:
        with zipfile.ZipFile(fresh, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
            counts = {table.name: _write_table(store, archive, table) for table in TABLES}
            for number, content_hash in enumerate(hashes, start=1):
                try:
                    archive.writestr(f"contents/{content_hash}", store.contents.get(content_hash))
                    kept += 1
                except StoreError as error:
                    trouble.append(str(error))
                if progress:
                    progress(number, len(hashes))
            about = {"format": FORMAT, "firstcrank": __version__, "made_utc": now_utc(), "rows": counts, "contents": kept}
            archive.writestr("about.json", json.dumps(about))
        check_backup(fresh)
        with fresh.open("rb") as file:
            os.fsync(file.fileno())
        fresh.replace(target)
    except OSError as error:
        raise StoreError(f"the backup {target} cannot be written: {error.strerror or error}") from error
    finally:
        fresh.unlink(missing_ok=True)
    return kept, trouble


def _write_table(store: Store, archive: zipfile.ZipFile, table: Table) -> int:
    count = 0
    with store.engine.connect() as connection, archive.open(f"{table.name}.jsonl", "w") as file:
        for row in connection.execute(select(table).order_by(*table.primary_key)).mappings():
            file.write(json.dumps(dict(row), ensure_ascii=False).encode("utf-8") + b"\n")
            count += 1
    return count


def check_backup(path: Path) -> dict[str, Any]:
    """What a backup says of itself, after every row was counted and every content hashed. Raises StoreError."""
    try:
        with zipfile.ZipFile(path) as archive:
            _check_sizes(path, archive)
            about = json.loads(archive.read("about.json"))
            if about.get("format") not in READABLE:
                raise StoreError(f"{path} was made by a newer firstcrank: update this one")
            for table in tables_of(about):
                rows = sum(1 for _ in _rows(archive, table.name))
                if rows != about["rows"][table.name]:
                    raise StoreError(f"{path} is damaged: {table.name} has {rows} rows of {about['rows'][table.name]}")
            names = [n for n in archive.namelist() if n.startswith("contents/")]
            for name in names:
                if hash_of(archive.read(name)) != name.removeprefix("contents/"):
                    raise StoreError(f"{path} is damaged: {name} no longer fits its hash")
            if len(names) != about["contents"]:
                raise StoreError(f"{path} is damaged: recordings are missing")
    except (
        zipfile.BadZipFile,
        KeyError,
        ValueError,
        OSError,
        EOFError,
        RecursionError,
        zlib.error,
        NotImplementedError,
    ) as error:
        raise StoreError(f"{path} is no backup, or damaged: {error}") from error
    return dict(about)


def _of_today(table: Table, row: dict[str, object]) -> dict[str, object]:
    """A row of an older backup with what has been added since."""
    if table is STARTS and "feed_verdict" not in row:
        row = {**row, "feed_verdict": feed_verdict_kept(str(row.get("judgement_json", "")))}
    if table is STARTS and "when_utc" not in row:
        row = {**row, "when_utc": when_utc(str(row["recorded_utc"]), str(row["filed_utc"]))}
    if table.name in FIXED and "uuid" not in row:
        row = {**row, "uuid": uuid_of_old_row(table.name, row)}
    return row


def tables_of(about: dict[str, Any]) -> tuple[Table, ...]:
    """The tables that a backup has: all but those that are younger than it."""
    return tuple(table for table in TABLES if table.name in about["rows"] or about["format"] == FORMAT)


def _check_sizes(path: Path, archive: zipfile.ZipFile) -> None:
    """Refuses an archive that unpacks to far more than our recordings and rows can: a few bytes that would fill the disk."""
    unpacked = sum(entry.file_size for entry in archive.infolist())
    if unpacked > FREE_BYTES + MOST_RATIO * path.stat().st_size:
        raise StoreError(
            f"{path} is no backup of ours: {path.stat().st_size / 1e6:.1f} MB that would unpack to {unpacked / 1e6:.0f} MB"
        )


def _rows(archive: zipfile.ZipFile, name: str) -> Iterator[dict[str, object]]:
    with archive.open(f"{name}.jsonl") as file:
        for line in file:
            yield json.loads(line)


def restore(store: Store, path: Path, progress: Progress | None = None) -> dict[str, Any]:
    """Fills an empty store from a checked backup. Raises UsageError where the store holds jobs, StoreError as above."""
    about = check_backup(path)
    with store.engine.connect() as connection:
        if connection.execute(select(func.count()).select_from(JOBS)).scalar():
            raise UsageError("restore only into an empty store: name a new one with --store")
    with zipfile.ZipFile(path) as archive:
        names = [n for n in archive.namelist() if n.startswith("contents/")]
        for number, name in enumerate(names, start=1):
            store.contents.put(archive.read(name))
            if progress:
                progress(number, len(names))
        with store.engine.begin() as connection:
            for table in tables_of(about):
                batch = [_of_today(table, row) for row in _rows(archive, table.name)]
                for first in range(0, len(batch), 500):
                    connection.execute(insert(table), batch[first : first + 500])
            if about["format"] < FORMAT:
                for job_id in connection.execute(select(JOBS.c.id)).scalars().all():
                    refresh(connection, job_id)
            if store.engine.dialect.name == "postgresql":
                for table in (t for t in TABLES if "id" in t.c):
                    highest = connection.execute(select(func.max(table.c.id))).scalar()
                    if highest:
                        connection.execute(select(func.setval(func.pg_get_serial_sequence(table.name, "id"), highest)))
    return about
