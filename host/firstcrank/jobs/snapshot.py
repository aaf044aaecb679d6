"""The whole store as it was at one moment, however long reading it takes and whoever writes meanwhile."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from sqlalchemy import Connection, select

from firstcrank.jobs.patience import patient
from firstcrank.jobs.schema import ANONYMOUS_STARTS, AUDIT, FORGOTTEN, JOBS, MEASUREMENTS, NOTES, PHOTOS, STARTS, StoreTable
from firstcrank.jobs.store import Store

TABLES = (
    JOBS,
    STARTS,
    NOTES,
    MEASUREMENTS,
    PHOTOS,
    AUDIT,
    FORGOTTEN,
    ANONYMOUS_STARTS,
)  # what refers to a table stands behind it
AT_ONCE = 100  # rows held in memory: a start has about 15 kB


@contextlib.contextmanager
def snapshot(store: Store) -> Iterator[Connection]:
    """A connection whose every query sees the same moment: REPEATABLE READ in PostgreSQL, one read transaction in SQLite."""
    with store.engine.connect() as connection:
        if store.engine.dialect.name == "postgresql":
            connection = connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
        else:
            connection.exec_driver_sql("BEGIN")
        with patient(connection):
            connection.execute(select(JOBS.c.id).limit(1))  # from this first query on
            try:
                yield connection
            finally:
                connection.rollback()


def rows_of(connection: Connection, table: StoreTable) -> Iterator[dict[str, object]]:
    """Every row in the order of its key, a few at a time."""
    streamed = connection.execution_options(yield_per=AT_ONCE)
    for row in streamed.execute(select(table).order_by(*table.primary_key)).mappings():
        yield dict(row)


def hashes(connection: Connection) -> list[str]:
    """Of every content that a row names."""
    both = select(STARTS.c.content_hash).union(select(PHOTOS.c.content_hash))
    return sorted(str(found) for found in connection.execute(both).scalars())
