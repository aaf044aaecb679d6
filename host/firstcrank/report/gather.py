"""Facts for a report: from a file, or from a start in the record store."""

from __future__ import annotations

import json
from pathlib import Path

from firstcrank.analysis.as_json import from_table
from firstcrank.jobs.contents import hash_of
from firstcrank.jobs.recordings import recording_of
from firstcrank.jobs.records import find_start, job_detail
from firstcrank.jobs.schema import JOBS
from firstcrank.jobs.store import Store
from firstcrank.limits import Limits, shipped
from firstcrank.model.judgement import Judgement
from firstcrank.recording import Recording
from firstcrank.report.inputs import ReportInputs
from firstcrank.report.settings import shop


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


def from_store(store: Store, name: str) -> ReportInputs:
    """A report of start `ID`, with the verdict and limits as they were filed."""
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
    )
