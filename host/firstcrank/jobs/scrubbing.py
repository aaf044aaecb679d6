"""What was deleted leaves the database's files too: free pages and the write-ahead log of SQLite; dead rows of PostgreSQL.

SQLite: VACUUM writes the file anew from its live rows (SQLite documentation, "VACUUM"), and a checkpoint that truncates empties the log.
PostgreSQL: VACUUM makes the room of dead rows usable again and does not overwrite it; VACUUM FULL writes each table anew and keeps all
others out of it meanwhile (PostgreSQL documentation, "VACUUM", "Routine Vacuuming"). Its log, replicas and backups are not touched.
"""

from __future__ import annotations

from sqlalchemy.exc import SQLAlchemyError

from firstcrank.errors import StoreError
from firstcrank.jobs.patience import patient
from firstcrank.jobs.schema import CONTENTS
from firstcrank.jobs.snapshot import TABLES
from firstcrank.jobs.store import BUSY_MS, Store

AGAIN = "firstcrank jobs forget --sweep does it later"
OF_STATISTICS = "pg_statistic"  # samples of values, which ANALYZE keeps


def scrub(store: Store, rewrite: bool = False, busy_ms: int = BUSY_MS) -> tuple[bool, list[str]]:
    """Whether all that can be done is done, and lines about the rest. `rewrite`: PostgreSQL writes its tables anew, and others wait.
    `busy_ms`: how long SQLite waits for other programs.

    Raises nothing: what was deleted is deleted.
    """
    try:
        if store.engine.dialect.name == "sqlite":
            return _sqlite(store, busy_ms)
        return _postgresql(store, rewrite)
    except (StoreError, SQLAlchemyError) as error:
        text = str(error).splitlines()[0]
        return False, [f"the text is deleted from the record, but may still stand in its free pages ({text}): {AGAIN}"]


def _sqlite(store: Store, busy_ms: int) -> tuple[bool, list[str]]:
    with store.engine.connect() as connection:
        connection = connection.execution_options(isolation_level="AUTOCOMMIT")
        connection.exec_driver_sql(f"PRAGMA busy_timeout = {busy_ms}")
        connection.exec_driver_sql("VACUUM")
        if connection.exec_driver_sql("SELECT 1 FROM sqlite_master WHERE name = 'sqlite_stat4'").first():
            connection.exec_driver_sql("ANALYZE")  # samples of values, where this SQLite keeps them
            connection.exec_driver_sql("VACUUM")
        busy, _, _ = connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").one()
    if busy:
        return False, [f"another program is reading the store: the text may still stand in its -wal file. {AGAIN}"]
    return True, []


def _postgresql(store: Store, rewrite: bool) -> tuple[bool, list[str]]:
    full = "FULL, " if rewrite else ""
    with store.engine.connect() as connection:
        connection = connection.execution_options(isolation_level="AUTOCOMMIT")
        with patient(connection):
            connection.exec_driver_sql("SET statement_timeout = 0")
            for table in (*TABLES, CONTENTS):
                connection.exec_driver_sql(f"VACUUM ({full}ANALYZE) {table.name}")
            connection.exec_driver_sql(f"VACUUM {'FULL ' if rewrite else ''}{OF_STATISTICS}")
            connection.exec_driver_sql("RESET statement_timeout")
    log = "its write-ahead log, replicas and backups still hold it until they are recycled: ask who runs the server"
    if rewrite:
        return True, [f"PostgreSQL has written its tables anew; {log}"]
    return True, [f"PostgreSQL overwrites the text only when it needs the room (jobs forget --sweep --rewrite: at once); {log}"]
