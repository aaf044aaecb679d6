"""A stored recording read back, checked against its hash."""

from __future__ import annotations

from firstcrank.jobs.reading import read_again
from firstcrank.jobs.rows import StartRow
from firstcrank.jobs.store import Store
from firstcrank.recording import Recording


def recording_of(store: Store, start: StartRow) -> Recording:
    """The recording of a start, read as it was when it was filed. Raises StoreError where it is missing or altered."""
    content = store.contents.get(start["content_hash"])
    return read_again(content, start["file_name"], start["calibration_json"], start.get("reading_json", ""))
