"""What a recorder notes in a recording beside the board's frames (format 2), protected as the readings are.

A note's content is JSON text. It is cut into pieces that fit a frame; each piece carries the hash of the whole content, taken
over the recording's id, the note's kind and the text. So a copy serves only where it is whole and of this recording, pieces
of different copies fit together, and two contents under one kind are seen as the contradiction that they are.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from firstcrank import wire

FORMAT = 2
PROTECTED = ("identity", "calibration", "limits", "answers")  # every recording holds each of them, or has lost it
AFTERWARDS = "answers afterwards"  # what the person answered when the recording was over; only where something was asked
NOTE_LABELS = {
    AFTERWARDS: "the answers given afterwards",
    "identity": "the recording's identity",
    "host": "the recording's identity",
    "calibration": "the calibration",
    "limits": "the limits",
    "answers": "the answers",
    "end": "the closing words",
}
FIRST_FORMAT = ("host", "calibration", "limits", "answers")
PIECE_CHARS = 1800  # ASCII; quoted once more in the frame it is at most twice as long
HASH_CHARS = 32
MOST_CHARS = 1_000_000  # longest content that is put together, characters


def hash_of(recording_id: bytes, kind: str, text: str) -> str:
    """The first 32 hex digits of SHA-256 over recording id, kind, a zero byte and the content's text."""
    digest = hashlib.sha256(
        recording_id + kind.encode("utf-8", "surrogatepass") + b"\x00" + text.encode("utf-8", "surrogatepass")
    )
    return digest.hexdigest()[:HASH_CHARS]


def text_of(table: Mapping[str, object]) -> str:
    """A content as the text that is hashed: JSON in ASCII, keys sorted, no blanks."""
    return json.dumps(table, ensure_ascii=True, sort_keys=True, separators=(",", ":"))


def note_bodies(recording_id: bytes, kind: str, table: Mapping[str, object]) -> list[bytes]:
    """The bodies of the NOTE frames that hold one copy of a content, each within wire.MAX_BODY_BYTES."""
    text = text_of(table)
    pieces = [text[at : at + PIECE_CHARS] for at in range(0, len(text), PIECE_CHARS)]
    shared = {"note": kind, "format": FORMAT, "hash": hash_of(recording_id, kind, text), "pieces": len(pieces)}
    return [json.dumps({**shared, "piece": n, "text": piece}).encode("ascii") for n, piece in enumerate(pieces)]


def table_of(body: bytes) -> dict[str, object]:
    """The JSON table in a frame's body; empty where there is none, however it is damaged."""
    try:
        table = json.loads(body.decode("utf-8"))
    except (ValueError, RecursionError):
        return {}
    return table if isinstance(table, dict) else {}


@dataclass(frozen=True, slots=True)
class Notes:
    """What the notes of a recording say. `tables`: kind -> content, of those that can be trusted.

    `format` is 0 where there is no note at all. `integrity` and `lines` are what becomes of Trace.integrity and Trace.notes.
    """

    tables: Mapping[str, dict[str, object]] = field(default_factory=dict)
    format: int = 0
    integrity: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()

    def __contains__(self, kind: str) -> bool:
        return kind in self.tables

    def content(self, kind: str) -> dict[str, object]:
        """The content of a kind; empty where there is none."""
        return self.tables.get(kind, {})


class _Kind:
    """All that was found of one kind: pieces by hash."""

    def __init__(self) -> None:
        self.pieces: dict[str, dict[int, str]] = {}
        self.counts: dict[str, int] = {}

    def add(self, body: Mapping[str, object]) -> None:
        name, piece, count, text = (body.get(key) for key in ("hash", "piece", "pieces", "text"))
        if isinstance(name, str) and isinstance(text, str) and isinstance(piece, int) and isinstance(count, int):
            self.counts[name] = count
            self.pieces.setdefault(name, {})[piece] = text
        else:
            self.pieces.setdefault("", {})

    def content(self, recording_id: bytes, kind: str) -> tuple[dict[str, object] | None, bool]:
        """The content, None where no copy is whole; and whether anything contradicts it."""
        whole: list[dict[str, object]] = []
        for name, pieces in self.pieces.items():
            count = self.counts.get(name, 0)
            if not 0 < count <= len(pieces) or any(n not in pieces for n in range(count)):
                continue
            text = "".join(pieces[n] for n in range(count))
            if len(text) <= MOST_CHARS and hash_of(recording_id, kind, text) == name:
                whole.append(table_of(text.encode("utf-8", "surrogatepass")))
        contradicted = len(self.pieces) > 1 or (bool(self.pieces) and not whole and "" in self.pieces)
        return (whole[0] if len(whole) == 1 else None), contradicted


