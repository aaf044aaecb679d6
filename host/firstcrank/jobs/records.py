"""Jobs and what belongs to them: create, find, show, note, attach, move, archive. Nothing is deleted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import cast

from sqlalchemy import ColumnElement, and_, func, insert, or_, select, update
from sqlalchemy.exc import IntegrityError

from firstcrank.errors import UsageError
from firstcrank.jobs.rows import JobRow, MeasurementRow, NoteRow, PhotoRow, StartRow
from firstcrank.jobs.schema import JOBS, MEASUREMENTS, NOTES, PHOTOS, STARTS
from firstcrank.jobs.store import Store
from firstcrank.printable import storable

MOST_DIGITS = 18
JOB_FIELDS = ("vehicle", "vin", "odometer", "engine", "technician")


@dataclass(frozen=True, slots=True)
class JobLine:
    """A job in a list: its row, how many starts it has, the last one's overall verdict and its key feed's (None: not kept).

    A simulated start never counts as a vehicle's: the last verdict is that of a real one; `simulated` where the job has none but those.
    """

    job: JobRow
    start_count: int
    last_verdict: str
    last_feed_verdict: str | None = None
    simulated: bool = False


@dataclass(frozen=True, slots=True)
class JobFile:
    """Everything of one job, rows in time order."""

    job: JobRow
    starts: tuple[StartRow, ...]
    notes: tuple[NoteRow, ...]
    measurements: tuple[MeasurementRow, ...]
    photos: tuple[PhotoRow, ...]


def now_utc() -> str:
    """ISO 8601, seconds, UTC."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def create_job(store: Store, number: str, **fields: str) -> int:
    """Id of the new job. Raises UsageError where the number is empty or taken."""
    number = storable(number.strip())
    if not number or len(number) > 200:
        raise UsageError("a job number has 1 to 200 characters")
    values = {name: storable(fields.get(name, "")) for name in JOB_FIELDS}
    try:
        with store.engine.begin() as connection:
            made = connection.execute(insert(JOBS).values(number=number, created_utc=now_utc(), archived=False, **values))
            return int(made.inserted_primary_key[0])  # type: ignore[index]
    except IntegrityError as error:
        raise UsageError(f"there is a job {number} already: firstcrank jobs show {number}") from error


def change_job(store: Store, number: str, **fields: str | bool | None) -> None:
    """Sets fields of a job, also `archived`. Raises UsageError for an unknown job."""
    job = find_job(store, number)
    known = {
        name: storable(value) if isinstance(value, str) else value
        for name, value in fields.items()
        if name in (*JOB_FIELDS, "archived") and value is not None
    }
    if known:
        with store.engine.begin() as connection:
            connection.execute(update(JOBS).where(JOBS.c.id == job["id"]).values(**known))


def find_job(store: Store, number: str) -> JobRow:
    """The job of that number. Raises UsageError naming the nearest numbers where there is none."""
    number = storable(number.strip())
    with store.engine.connect() as connection:
        row = connection.execute(select(JOBS).where(JOBS.c.number == number)).mappings().first()
        if row is not None:
            return cast(JobRow, dict(row))
        near = connection.execute(select(JOBS.c.number).where(JOBS.c.number.contains(number, autoescape=True)).limit(5))
        names = [str(name) for name in near.scalars()]
    hint = f"; do you mean {', '.join(names)}?" if names else ""
    raise UsageError(f"there is no job {number}{hint} (firstcrank jobs new {number} makes it)")


def list_jobs(store: Store, text: str = "", archived: bool = False, most: int = 50, verdict: str = "") -> list[JobLine]:
    """Jobs, the newest first; with `text` those with it in any field, note, measurement, cause, board or overall verdict.

    `verdict`: only jobs with a start whose overall verdict it is.
    """
    of_job = select(func.max(STARTS.c.id)).where(STARTS.c.job_id == JOBS.c.id)
    last = func.coalesce(of_job.where(STARTS.c.synthetic.is_(False)).scalar_subquery(), of_job.scalar_subquery())
    count = select(func.count()).where(STARTS.c.job_id == JOBS.c.id).scalar_subquery()
    query = select(JOBS, count.label("start_count"), last.label("last_start")).order_by(JOBS.c.id.desc()).limit(most)
    if not archived:
        query = query.where(JOBS.c.archived.is_(False))
    if verdict:
        query = query.where(
            JOBS.c.id.in_(select(STARTS.c.job_id).where(STARTS.c.verdict == verdict, STARTS.c.synthetic.is_(False)))
        )
    for word in storable(text).split():
        query = query.where(_anywhere(word))
    with store.engine.connect() as connection:
        rows = [dict(row) for row in connection.execute(query).mappings()]
        ids = [row["last_start"] for row in rows if row["last_start"] is not None]
        verdicts: dict[int, tuple[str, str | None, bool]] = {}
        if ids:
            columns = (STARTS.c.id, STARTS.c.verdict, STARTS.c.feed_verdict, STARTS.c.synthetic)
            found = connection.execute(select(*columns).where(STARTS.c.id.in_(ids)))
            verdicts = {int(start): (str(overall), feed, bool(made_up)) for start, overall, feed, made_up in found}
    return [
        JobLine(cast(JobRow, row), int(row["start_count"]), *verdicts.get(row["last_start"], ("", None, False))) for row in rows
    ]


