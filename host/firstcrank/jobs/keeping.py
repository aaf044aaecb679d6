"""A start that was just recorded: kept on this computer first, then filed; where the store is away it waits there and goes up later."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

from firstcrank.errors import FirstcrankError, StoreAwayError, StoreError, UnreadableTraceError, UnwritableFileError
from firstcrank.jobs.filing import add_row, start_row
from firstcrank.jobs.outbox import keep
from firstcrank.jobs.place import place_of
from firstcrank.jobs.sending import Sent, job_for, send
from firstcrank.jobs.store import open_store
from firstcrank.jobs.times import now_utc
from firstcrank.jobs.typed_place import default_place
from firstcrank.limits import shipped
from firstcrank.model.judgement import Judgement
from firstcrank.tracefiles.table import load


@dataclass(frozen=True, slots=True)
class Kept:
    """`start`: its number where it is filed. Else `why` the store is away, and it waits in the outbox. `sent`: what went up with it."""

    start: int | None = None
    why: str = ""
    sent: Sent = field(default_factory=Sent)


def file_or_keep(path: Path, judgement: Judgement, job: str, place: str | None = None) -> Kept:
    """Files a recording that was just judged, or keeps it on this computer until its store is back.

    Raises UnreadableTraceError; StoreError only where it can be kept neither here nor there.
    """
    recording = load(path)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise UnreadableTraceError(f"{path}: {error.strerror or error}") from error
    row = start_row(path.name, recording, judgement, recording.limits or shipped(12))
    try:
        keep(place_of(place or default_place()).shown, job, content, row)
    except (StoreError, UnwritableFileError) as error:  # no room here: straight into the store, or not at all
        return Kept(_straight(content, row, job, place, path, error))
    try:
        with open_store(place, create=False) as store:
            sent = send(store)
            if store.read_only:
                return Kept(None, store.notes[-1], sent)
    except StoreError as error:
        return Kept(None, str(error))
    mine = next((filed for filed in sent.filed if filed.uuid == row["uuid"]), None)
    others = replace(sent, filed=tuple(filed for filed in sent.filed if filed is not mine))
    return Kept(mine.start if mine else None, "" if mine else "; ".join(sent.trouble), others)


def _straight(content: bytes, row: dict[str, object], job: str, place: str | None, path: Path, error: FirstcrankError) -> int:
    try:
        with open_store(place, create=False) as store:
            return add_row(store, job_for(store, job, now_utc())[0]["id"], content, row)
    except StoreAwayError as away:
        raise StoreError(f"{away}. Nor can it wait here: {error}. Later: firstcrank jobs attach {job} {path}") from away
