"""The list of jobs as one query of standard SQL, for SQLite and PostgreSQL alike, and what its rows mean.

It is text, where the rest of the record uses SQLAlchemy, because that takes longer to load than a list takes to read
(quick_list.py). `?` stands for a value, INSTR for the database's search for bytes, which its rules of comparing letters don't touch.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple, cast

from firstcrank.jobs.folding import ways_of
from firstcrank.jobs.rows import JobRow
from firstcrank.jobs.states import UNCOUNTED
from firstcrank.jobs.times import day_range
from firstcrank.printable import storable

COLUMNS = ", ".join(f"jobs.{name}" for name in JobRow.__annotations__)
COUNTED = f"state NOT IN ({', '.join(repr(str(state)) for state in UNCOUNTED)})"
OF_JOB = f"FROM starts WHERE starts.job_id = jobs.id AND {COUNTED}"
NEWEST_FIRST = "ORDER BY id DESC"


class Query(NamedTuple):
    """Of standard SQL, with the values of its question marks."""

    sql: str
    values: tuple[object, ...]


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


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which jobs: with each word of `text`, or part of it, anywhere (search_index.py); archived ones too; at most so many.

    `verdict`: only those with a start whose overall verdict it is. `first_day`, `last_day`: only those made, or with a start
    recorded, from that day to that day (YYYY-MM-DD, YYYY-MM or YYYY, local).
    """

    text: str = ""
    archived: bool = False
    most: int = 50
    verdict: str = ""
    first_day: str = ""
    last_day: str = ""


def list_query(wanted: Wanted) -> Query:
    """Jobs, the newest first, each with its count of starts and its last one. Raises UsageError for a day that is none."""
    conditions = [*_searched(wanted.text), *_between(wanted.first_day, wanted.last_day)]
    if not wanted.archived:
        conditions.append(Query("NOT archived", ()))
    if wanted.verdict:
        real = f"SELECT job_id FROM starts WHERE verdict = ? AND NOT synthetic AND {COUNTED}"
        conditions.append(Query(f"id IN ({real})", (wanted.verdict,)))
    where, values = _where(conditions)
    return Query(
        f"""
        SELECT listed.*, starts.verdict, starts.feed_verdict, starts.synthetic FROM (
            SELECT {COLUMNS}, (SELECT count(*) {OF_JOB}) AS start_count,
                coalesce((SELECT max(id) {OF_JOB} AND NOT synthetic), (SELECT max(id) {OF_JOB})) AS last_start
            FROM jobs {where} {NEWEST_FIRST} LIMIT ?
        ) AS listed LEFT JOIN starts ON starts.id = listed.last_start ORDER BY listed.id DESC
        """,
        (*values, wanted.most),
    )


def jobs_query(text: str) -> Query:
    """Every job that has each word of `text`, archived ones too, the newest first; without a look at its starts."""
    where, values = _where(_searched(text))
    return Query(f"SELECT {COLUMNS} FROM jobs {where} {NEWEST_FIRST}", values)


def summaries(rows: Iterable[Mapping[str, object]]) -> list[JobSummary]:
    """What the rows of list_query say."""
    return [
        JobSummary(
            job_row(row),
            cast(int, row["start_count"]),
            cast(str, row["verdict"] or ""),
            cast("str | None", row["feed_verdict"]),
            bool(row["synthetic"]),
        )
        for row in rows
    ]


def job_row(row: Mapping[str, object]) -> JobRow:
    """The job of a row. SQLite keeps 0 or 1 for what is true or false."""
    values = {name: row[name] for name in JobRow.__annotations__}
    return cast(JobRow, values | {"archived": bool(values["archived"])})


def _where(conditions: Iterable[Query]) -> Query:
    conditions = tuple(conditions)
    sql = " AND ".join(f"({condition.sql})" for condition in conditions)
    return Query(f"WHERE {sql}" if sql else "", tuple(value for condition in conditions for value in condition.values))


def _searched(text: str) -> list[Query]:
    """One condition for each word; it is found in any of its ways. A word of marks alone asks for nothing."""
    ways = filter(None, (ways_of(word) for word in storable(text).split()))
    return [Query(" OR ".join("INSTR(search_text, ?) > 0" for _ in each), each) for each in ways]


def _between(first_day: str, last_day: str) -> list[Query]:
    begin, end = day_range(first_day, last_day)
    limits = [(sign, day) for sign, day in ((">=", begin), ("<", end)) if day]
    if not limits:
        return []
    made = " AND ".join(f"created_utc {sign} ?" for sign, _ in limits)
    recorded = " AND ".join(f"when_utc {sign} ?" for sign, _ in limits)
    days = tuple(day for _, day in limits)
    return [Query(f"({made}) OR id IN (SELECT job_id FROM starts WHERE {recorded})", days + days)]
