"""Files a recording with a job: the content first, then one row; so power lost at any moment leaves all of it or nothing."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

from sqlalchemy import Connection, insert, select
from sqlalchemy.exc import IntegrityError

from firstcrank import __version__
from firstcrank.analysis.as_json import to_table
from firstcrank.analysis.verdict import judge
from firstcrank.calibration import Calibration
from firstcrank.errors import UnreadableTraceError, UsageError
from firstcrank.jobs.identity import new_uuid
from firstcrank.jobs.kept_values import crank_v_kept, system_v_kept
from firstcrank.jobs.packing import hash_of
from firstcrank.jobs.reading import Reading, with_answers
from firstcrank.jobs.records import find_job
from firstcrank.jobs.schema import FORGOTTEN, JOBS, STARTS
from firstcrank.jobs.search_index import refresh
from firstcrank.jobs.store import Store
from firstcrank.jobs.times import now_utc, when_utc
from firstcrank.jobs.vehicle import Known
from firstcrank.limits import Limits, shipped
from firstcrank.model.judgement import Judgement
from firstcrank.model.vocabulary import CheckId, Phase
from firstcrank.printable import storable
from firstcrank.recording import Recording


def attach(
    store: Store,
    job: str,
    path: Path,
    limits: Limits | None = None,
    reading: Reading | None = None,
    calibration: Calibration | None = None,
    known: Known | None = None,
) -> int:
    """Judges a file and files it with a job: the content first, then one row.

    Args:
        store: An open store.
        job: The job's number.
        path: The trace file, in any format that load reads.
        limits: Over those in the file; with neither, the shipped ones for 12 V.
        reading: How the file is read, and answers over those in it.
        calibration: Over the one in the file.
        known: What the record knows of the vehicle, used where the file is of another logger and nothing else says it.

    Returns:
        The start's id in the store.

    Raises:
        UnreadableTraceError: The file cannot be read as a trace.
        UsageError: There is no such job, the recording was deleted for privacy, or the calibration does not fit.
        StoreError: The store cannot keep it.
    """
    reading = reading or Reading()
    recording = reading.load(path, calibration)
    if known is not None and recording.limits is None:
        reading = replace(reading, answers={**known.answers, **reading.answers})
        recording = reading.load(path, calibration)
        limits = limits or (shipped(known.system_v) if known.system_v else None)
    used = limits or recording.limits or shipped(12)
    return add_start(store, job, path, recording, judge(recording.trace, used, recording.context), used, reading)


def add_start(
    store: Store,
    job: str,
    path: Path,
    recording: Recording,
    judgement: Judgement,
    limits: Limits,
    reading: Reading | None = None,
) -> int:
    """Keeps the content, then the row; the start's id."""
    row = find_job(store, job)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise UnreadableTraceError(f"{path}: {error.strerror or error}") from error
    return add_row(store, row["id"], content, start_row(path.name, recording, judgement, limits, reading))


def add_row(store: Store, job_id: int, content: bytes, values: dict[str, object]) -> int:
    """Files a start once and only once, however often it is sent: its UUID decides. Its id.

    Raises UsageError where it was forgotten for privacy, StoreError where it cannot be kept.
    """
    content_hash = hash_of(content)
    with store.engine.connect() as connection:
        there = _by_uuid(connection, str(values["uuid"]))
        _not_forgotten(connection, str(values["uuid"]), content_hash)
    if there is not None:
        return there
    store.contents.put(content)
    try:
        with store.engine.begin() as connection:
            row = {"filed_utc": now_utc(), **of_this_version(values)}
            row["when_utc"] = when_utc(str(row["recorded_utc"]), str(row["filed_utc"]))
            made = connection.execute(
                insert(STARTS).values(job_id=job_id, content_hash=content_hash, size_bytes=len(content), **row)
            )
            _not_forgotten(connection, str(values["uuid"]), content_hash)  # meanwhile
            refresh(connection, job_id)
            return int(made.inserted_primary_key[0])  # type: ignore[index]
    except IntegrityError:
        with store.engine.connect() as connection:
            there = _by_uuid(connection, str(values["uuid"]))
            job = connection.execute(select(JOBS.c.id).where(JOBS.c.id == job_id)).first()
        if there is None and job is None:
            raise UsageError("its job was deleted for privacy at this moment: it is not filed") from None
        if there is None:
            raise
        return there  # sent twice at the same moment