def read_notes(frames: Iterable[wire.Frame], recording_id: bytes, alone: bool) -> Notes:
    """The notes among NOTE `frames`. `alone`: the frames are a board's own, which has no recorder to make notes."""
    ours, foreign = [], 0
    for frame in frames:
        if frame.recording_id == recording_id:
            ours.append((frame.sequence, table_of(frame.body)))
        else:
            foreign += 1
    integrity = [f"{foreign} notes in this file belong to another recording: its limits and answers are not known"] * bool(
        foreign
    )
    if not ours:
        if not alone:
            integrity.append("the recorder's notes (limits, answers, calibration, identity) are lost")
        return Notes({}, 0, tuple(integrity), ())
    if any(table.get("format") == FORMAT for _, table in ours):
        return _second(ours, recording_id, integrity)
    return _first(ours, integrity)


def _second(ours: list[tuple[int, dict[str, object]]], recording_id: bytes, integrity: list[str]) -> Notes:
    kinds: dict[str, _Kind] = {}
    for _, table in ours:
        kinds.setdefault(str(table.get("note", "")), _Kind()).add(table)
    tables: dict[str, dict[str, object]] = {}
    for kind, found in kinds.items():
        content, contradicted = found.content(recording_id, kind)
        if contradicted and kind in (*PROTECTED, AFTERWARDS, "end", "host"):
            integrity.append(f"copies of {NOTE_LABELS[kind]} in this recording contradict each other")
        elif content is not None and kind != "host":
            tables[kind] = content
    integrity += [
        f"every copy of {NOTE_LABELS[kind]} is lost" for kind in PROTECTED if kind not in kinds or _lost(kind, tables, kinds)
    ]
    lines: list[str] = []
    end = tables.get("end", {})
    integrity += _against_the_end(end, tables, recording_id)
    written = end.get("notes_before")
    seen = {number for number, _ in ours}
    most = written if isinstance(written, int) else max(seen) + 1
    lost = sum(1 for n in range(min(most, 1_000_000)) if n not in seen)
    if lost:
        lines.append(f"{lost} of {most} of the recorder's notes are damaged; copies serve where there are any")
    return Notes(tables, FORMAT, tuple(integrity), tuple(lines))


def _lost(kind: str, tables: Mapping[str, object], kinds: Mapping[str, _Kind]) -> bool:
    """No whole copy, and not told as a contradiction already."""
    return kind not in tables and len(kinds[kind].pieces) <= 1 and "" not in kinds[kind].pieces


def _against_the_end(end: Mapping[str, object], tables: Mapping[str, Mapping[str, object]], recording_id: bytes) -> list[str]:
    """The closing note names the hash of each content; what is in the file must be that."""
    hashes = end.get("hashes")
    if not isinstance(hashes, dict):
        return []
    lost = [f"every copy of {NOTE_LABELS[AFTERWARDS]} is lost"] if AFTERWARDS in hashes and AFTERWARDS not in tables else []
    return lost + [
        f"the closing note of this recording names another content of {NOTE_LABELS[kind]}"
        for kind in (*PROTECTED, AFTERWARDS)
        if kind in tables and hashes.get(kind) != hash_of(recording_id, kind, text_of(tables[kind]))
    ]


def _first(ours: list[tuple[int, dict[str, object]]], integrity: list[str]) -> Notes:
    """Format 1: plain tables, of which calibration, limits and answers stand at the begin and again at the end."""
    by_kind: dict[str, list[dict[str, object]]] = {}
    for _, table in ours:
        by_kind.setdefault(str(table.get("note", "")), []).append(table)
    for kind in FIRST_FORMAT:
        if kind not in by_kind:
            integrity.append(f"the recorder's note of {NOTE_LABELS[kind]} is lost")
        elif any(other != by_kind[kind][0] for other in by_kind[kind]):
            integrity.append(f"copies of {NOTE_LABELS[kind]} in this recording contradict each other")
    lines = ["recorded in an older format, in which limits and answers are not protected against damage"]
    numbers = {number for number, _ in ours}
    if len(numbers) <= max(numbers):
        lines.append("some of what the recorder noted (calibration, limits, answers) is damaged")
    tables = {kind: copies[-1] for kind, copies in by_kind.items()}
    if "host" in tables:
        tables["identity"] = tables["host"]
    return Notes(tables, 1, tuple(integrity), tuple(lines))
