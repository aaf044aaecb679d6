"""Jobs in a list, the newest first: all, or those that a search finds. The same in every database."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar, cast

from sqlalchemy import ColumnElement, Select, func, or_, select

from firstcrank.jobs.folding import ways_of
from firstcrank.jobs.rows import JobRow
from firstcrank.jobs.schema import JOBS, STARTS
from firstcrank.jobs.states import UNCOUNTED
from firstcrank.jobs.store import Store
from firstcrank.jobs.times import day_range
from firstcrank.printable import storable

Query = TypeVar("Query", bound=Select[*tuple[object, ...]])
COUNTED = STARTS.c.state.not_in([str(state) for state in UNCOUNTED])


@dataclass(frozen=True, slots=True)
class JobSummary:
    """A job in a list: its row, how many starts it has, the last one's overall verdict and its key feed's (None: not kept).

    A simulated start never counts as a vehicle's: the last verdict is that of a real one; `simulated` where the job has none but
    those. Starts withdrawn or marked not valid are left out.
    """

    job: JobRow
    start_count: int
    last_verdict: str
    last_feed_verdict: str | None = None
    simulated: bool = False


def list_jobs(
    store: Store,
    text: str = "",
    archived: bool = False,
    most: int = 50,
    verdict: str = "",
    first_day: str = "",
    last_day: str = "",
) -> list[JobSummary]:
    """Jobs, the newest first; with `text` those that have each of its words, or part of a word, anywhere (search_index.py).

    `verdict`: only jobs with a start whose overall verdict it is. `first_day`, `last_day`: only jobs made, or with a start
    recorded, from that day to that day (YYYY-MM-DD, YYYY-MM or YYYY, local). Raises UsageError for a day that is none.
    """
    of_job = select(func.max(STARTS.c.id)).where(STARTS.c.job_id == JOBS.c.id, COUNTED)
    last = func.coalesce(of_job.where(STARTS.c.synthetic.is_(False)).scalar_subquery(), of_job.scalar_subquery())
    count = select(func.count()).where(STARTS.c.job_id == JOBS.c.id, COUNTED).scalar_subquery()
    query = select(JOBS, count.label("start_count"), last.label("last_start")).order_by(JOBS.c.id.desc()).limit(most)
    if not archived:
        query = query.where(JOBS.c.archived.is_(False))
    if verdict:
        real = select(STARTS.c.job_id).where(STARTS.c.verdict == verdict, STARTS.c.synthetic.is_(False), COUNTED)
        query = query.where(JOBS.c.id.in_(real))
    query = _between(query, first_day, last_day)
    query = _searched(store, query, text)
    with store.engine.connect() as connection:
        rows = [dict(row) for row in connection.execute(query).mappings()]
        ids = [row["last_start"] for row in rows if row["last_start"] is not None]
        verdicts: dict[int, tuple[str, str | None, bool]] = {}
        if ids:
            columns = (STARTS.c.id, STARTS.c.verdict, STARTS.c.feed_verdict, STARTS.c.synthetic)
            found = connection.execute(select(*columns).where(STARTS.c.id.in_(ids)))
            verdicts = {int(start): (str(overall), feed, bool(made_up)) for start, overall, feed, made_up in found}
    return [
        JobSummary(cast(JobRow, row), int(row["start_count"]), *verdicts.get(row["last_start"], ("", None, False)))
        for row in rows
    ]


def every_job(store: Store, text: str) -> list[JobRow]:
    """Every job that has each word of `text`, archived ones too, the newest first; without a look at its starts."""
    query = _searched(store, select(JOBS).order_by(JOBS.c.id.desc()), text)
    with store.engine.connect() as connection:
        return [cast(JobRow, dict(row)) for row in connection.execute(query).mappings()]


def _searched(store: Store, query: Query, text: str) -> Query:
    for word in storable(text).split():
        query = query.where(or_(*(_holds(store, way) for way in ways_of(word))))
    return query


def _holds(store: Store, way: str) -> ColumnElement[bool]:
    """Whether a job's search text has it: a search for bytes, which no database's rules of comparing letters touch."""
    place = func.strpos if store.engine.dialect.name == "postgresql" else func.instr
    found: ColumnElement[bool] = place(JOBS.c.search_text, way) > 0
    return found


def _between(query: Select[*tuple[object, ...]], first_day: str, last_day: str) -> Select[*tuple[object, ...]]:
    begin, end = day_range(first_day, last_day)
    if not (begin or end):
        return query
    made, started = [], []
    if begin:
        made.append(JOBS.c.created_utc >= begin)
        started.append(STARTS.c.when_utc >= begin)
    if end:
        made.append(JOBS.c.created_utc < end)
        started.append(STARTS.c.when_utc < end)
    inside = JOBS.c.id.in_(select(STARTS.c.job_id).where(*started))
    both: ColumnElement[bool] = made[0] if len(made) == 1 else made[0] & made[1]
    return query.where(or_(both, inside))