def of_this_version(row: dict[str, object]) -> dict[str, object]:
    """A start's row that was kept on a laptop, or backed up, by an earlier version, with the columns that are younger."""
    if "crank_v" in row:
        return row
    return {**row, "crank_v": crank_v_kept(str(row["judgement_json"])), "system_v": system_v_kept(str(row["limits_json"]))}


def _by_uuid(connection: Connection, uuid: str) -> int | None:
    return connection.execute(select(STARTS.c.id).where(STARTS.c.uuid == uuid)).scalar_one_or_none()


def _not_forgotten(connection: Connection, uuid: str, content_hash: str) -> None:
    gone = select(FORGOTTEN.c.at_utc).where(
        ((FORGOTTEN.c.kind == "start") & (FORGOTTEN.c.name == uuid))
        | ((FORGOTTEN.c.kind == "content") & (FORGOTTEN.c.name == content_hash))
    )
    when = connection.execute(gone.limit(1)).scalar()
    if when is not None:
        raise UsageError(f"this recording was deleted from the record for privacy on {str(when)[:10]}: it is not filed again")


def same_content(store: Store, path: Path) -> tuple[tuple[int, str], ...]:
    """(start, job number) of every start that holds the very bytes of a file, the oldest first."""
    try:
        content_hash = hash_of(path.read_bytes())
    except OSError as error:
        raise UnreadableTraceError(f"{path}: {error.strerror or error}") from error
    query = (
        select(STARTS.c.id, JOBS.c.number)
        .join(JOBS, JOBS.c.id == STARTS.c.job_id)
        .where(STARTS.c.content_hash == content_hash)
        .order_by(STARTS.c.id)
    )
    with store.engine.connect() as connection:
        return tuple((int(start), str(number)) for start, number in connection.execute(query))


def start_row(
    file_name: str, recording: Recording, judgement: Judgement, limits: Limits, reading: Reading | None = None
) -> dict[str, object]:
    """A start's columns but those that the store gives: job, numbers, time of filing. With a UUID of its own."""
    meta = recording.meta
    drops = [f.measured for f in judgement.findings if f.check is CheckId.FEED_DROP_STEADY and f.phase is Phase.CRANK]
    cranking = [f.measured for f in judgement.findings if f.check is CheckId.BATTERY_CRANK]
    speeds = [c.speed_rpm for c in judgement.cranks if c.speed_rpm is not None]
    calibration = recording.calibration
    battery = calibration.channels.get("battery") if calibration else None
    return {
        "uuid": new_uuid(),
        "file_name": storable(file_name),
        "recorded_utc": str(meta.get("recorded_utc") or ""),
        "verdict": str(judgement.verdict),
        "feed_verdict": str(judgement.feed.verdict),
        "reason": judgement.reasons[0] if judgement.reasons else "",
        "cause": judgement.likely_causes[0].cause if judgement.likely_causes else "",
        "crank_count": len(judgement.cranks),
        "feed_drop_v": max((d for d in drops if d is not None), default=None),
        "speed_rpm": speeds[0] if speeds else None,
        "crank_v": cranking[0] if cranking else None,
        "system_v": limits.system_v,
        "battery_gain": battery.gain_v_per_code if battery else None,
        "board": str(meta.get("board") or ""),
        "firmware": str(meta.get("firmware") or ""),
        "host_version": str(meta.get("host_version") or __version__),
        "limits_json": json.dumps(limits.to_json(), ensure_ascii=False),
        "calibration_json": json.dumps(calibration.to_json(), ensure_ascii=False) if calibration else "",
        "judgement_json": json.dumps(to_table(judgement), ensure_ascii=False),
        "synthetic": bool(meta.get("synthetic")),
        "reading_json": with_answers(reading or Reading(), recording.context).to_json(),
    }
