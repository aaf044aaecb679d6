"""The whole store as it was at one moment, written into one file while others go on filing."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

from sqlalchemy import Connection

from firstcrank import __version__
from firstcrank.errors import StoreError
from firstcrank.jobs.backup_file import CONTENTS, FORMAT, About, write_about
from firstcrank.jobs.contents import SUFFIX
from firstcrank.jobs.packing import PLAIN, ZLIB, pack, unpack
from firstcrank.jobs.proof import prove
from firstcrank.jobs.schema import StoreTable
from firstcrank.jobs.snapshot import TABLES, hashes, rows_of, snapshot
from firstcrank.jobs.store import Store
from firstcrank.jobs.times import now_utc
from firstcrank.whole_file import PRIVATE, whole_file

Progress = Callable[[int, int], None]


@dataclass(slots=True)
class Made:
    """What went into a backup: rows by table, how many contents, a line for each one that the store itself lacks."""

    rows: dict[str, int] = field(default_factory=dict)
    contents: int = 0
    trouble: list[str] = field(default_factory=list)
    lacking: list[str] = field(default_factory=list)


def back_up(store: Store, target: Path, progress: Progress | None = None, check: bool = False) -> Made:
    """Writes one file of the store as it is now. It is there whole or not at all; writers are not kept waiting.

    Every content is held against its hash and every row against its job. `check`: the file is restored into a scratch store
    and compared with this one, row for row and content for content, before it gets its name. Raises UsageError where the target
    is there already, UnwritableFileError where it cannot be written, StoreError where the store is damaged.
    """
    made = Made()
    with whole_file(target, mode=PRIVATE) as file, snapshot(store) as connection:
        _write(store, connection, file, made, progress)
        file.flush()
        if check:
            prove(Path(file.name), connection)
    return made


def _write(store: Store, connection: Connection, file: BinaryIO, made: Made, progress: Progress | None) -> None:
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        jobs: set[object] = set()
        for table in TABLES:
            made.rows[table.name] = _write_table(connection, archive, table, jobs)
        wanted = hashes(connection)
        for number, content_hash in enumerate(wanted, start=1):
            _write_content(store, connection, archive, content_hash, made)
            if progress:
                progress(number, len(wanted))
        with archive.open("about.json", "w") as entry:
            write_about(entry, About(FORMAT, now_utc(), made.rows, made.contents, tuple(made.lacking), __version__))
    with zipfile.ZipFile(file) as archive:
        damaged = archive.testzip()
    if damaged is not None:
        raise StoreError(f"{damaged} was not written as it was read: check the disk")


def _write_table(connection: Connection, archive: zipfile.ZipFile, table: StoreTable, jobs: set[object]) -> int:
    count = 0
    with archive.open(f"{table.name}.jsonl", "w", force_zip64=True) as file:
        for row in rows_of(connection, table):
            if table.name == "jobs":
                jobs.add(row["id"])
            elif row.get("job_id") is not None and row["job_id"] not in jobs:
                raise StoreError(
                    f"the store is damaged: row {row['id']} of {table.name} belongs to a job that is not there (firstcrank jobs check)"
                )
            file.write(json.dumps(row, ensure_ascii=False).encode("utf-8") + b"\n")
            count += 1
    return count


def _write_content(store: Store, connection: Connection, archive: zipfile.ZipFile, content_hash: str, made: Made) -> None:
    """As it is packed in the store; what an earlier version filed unpacked is packed now."""
    try:
        packed = store.contents.get_packed(content_hash, connection)
        content = unpack(packed, content_hash)
    except StoreError as error:
        made.trouble.append(str(error))
        made.lacking.append(content_hash)
        return
    if packed.codec == PLAIN:
        packed = pack(content)
    name = f"{CONTENTS}{content_hash}{SUFFIX if packed.codec == ZLIB else ''}"
    archive.writestr(name, packed.data, zipfile.ZIP_STORED)
    made.contents += 1
