"""Edits of a recording's frames for tests: notes taken out, altered, written as format 1, moved between recordings."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from typing import Any

from firstcrank import wire
from firstcrank.tracefiles.notes import read_notes


def frames_of(data: bytes) -> list[wire.Frame]:
    return list(wire.Deframer().feed(data))


def joined(frames: Iterable[wire.Frame]) -> bytes:
    return b"".join(wire.encode_frame(f.kind, f.recording_id, f.sequence, f.body) for f in frames)


def note_of(frame: wire.Frame) -> str:
    """The kind of a NOTE frame, "" for any other frame."""
    return str(json.loads(frame.body).get("note", "")) if frame.kind == wire.NOTE else ""


def without(data: bytes, *kinds: str, keep: Callable[[int, int], bool] = lambda at, count: False) -> bytes:
    """The recording less its notes of `kinds`; `keep(n, of_how_many)` says which of them stay."""
    frames = frames_of(data)
    hit = [i for i, f in enumerate(frames) if note_of(f) in kinds]
    gone = {i for n, i in enumerate(hit) if not keep(n, len(hit))}
    return joined(f for i, f in enumerate(frames) if i not in gone)


def as_format_1(data: bytes, **changed: Any) -> bytes:
    """The recording as format 1 wrote it: notes as plain tables, at the begin and again at the end; `changed`: other contents."""
    frames = frames_of(data)
    number = next(f.recording_id for f in frames if f.kind == wire.NOTE)
    notes = read_notes([f for f in frames if f.kind == wire.NOTE], number, alone=False)
    chosen = [(kind, changed.get(kind, notes.content(kind))) for kind in ("calibration", "limits", "answers")]
    host = {key: value for key, value in notes.content("identity").items() if key != "kind"}
    end = {key: value for key, value in notes.content("end").items() if key in ("why", "utc")}
    tables = [("host", host), *chosen, *chosen, ("end", end)]
    made = [
        wire.Frame(wire.NOTE, number, n, json.dumps({"note": kind, **table}, ensure_ascii=False).encode())
        for n, (kind, table) in enumerate(tables)
        if table or kind == "answers"
    ]
    return joined([*made[:4], *(f for f in frames if f.kind != wire.NOTE), *made[4:]])
