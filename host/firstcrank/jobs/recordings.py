"""A stored recording read back, checked against its hash."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from firstcrank.calibration import Calibration
from firstcrank.jobs.reading import Reading
from firstcrank.jobs.rows import StartRow
from firstcrank.jobs.store import Store
from firstcrank.recording import Recording


def recording_of(store: Store, start: StartRow) -> Recording:
    """The recording of a start, read as it was when it was filed. Raises StoreError where it is missing or altered."""
    return stored_recording(
        store, start["content_hash"], start["file_name"], start["calibration_json"], start.get("reading_json", "")
    )


def stored_recording(
    store: Store, content_hash: str, file_name: str, calibration_json: str = "", reading_json: str = ""
) -> Recording:
    """As recording_of, by the columns of the start."""
    content = store.contents.get(content_hash)
    calibration = Calibration.from_json(json.loads(calibration_json)) if calibration_json else None
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / ("start" + (Path(file_name).suffix or ".fcr"))
        path.write_bytes(content)
        return Reading.from_json(reading_json).load(path, calibration)
