"""The proof of a backup: it is restored into a scratch store, and every row and content that comes back is compared."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Iterator
from itertools import zip_longest
from pathlib import Path
from typing import TypeAlias

from sqlalchemy import Connection

from firstcrank.errors import StoreError
from firstcrank.jobs.backup_file import About, BackupFile, check_backup, open_backup
from firstcrank.jobs.packing import unpack
from firstcrank.jobs.restore import fill
from firstcrank.jobs.snapshot import TABLES, rows_of, snapshot
from firstcrank.jobs.store import open_store

Row: TypeAlias = dict[str, object]


def prove(path: Path, source: Connection | None = None) -> About:
    """Restores a backup into a scratch store beside it and compares: with the snapshot it was made of, else with its own rows.

    What it says of itself comes back. Raises StoreError naming the first row or content that is not the same.
    """
    check_backup(path)
    with tempfile.TemporaryDirectory(dir=path.resolve().parent, prefix=".check-") as folder, open_backup(path) as backup:
        with open_store(str(Path(folder) / "scratch.sqlite"), scratch=True) as scratch:
            fill(scratch, backup)
            with snapshot(scratch) as restored:
                for table in TABLES:
                    wanted = rows_of(source, table) if source is not None else _filled(backup, restored, table.name)
                    _same(path, table.name, wanted, rows_of(restored, table))
            for content_hash in backup.contents:
                unpack(scratch.contents.get_packed(content_hash), content_hash)
        return backup.about


def _filled(backup: BackupFile, restored: Connection, name: str) -> Iterator[Row | None]:
    """A backup's own rows; a column that it is too old for counts as what the restored row holds."""
    table = next(t for t in TABLES if t.name == name)
    rows = backup.rows(table) if table in backup.about.tables else iter(())
    for row, got in zip_longest(rows, rows_of(restored, table)):
        yield None if row is None else {**(got or {}), **row}


def _same(path: Path, name: str, wanted: Iterable[Row | None], got: Iterable[Row]) -> None:
    for number, (before, after) in enumerate(zip_longest(wanted, got), start=1):
        if before != after:
            raise StoreError(f"{path}: row {number} of {name} does not come back as it was: do not rely on this backup")
