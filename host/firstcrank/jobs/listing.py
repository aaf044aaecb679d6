"""Jobs in a list, the newest first: all, or those that a search finds. The same in every database."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from firstcrank.jobs.list_query import JobSummary, Query, Wanted, job_row, jobs_query, list_query, summaries
from firstcrank.jobs.rows import JobRow
from firstcrank.jobs.store import Store

ALL = Wanted()


def list_jobs(store: Store, wanted: Wanted = ALL) -> list[JobSummary]:
    """Those wanted. Raises UsageError for a day that is none."""
    return summaries(_rows(store, list_query(wanted)))


def every_job(store: Store, text: str) -> list[JobRow]:
    """Every job that has each word of `text`, archived ones too, the newest first; without a look at its starts."""
    return [job_row(row) for row in _rows(store, jobs_query(text))]


def _rows(store: Store, query: Query) -> Sequence[Mapping[str, object]]:
    sql = query.sql
    if store.engine.dialect.name == "postgresql":
        sql = sql.replace("?", "%s").replace("INSTR(", "strpos(")
    with store.engine.connect() as connection:
        return [
            {str(name): value for name, value in row.items()}
            for row in connection.exec_driver_sql(sql, query.values).mappings()
        ]
