"""Facts for a report: from a file, or from a start in the record store."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from firstcrank.analysis.as_json import from_table
from firstcrank.analysis.findings import Judgement
from firstcrank.calibration import Calibration
from firstcrank.jobs.contents import hash_of
from firstcrank.jobs.records import find_start, job_file
from firstcrank.jobs.schema import JOBS
from firstcrank.jobs.store import Store
from firstcrank.limits import Limits, shipped
from firstcrank.recording import Recording
from firstcrank.report.facts import Facts
from firstcrank.report.settings import shop
from firstcrank.tracefiles.table import load


def from_file(path: Path, judgement: Judgement, recording: Recording, limits: Limits | None = None) -> Facts:
    """A report of a file that is in no store."""
    owner = shop()
    return Facts(
        recording,
        judgement,
        limits or recording.limits or shipped(12),
        hash_of(path.read_bytes()),
        shop_name=owner.name,
        shop_logo=owner.logo,
    )


def stored_recording(store: Store, content_hash: str, file_name: str, calibration_json: str = "") -> Recording:
    """The recording of a start, checked against its hash. Raises StoreError where it is missing or altered."""
    content = store.contents.get(content_hash)
    calibration = Calibration.from_json(json.loads(calibration_json)) if calibration_json else None
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / ("start" + (Path(file_name).suffix or ".fcr"))
        path.write_bytes(content)
        return load(path, calibration)


def from_store(store: Store, name: str) -> Facts:
    """A report of start `ID`, with the verdict and limits as they were filed."""
    from sqlalchemy import select

    start, _ = find_start(store, name)
    with store.engine.connect() as connection:
        number = connection.execute(select(JOBS.c.number).where(JOBS.c.id == start["job_id"])).scalar_one()
    whole = job_file(store, number)
    owner = shop()
    return Facts(
        stored_recording(store, start["content_hash"], start["file_name"], start["calibration_json"]),
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