def _anywhere(word: str) -> ColumnElement[bool]:
    columns = [JOBS.c.number, *(JOBS.c[name] for name in JOB_FIELDS)]
    found = [column.icontains(word, autoescape=True) for column in columns]
    for table, names in ((NOTES, ("text",)), (MEASUREMENTS, ("what",)), (STARTS, ("cause", "board", "verdict"))):
        inside = or_(*(table.c[name].icontains(word, autoescape=True) for name in names))
        found.append(JOBS.c.id.in_(select(table.c.job_id).where(inside)))
    return or_(*found)


def job_file(store: Store, number: str) -> JobFile:
    """Everything of a job. Raises UsageError for an unknown one."""
    job = find_job(store, number)
    with store.engine.connect() as connection:
        parts = [
            tuple(dict(r) for r in connection.execute(select(t).where(t.c.job_id == job["id"]).order_by(t.c.id)).mappings())
            for t in (STARTS, NOTES, MEASUREMENTS, PHOTOS)
        ]
    return JobFile(
        job,
        cast("tuple[StartRow, ...]", parts[0]),
        cast("tuple[NoteRow, ...]", parts[1]),
        cast("tuple[MeasurementRow, ...]", parts[2]),
        cast("tuple[PhotoRow, ...]", parts[3]),
    )


def _is_number(text: str) -> bool:
    """Plain digits, no more than a database's number holds."""
    return text.isascii() and text.isdigit() and len(text) <= MOST_DIGITS


def find_start(store: Store, name: str) -> tuple[StartRow, int]:
    """A start by `ID` or `ID#2`, and which crank is meant (from 1). Raises UsageError."""
    number, _, crank = name.partition("#")
    if not _is_number(number) or (crank and not _is_number(crank)):
        raise UsageError(f"{name!r} is not a start: write its number, or 12#2 for its second crank")
    with store.engine.connect() as connection:
        row = connection.execute(select(STARTS).where(STARTS.c.id == int(number))).mappings().first()
    if row is None:
        raise UsageError(f"there is no start {number}: firstcrank jobs show JOB lists them")
    which = int(crank or 1)
    if which < 1 or (crank and which > max(int(row["crank_count"]), 1)):
        raise UsageError(f"start {number} has {row['crank_count']} crank(s)")
    return cast(StartRow, dict(row)), which


def add_note(store: Store, number: str, text: str, who: str = "") -> int:
    """Adds a note to a job; its id."""
    job = find_job(store, number)
    if not text.strip():
        raise UsageError("an empty note")
    with store.engine.begin() as connection:
        made = connection.execute(
            insert(NOTES).values(job_id=job["id"], written_utc=now_utc(), who=storable(who), text=storable(text))
        )
        return int(made.inserted_primary_key[0])  # type: ignore[index]


def add_measurement(store: Store, number: str, what: str, value: float, unit: str, meter: str = "") -> int:
    """Adds a hand measurement; its id."""
    job = find_job(store, number)
    if not math.isfinite(value):
        raise UsageError(f"{value} is no measured value: write a number")
    values = {"what": storable(what), "value": value, "unit": storable(unit), "meter": storable(meter)}
    with store.engine.begin() as connection:
        made = connection.execute(insert(MEASUREMENTS).values(job_id=job["id"], taken_utc=now_utc(), **values))
        return int(made.inserted_primary_key[0])  # type: ignore[index]


def add_photo(store: Store, number: str, name: str, content: bytes, caption: str = "") -> int:
    """Keeps a photo with a job; its id."""
    job = find_job(store, number)
    content_hash = store.contents.put(content)
    values = {"name": storable(name), "caption": storable(caption), "content_hash": content_hash}
    with store.engine.begin() as connection:
        made = connection.execute(insert(PHOTOS).values(job_id=job["id"], added_utc=now_utc(), **values))
        return int(made.inserted_primary_key[0])  # type: ignore[index]


def move_start(store: Store, name: str, to_number: str) -> None:
    """Files a start with another job; a note in both says so."""
    start, _ = find_start(store, name)
    target = find_job(store, to_number)
    with store.engine.begin() as connection:
        source = connection.execute(select(JOBS.c.number).where(JOBS.c.id == start["job_id"])).scalar_one()
        connection.execute(update(STARTS).where(and_(STARTS.c.id == start["id"])).values(job_id=target["id"]))
        text = f"start {start['id']} moved from job {source} to job {target['number']}"
        for job_id in {start["job_id"], target["id"]}:
            connection.execute(insert(NOTES).values(job_id=job_id, written_utc=now_utc(), who="", text=text))
