"""The list of jobs from a SQLite file without loading SQLAlchemy, which takes ten times as long as the rest.

For the usual case alone: a file that is there, up to date and free, on this computer's disk. Anything else is left to open_store,
which migrates, waits, reads what can only be read, and says in one line what is wrong.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing

from firstcrank.jobs.list_query import JobSummary, Wanted, list_query, summaries
from firstcrank.jobs.network_share import warning
from firstcrank.jobs.revision import head_revision
from firstcrank.jobs.typed_place import default_place, file_of
from firstcrank.log import logger

LOG = logger(__name__)


def quick_list(place: str | None, wanted: Wanted) -> list[JobSummary] | None:
    """As listing.list_jobs; None where the store needs open_store. Raises UsageError for a day that is none."""
    query = list_query(wanted)
    file = file_of(place or default_place())
    if file is None or not file.is_file() or warning(file):
        return None
    try:
        with closing(sqlite3.connect(f"{file.as_uri()}?mode=rw", uri=True, timeout=0)) as connection:
            connection.execute("PRAGMA query_only = ON")
            if connection.execute("SELECT version_num FROM alembic_version").fetchall() != [(head_revision(),)]:
                return None
            connection.row_factory = sqlite3.Row
            found = [dict(row) for row in connection.execute(query.sql, query.values)]
    except sqlite3.Error as error:
        LOG.info("record store %s is not read the quick way: %s", file, error)
        return None
    LOG.info("record store read: %s", file)
    return summaries(found)
