"""What was filed put right: fields and number of a job, a note, the state and the job of a start. Each change leaves an audit line."""

from __future__ import annotations

from sqlalchemy import select, update
from sqlalchemy.exc import IntegrityError

from firstcrank.errors import UsageError
from firstcrank.jobs.audit import write_line
from firstcrank.jobs.records import JOB_FIELDS, checked_fields, checked_number, find_job, find_start
from firstcrank.jobs.schema import JOBS, NOTES, PHOTOS, STARTS, StoreTable
from firstcrank.jobs.search_index import refresh
from firstcrank.jobs.states import StartState
from firstcrank.jobs.store import Store
from firstcrank.printable import storable

EMPTY = "(empty)"


def change_job(
    store: Store, number: str, who: str = "", new_number: str | None = None, **fields: str | None
) -> tuple[str, ...]:
    """Sets fields of a job, or its number; the lines written. Raises UsageError: unknown job or field, number taken."""
    unknown = fields.keys() - set(JOB_FIELDS)
    if unknown:
        raise UsageError(f"a job has no field {', '.join(sorted(unknown))}")
    job = find_job(store, number)
    before = {name: str(value) for name, value in job.items()}
    values = checked_fields({name: value for name, value in fields.items() if value is not None})
    if new_number is not None:
        values["number"] = checked_number(new_number)
    changed = {name: value for name, value in values.items() if value != before[name]}
    lines = tuple(f"{name}: {before[name] or EMPTY} -> {value or EMPTY}" for name, value in changed.items())
    if not changed:
        return ()
    try:
        with store.engine.begin() as connection:
            connection.execute(update(JOBS).where(JOBS.c.id == job["id"]).values(**changed))
            for line in lines:
                write_line(connection, "job changed", line, job["id"], who=who, about=job["uuid"])
            refresh(connection, job["id"])
    except IntegrityError as error:
        raise UsageError(
            f"there is a job {values.get('number')} already: firstcrank jobs show {values.get('number')}"
        ) from error
    return lines


def archive_job(store: Store, number: str, archived: bool = True, who: str = "") -> None:
    """Puts a job out of sight, or back. Raises UsageError for an unknown job."""
    job = find_job(store, number)
    with store.engine.begin() as connection:
        connection.execute(update(JOBS).where(JOBS.c.id == job["id"]).values(archived=archived))
        write_line(
            connection, "archived" if archived else "out of archive", job["number"], job["id"], who=who, about=job["uuid"]
        )


def correct_note(store: Store, note: int, text: str, who: str = "") -> None:
    """Another text for a note; the one before stands in the audit line. Raises UsageError."""
    if not text.strip():
        raise UsageError("an empty note")
    job_id, before, uuid = _of_job(store, NOTES, note, "note", "text")
    with store.engine.begin() as connection:
        connection.execute(update(NOTES).where(NOTES.c.id == note).values(text=storable(text)))
        write_line(connection, "note corrected", f"note {note} was: {before}", job_id, who=who, about=uuid)
        refresh(connection, job_id)


def show_customer(store: Store, kind: str, row: int, shown: bool, who: str = "") -> None:
    """Whether a `kind` "note" or "photo" stands on the customer's page. Raises UsageError."""
    table, column = {"note": (NOTES, "text"), "photo": (PHOTOS, "name")}[kind]
    job_id, _, uuid = _of_job(store, table, row, kind, column)
    with store.engine.begin() as connection:
        connection.execute(update(table).where(table.c.id == row).values(for_customer=shown))
        write_line(connection, "for customer" if shown else "not for customer", f"{kind} {row}", job_id, who=who, about=uuid)


def set_state(store: Store, name: str, state: StartState, reason: str = "", who: str = "") -> None:
    """Marks a start; `reason` goes into the audit line. Raises UsageError for an unknown start."""
    start, _ = find_start(store, name)
    with store.engine.begin() as connection:
        connection.execute(update(STARTS).where(STARTS.c.id == start["id"]).values(state=str(state)))
        text = f"start {start['id']}: {start['state'] or EMPTY} -> {state or EMPTY}"
        line = f"{text} ({reason.strip()})" if reason.strip() else text
        write_line(connection, "start marked", line, start["job_id"], start["id"], who, start["uuid"])
        refresh(connection, start["job_id"])


def move_start(store: Store, name: str, to_number: str, who: str = "") -> None:
    """Files a start with another job; an audit line in both says so. Raises UsageError."""
    start, _ = find_start(store, name)
    target = find_job(store, to_number)
    with store.engine.begin() as connection:
        source = connection.execute(select(JOBS.c.number).where(JOBS.c.id == start["job_id"])).scalar_one()
        connection.execute(update(STARTS).where(STARTS.c.id == start["id"]).values(job_id=target["id"]))
        text = f"start {start['id']} moved from job {source} to job {target['number']}"
        for job_id in sorted({start["job_id"], target["id"]}):  # in one order, so that two bays never wait for each other
            write_line(connection, "start moved", text, job_id, start["id"], who, start["uuid"])
            refresh(connection, job_id)


def _of_job(store: Store, table: StoreTable, row: int, kind: str, column: str) -> tuple[int, str, str]:
    """Job, text and UUID of a row. Raises UsageError where there is none."""
    query = select(table.c.job_id, table.c[column], table.c.uuid).where(table.c.id == row)
    with store.engine.connect() as connection:
        found = connection.execute(query).first()
    if found is None:
        raise UsageError(f"there is no {kind} {row}: firstcrank jobs show JOB lists them with their numbers")
    return int(str(found[0])), str(found[1]), str(found[2])
