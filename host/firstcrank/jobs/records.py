"""Jobs and what belongs to them: make, find, show, add to. Nothing is deleted; corrections.py puts right what was filed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import cast

from sqlalchemy import insert, select
from sqlalchemy.exc import IntegrityError

from firstcrank.errors import UsageError
from firstcrank.jobs.rows import AuditRow, JobRow, MeasurementRow, NoteRow, PhotoRow, StartRow
from firstcrank.jobs.schema import AUDIT, JOBS, MEASUREMENTS, NOTES, PHOTOS, STARTS, StoreTable
from firstcrank.jobs.search_index import refresh
from firstcrank.jobs.store import Store
from firstcrank.jobs.times import now_utc
from firstcrank.printable import storable

MOST_DIGITS = 18
JOB_FIELDS = ("customer", "phone", "vehicle", "plate", "vin", "odometer", "engine", "technician", "order_number")


@dataclass(frozen=True, slots=True)
class JobDetail:
    """Everything of one job, rows in time order."""

    job: JobRow
    starts: tuple[StartRow, ...]
    notes: tuple[NoteRow, ...]
    measurements: tuple[MeasurementRow, ...]
    photos: tuple[PhotoRow, ...]
    audit: tuple[AuditRow, ...] = ()


def checked_fields(fields: Mapping[str, str]) -> dict[str, str]:
    """A job's fields as they are kept. Raises UsageError where one is longer than its column."""
    values = {name: storable(value) for name, value in fields.items()}
    for name, value in values.items():
        most = getattr(JOBS.c[name].type, "length", None)
        if most is not None and len(value) > most:
            raise UsageError(f"{name.replace('_', ' ')} has {len(value)} characters: at most {most}")
    return values


def checked_number(number: str) -> str:
    """A job number as it is kept. Raises UsageError where it is empty or too long."""
    number = storable(number.strip())
    if not number or len(number) > 200:
        raise UsageError("a job number has 1 to 200 characters")
    return number


def create_job(store: Store, number: str, **fields: str) -> int:
    """Id of the new job. Raises UsageError where the number is empty or taken."""
    number = checked_number(number)
    values = checked_fields({name: fields.get(name, "") for name in JOB_FIELDS})
    try:
        with store.engine.begin() as connection:
            made = connection.execute(insert(JOBS).values(number=number, created_utc=now_utc(), archived=False, **values))
            job_id = int(made.inserted_primary_key[0])  # type: ignore[index]
            refresh(connection, job_id)
            return job_id
    except IntegrityError as error:
        raise UsageError(f"there is a job {number} already: firstcrank jobs show {number}") from error


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


def job_detail(store: Store, number: str) -> JobDetail:
    """Everything of a job. Raises UsageError for an unknown one."""
    job = find_job(store, number)
    with store.engine.connect() as connection:
        parts = [
            tuple(dict(r) for r in connection.execute(select(t).where(t.c.job_id == job["id"]).order_by(t.c.id)).mappings())
            for t in (STARTS, NOTES, MEASUREMENTS, PHOTOS, AUDIT)
        ]
    return JobDetail(
        job,
        cast("tuple[StartRow, ...]", parts[0]),
        cast("tuple[NoteRow, ...]", parts[1]),
        cast("tuple[MeasurementRow, ...]", parts[2]),
        cast("tuple[PhotoRow, ...]", parts[3]),
        cast("tuple[AuditRow, ...]", parts[4]),
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
    return _add(store, NOTES, job["id"], written_utc=now_utc(), who=storable(who), text=storable(text))


def add_measurement(store: Store, number: str, what: str, value: float, unit: str, meter: str = "") -> int:
    """Adds a hand measurement; its id."""
    job = find_job(store, number)
    if not math.isfinite(value):
        raise UsageError(f"{value} is no measured value: write a number")
    values = {"what": storable(what), "value": value, "unit": storable(unit), "meter": storable(meter)}
    return _add(store, MEASUREMENTS, job["id"], taken_utc=now_utc(), **values)


def add_photo(store: Store, number: str, name: str, content: bytes, caption: str = "") -> int:
    """Keeps a photo with a job; its id."""
    job = find_job(store, number)
    content_hash = store.contents.put(content)
    values = {"name": storable(name), "caption": storable(caption), "content_hash": content_hash}
    return _add(store, PHOTOS, job["id"], added_utc=now_utc(), **values)


def _add(store: Store, table: StoreTable, job_id: int, **values: object) -> int:
    """One row of a job; its id."""
    with store.engine.begin() as connection:
        made = connection.execute(insert(table).values(job_id=job_id, **values))
        refresh(connection, job_id)
        return int(made.inserted_primary_key[0])  # type: ignore[index]
