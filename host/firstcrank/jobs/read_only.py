"""A SQLite store that can't be written: on a snapshot, a read-only share, a full disk. What is filed in it is read all the same.

SQLite's write-ahead log needs to write beside the file even to read it. So the file is read as one that nobody changes, or,
where changes still wait in its log or its tables are of an earlier version, from a copy in the temporary folder.
"""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from pathlib import Path
from urllib.parse import quote

from sqlalchemy import URL, Engine, create_engine
from sqlalchemy.exc import DBAPIError

from firstcrank.jobs.migrating import migrate, stored_revision
from firstcrank.jobs.revision import head_revision

# SQLite's primary result codes READONLY, IOERR, FULL, CANTOPEN.
UNWRITABLE = (8, 10, 13, 14)


def can_only_be_read(error: BaseException, file: Path) -> bool:
    """Whether an error of opening says that the file is there and cannot be written."""
    cause = error.orig if isinstance(error, DBAPIError) else error
    code = getattr(cause, "sqlite_errorcode", None)
    return isinstance(cause, sqlite3.Error) and code is not None and code & 0xFF in UNWRITABLE and file.stat().st_size > 0


def read_only_engine(file: Path) -> tuple[Engine, tempfile.TemporaryDirectory[str] | None]:
    """An engine that refuses to write, and the folder of its copy, to be kept as long as the engine. Raises OSError, DBAPIError."""
    log = file.with_name(file.name + "-wal")
    engine = create_engine(reading_url(file, immutable=True))
    if not (log.exists() and log.stat().st_size) and stored_revision(engine) == head_revision():
        return engine, None
    engine.dispose()
    folder = tempfile.TemporaryDirectory(prefix="firstcrank-read-")
    try:
        copy = Path(folder.name) / file.name
        shutil.copyfile(file, copy)
        if log.exists():
            shutil.copyfile(log, copy.with_name(log.name))
        writing = create_engine(URL.create("sqlite", database=str(copy)))
        migrate(writing)
        writing.dispose()
    except BaseException:
        folder.cleanup()
        raise
    return create_engine(reading_url(copy, immutable=False)), folder


def reading_url(file: Path, immutable: bool) -> URL:
    """Of a SQLite file that is only read; `immutable`: nobody writes it meanwhile, and its log is not looked at."""
    query = {"mode": "ro", "uri": "true"} | ({"immutable": "1"} if immutable else {})
    return URL.create("sqlite", database=f"file:{quote(str(file))}", query=query)
