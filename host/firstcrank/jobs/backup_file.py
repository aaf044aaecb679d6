"""A backup as a file: a ZIP with every table as JSON lines and every content by hash, read a little at a time and checked whole."""

from __future__ import annotations

import contextlib
import json
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from firstcrank.errors import StoreError
from firstcrank.jobs.contents import SUFFIX
from firstcrank.jobs.filing import of_this_version
from firstcrank.jobs.identity import FIXED, uuid_of_old_row
from firstcrank.jobs.migrations.versions.v0003_feed_verdict import feed_verdict_kept
from firstcrank.jobs.packing import PLAIN, ZLIB, Packed, unpack
from firstcrank.jobs.schema import STARTS, StoreTable
from firstcrank.jobs.snapshot import TABLES
from firstcrank.jobs.times import when_utc

FORMAT = 4
READABLE = (1, 2, 3, 4)  # 1: before the feed's verdict had a column; 2: before rows had UUIDs; 3: before crank voltage had one
WITH_UUIDS = 3  # from here on also search texts, and what a backup lacks is named in it
FREE_BYTES = 64_000_000  # unpacked, whatever the archive's size
MOST_RATIO = 100  # rows repeat their limits and shrink to a thirtieth, recordings to a third
CONTENTS = "contents/"


@dataclass(frozen=True, slots=True)
class About:
    """What a backup says of itself: `rows` by table, how many contents, which ones its store lacked when it was made."""

    format: int
    made_utc: str
    rows: dict[str, int]
    contents: int
    lacking: tuple[str, ...] = ()
    firstcrank: str = ""

    @property
    def tables(self) -> tuple[StoreTable, ...]:
        """The tables in it: all but those that are younger than it."""
        return tuple(table for table in TABLES if table.name in self.rows)


class BackupFile:
    """An open backup. `about` is read and its format known; nothing else is checked yet."""

    def __init__(self, archive: zipfile.ZipFile, path: Path) -> None:
        self._archive, self.path = archive, path
        self.about = _about(archive, path)
        self.contents = {
            name.removeprefix(CONTENTS).removesuffix(SUFFIX): name for name in archive.namelist() if name.startswith(CONTENTS)
        }

    def rows(self, table: StoreTable) -> Iterator[dict[str, object]]:
        """Each row with what has been added to its table since."""
        with self._archive.open(f"{table.name}.jsonl") as file:
            for line in file:
                yield of_today(table, json.loads(line))

    def content(self, content_hash: str) -> Packed:
        """A content as it is packed, unchecked. Raises KeyError."""
        name = self.contents[content_hash]
        return Packed(self._archive.read(name), ZLIB if name.endswith(SUFFIX) else PLAIN)


@contextlib.contextmanager
def open_backup(path: Path) -> Iterator[BackupFile]:
    """A backup to read. Raises StoreError for a file that is none, that is damaged or that a newer firstcrank made."""
    try:
        with zipfile.ZipFile(path) as archive:
            _check_sizes(path, archive)
            yield BackupFile(archive, path)
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


def check_backup(path: Path) -> About:
    """What a backup says of itself, after every row was counted and its job looked for, and every content held against its hash.

    Raises StoreError naming the first thing that is wrong.
    """
    with open_backup(path) as backup:
        about = backup.about
        jobs: set[object] = set()
        named: set[str] = set()
        for table in about.tables:
            count = 0
            for row in backup.rows(table):
                count += 1
                if table.name == "jobs":
                    jobs.add(row["id"])
                elif row.get("job_id") is not None and row["job_id"] not in jobs:
                    raise StoreError(
                        f"{path} is damaged: a row of {table.name} belongs to job {row['job_id']}, which is not in it"
                    )
                if "content_hash" in row:
                    named.add(str(row["content_hash"]))
            if count != about.rows[table.name]:
                raise StoreError(f"{path} is damaged: {table.name} has {count} rows of {about.rows[table.name]}")
        for content_hash in backup.contents:
            try:
                unpack(backup.content(content_hash), content_hash)
            except StoreError as error:
                raise StoreError(f"{path} is damaged: {CONTENTS}{content_hash} no longer fits its hash") from error
        lost = named - backup.contents.keys() - set(about.lacking)
        if about.contents != len(backup.contents) or (lost and about.format >= WITH_UUIDS):
            raise StoreError(f"{path} is damaged: recordings are missing")
        return about


def write_about(file: IO[bytes], about: About) -> None:
    """The last entry of a backup."""
    values = {name: getattr(about, name) for name in About.__slots__}
    file.write(json.dumps(values).encode("utf-8"))


def _about(archive: zipfile.ZipFile, path: Path) -> About:
    table = json.loads(archive.read("about.json"))
    if table.get("format") not in READABLE:
        raise StoreError(f"{path} was made by a newer firstcrank: update this one")
    rows = {str(name): int(count) for name, count in table["rows"].items()}
    return About(
        int(table["format"]),
        str(table["made_utc"]),
        rows,
        int(table["contents"]),
        tuple(map(str, table.get("lacking", ()))),
        str(table["firstcrank"]),
    )


def of_today(table: StoreTable, row: dict[str, object]) -> dict[str, object]:
    """A row of an older backup with what has been added since."""
    if table is STARTS and "feed_verdict" not in row:
        row = {**row, "feed_verdict": feed_verdict_kept(str(row.get("judgement_json", "")))}
    if table is STARTS and "when_utc" not in row:
        row = {**row, "when_utc": when_utc(str(row["recorded_utc"]), str(row["filed_utc"]))}
    if table.name in FIXED and "uuid" not in row:
        row = {**row, "uuid": uuid_of_old_row(table.name, row)}
    if table is STARTS:
        row = of_this_version(row)
    return row


def _check_sizes(path: Path, archive: zipfile.ZipFile) -> None:
    """Refuses an archive that unpacks to far more than our recordings and rows can: a few bytes that would fill the disk."""
    unpacked = sum(entry.file_size for entry in archive.infolist())
    if unpacked > FREE_BYTES + MOST_RATIO * path.stat().st_size:
        raise StoreError(
            f"{path} is no backup of ours: {path.stat().st_size / 1e6:.1f} MB that would unpack to {unpacked / 1e6:.0f} MB"
        )
