"""Files a recording with a job: the content first, then one row; so power lost at any moment leaves all of it or nothing."""

from __future__ import annotations

import json
from pathlib import Path

from sqlalchemy import insert

from firstcrank import __version__
from firstcrank.analysis.as_json import to_table
from firstcrank.analysis.verdict import judge
from firstcrank.errors import UnreadableTraceError
from firstcrank.jobs.records import find_job, now_utc
from firstcrank.jobs.schema import STARTS
from firstcrank.jobs.store import Store, open_store
from firstcrank.limits import Limits, shipped
from firstcrank.model.judgement import Judgement
from firstcrank.model.vocabulary import CheckId, Phase
from firstcrank.printable import storable
from firstcrank.recording import Recording
from firstcrank.tracefiles.table import load


def check_job(job: str, place: str | None = None) -> None:
    """Raises StoreError where the record store can't be reached, UsageError where it has no such job."""
    with open_store(place) as store:
        find_job(store, job)


def file_recording(path: Path, judgement: Judgement, job: str, place: str | None = None) -> int:
    """Files a recording that was just judged; the start's id. Raises StoreError, UsageError for an unknown job."""
    with open_store(place) as store:
        recording = load(path)
        return add_start(store, job, path, recording, judgement, recording.limits or shipped(12))


def attach(store: Store, job: str, path: Path, limits: Limits | None = None) -> int:
    """Judges a file and files it; the start's id."""
    recording = load(path)
    used = limits or recording.limits or shipped(12)
    return add_start(store, job, path, recording, judge(recording.trace, used, recording.context), used)


def add_start(store: Store, job: str, path: Path, recording: Recording, judgement: Judgement, limits: Limits) -> int:
    """Keeps the content, then the row."""
    row = find_job(store, job)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise UnreadableTraceError(f"{path}: {error.strerror or error}") from error
    content_hash = store.contents.put(content)
    values = _values(recording, judgement, limits)
    with store.engine.begin() as connection:
        made = connection.execute(
            insert(STARTS).values(
                job_id=row["id"],
                filed_utc=now_utc(),
                content_hash=content_hash,
                size_bytes=len(content),
                file_name=storable(path.name),
                **values,
            )
        )
        return int(made.inserted_primary_key[0])  # type: ignore[index]


def _values(recording: Recording, judgement: Judgement, limits: Limits) -> dict[str, object]:
    meta = recording.meta
    drops = [f.measured for f in judgement.findings if f.check is CheckId.FEED_DROP_STEADY and f.phase is Phase.CRANK]
    speeds = [c.speed_rpm for c in judgement.cranks if c.speed_rpm is not None]
    calibration = recording.calibration
    battery = calibration.channels.get("battery") if calibration else None
    return {
        "recorded_utc": str(meta.get("recorded_utc") or ""),
        "verdict": str(judgement.verdict),
        "feed_verdict": str(judgement.feed.verdict),
        "reason": judgement.reasons[0] if judgement.reasons else "",
        "cause": judgement.likely_causes[0].cause if judgement.likely_causes else "",
        "crank_count": len(judgement.cranks),
        "feed_drop_v": max((d for d in drops if d is not None), default=None),
        "speed_rpm": speeds[0] if speeds else None,
        "battery_gain": battery.gain_v_per_code if battery else None,
        "board": str(meta.get("board") or ""),
        "firmware": str(meta.get("firmware") or ""),
        "host_version": str(meta.get("host_version") or __version__),
        "limits_json": json.dumps(limits.to_json(), ensure_ascii=False),
        "calibration_json": json.dumps(calibration.to_json(), ensure_ascii=False) if calibration else "",
        "judgement_json": json.dumps(to_table(judgement), ensure_ascii=False),
        "synthetic": bool(meta.get("synthetic")),
    }
