"""Inputs of a report: from a file, or from a start in the record store."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TypeAlias

from firstcrank.analysis.as_json import from_table
from firstcrank.jobs.packing import hash_of
from firstcrank.jobs.recordings import recording_of
from firstcrank.jobs.records import find_start, job_detail
from firstcrank.jobs.rows import StartRow
from firstcrank.jobs.schema import JOBS
from firstcrank.jobs.states import StartState
from firstcrank.jobs.store import Store
from firstcrank.limits import Limits, shipped
from firstcrank.model.judgement import Judgement
from firstcrank.recording import Recording
from firstcrank.report.inputs import ReportInputs
from firstcrank.report.settings import shop
from firstcrank.trace import Trace
from firstcrank.units import local_time

Earlier: TypeAlias = tuple[str, Trace, Judgement]


def from_file(path: Path, judgement: Judgement, recording: Recording, limits: Limits | None = None) -> ReportInputs:
    """A report of a file that is in no store."""
    owner = shop()
    return ReportInputs(
        recording,
        judgement,
        limits or recording.limits or shipped(12),
        hash_of(path.read_bytes()),
        shop_name=owner.name,
        shop_logo=owner.logo,
    )


def from_store(store: Store, name: str, before: str | None = None) -> ReportInputs:
    """A report of start `ID`, with the verdict and limits as they were filed.

    `before`: the start it is compared with; else, for a start marked after the repair, the job's last one marked before it.
    """
    from sqlalchemy import select

    start, _ = find_start(store, name)
    with store.engine.connect() as connection:
        number = connection.execute(select(JOBS.c.number).where(JOBS.c.id == start["job_id"])).scalar_one()
    whole = job_detail(store, number)
    owner = shop()
    return ReportInputs(
        recording_of(store, start),
        from_table(json.loads(start["judgement_json"])),
        Limits.from_json(json.loads(start["limits_json"])),
        start["content_hash"],
        job=whole.job,
        notes=whole.notes,
        measurements=whole.measurements,
        shop_name=owner.name,
        shop_logo=owner.logo,
        start_name=str(start["id"]),
        photos=tuple((store.contents.get(p["content_hash"]), p["caption"]) for p in whole.photos if p["for_customer"]),
        earlier=_earlier(store, start, whole.starts, before),
    )


def _earlier(store: Store, start: StartRow, starts: tuple[StartRow, ...], before: str | None) -> Earlier | None:
    if before is not None:
        chosen, _ = find_start(store, before)
    elif start["state"] == StartState.AFTER:
        marked = [s for s in starts if s["state"] == StartState.BEFORE and s["when_utc"] <= start["when_utc"]]
        if not marked:
            return None
        chosen = max(marked, key=lambda s: (s["when_utc"], s["id"]))
    else:
        return None
    judgement = from_table(json.loads(chosen["judgement_json"]))
    if not judgement.cranks:
        return None
    return f"start {chosen['id']}, {local_time(chosen['when_utc'])[:10]}", recording_of(store, chosen).trace, judgement
