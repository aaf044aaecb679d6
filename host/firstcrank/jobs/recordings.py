"""A stored recording read back, checked against its hash."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path

from firstcrank.calibration import Calibration
from firstcrank.jobs.store import Store
from firstcrank.recording import Recording
from firstcrank.tracefiles.table import load


def stored_recording(store: Store, content_hash: str, file_name: str, calibration_json: str = "") -> Recording:
    """The recording of a start, checked against its hash. Raises StoreError where it is missing or altered."""
    content = store.contents.get(content_hash)
    calibration = Calibration.from_json(json.loads(calibration_json)) if calibration_json else None
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / ("start" + (Path(file_name).suffix or ".fcr"))
        path.write_bytes(content)
        return load(path, calibration)
