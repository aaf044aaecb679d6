"""A recording's bytes, written from docs/wire_format.md and docs/trace_format.md alone; the product's writer is not used."""

from __future__ import annotations

import hashlib
import json
import struct
import zlib
from itertools import pairwise
from typing import Any

import numpy as np

from tests.strangers.board import CONVERSION_S, Codes
from tests.strangers.plan import Plan
from tests.strangers.printed import as_note

VERSION = ord("1")
BINS_A_FRAME = 40


def stuffed(data: bytes) -> bytes:
    """Consistent overhead byte stuffing (Cheshire and Baker 1999), without the delimiter.

    Every zero becomes the distance to the next one; where that is over 254, a byte 255 begins a stretch without a zero.
    """
    with_end = np.frombuffer(data + b"\x00", dtype=np.uint8)
    zeros = np.flatnonzero(with_end == 0)
    gaps = np.diff(zeros, prepend=-1)
    if gaps.max() <= 254:
        out = np.empty(len(data) + 1, dtype=np.uint8)
        out[1:] = with_end[:-1]
        out[np.concatenate(([0], zeros[:-1] + 1))] = gaps
        return out.tobytes()
    out_bytes = bytearray()
    pieces = data.split(b"\x00")
    last = len(pieces) - 1
    for k, piece in enumerate(pieces):
        while len(piece) >= 254:
            out_bytes.append(255)
            out_bytes += piece[:254]
            piece = piece[254:]
            if not piece and k == last:
                return bytes(out_bytes)
        out_bytes.append(len(piece) + 1)
        out_bytes += piece
    return bytes(out_bytes)


def frame(kind: str, recording_id: bytes, sequence: int, body: bytes) -> bytes:
    """A whole frame with its delimiter."""
    plain = struct.pack("<BB8sI", VERSION, ord(kind), recording_id, sequence) + body
    return stuffed(plain + struct.pack("<I", zlib.crc32(plain))) + b"\x00"


def _json(**table: Any) -> bytes:
    return json.dumps(table).encode("utf-8")


PIECE_CHARS = 1800


def recording(p: Plan, codes: Codes) -> bytes:
    """The file: notes, STREAM, BINS, END, notes. Three in four of format 2, the rest of format 1. Holes are frames not there."""
    rng = np.random.default_rng([p.seed, 31])
    rid = bytes(rng.integers(1, 256, 8, dtype=np.uint8))
    second = bool(rng.random() < 0.75) or p.family == "notes_damaged"
    about = {"host_version": "0.1.0", "utc": "2026-01-01T00:00:00Z", "synthetic": True}
    contents: dict[str, dict[str, Any]] = {
        "identity": {"kind": "switch test" if p.labels.get("declared") else "start", **about},
        "calibration": {"calibration": _calibration(codes, "rp2040" if second else "")},
        "limits": {"limits": as_note(p.system_v)},
        "answers": dict(p.record.answers),
    }
    notes = Notes(rid, second)
    if second:
        lost, hurt = p.record.tricks.get("notes lost", ()), p.record.tricks.get("notes hurt", ())
        begin = [notes.written(kind, table, kind in lost or kind in hurt) for kind, table in contents.items()]
    else:
        begin = [notes.plain("host", about), *(notes.plain(kind, table) for kind, table in list(contents.items())[1:])]
    out = bytearray(b"".join(begin))
    out += frame("S", rid, 0, _stream(codes))
    bodies = _bodies(codes)
    for sequence, body in enumerate(bodies, start=1):
        out += frame("B", rid, sequence, body)
    if "torn" in p.record.tricks:
        return bytes(out[: len(out) - int(rng.integers(1, 900))])
    out += frame("E", rid, len(bodies) + 1, _json(why="stopped", counters={}))
    if second:
        out += b"".join(notes.written(kind, table, kind in lost) for kind, table in contents.items())
        hashes = {kind: notes.hash_of(kind, _text(table)) for kind, table in contents.items()}
        end = {"why": "stopped", "utc": "2026-01-01T00:01:00Z", "notes_before": notes.number, "hashes": hashes}
        out += notes.written("end", end) + notes.written("end", end)
        if "notes of another" in p.record.tricks:
            other = Notes(bytes(reversed(rid)), True)
            out += b"".join(other.written(kind, table) for kind, table in contents.items())
    else:
        out += b"".join(notes.plain(kind, table) for kind, table in list(contents.items())[1:])
        out += notes.plain("end", {"why": "stopped"})
    return bytes(out)


class Notes:
    """NOTE frames of one recording, counted."""

    def __init__(self, recording_id: bytes, second: bool) -> None:
        self.recording_id = recording_id
        self.number = 0

    def hash_of(self, kind: str, text: str) -> str:
        """First 32 hex digits of SHA-256 over id, kind, a zero byte and the text."""
        return hashlib.sha256(self.recording_id + kind.encode() + b"\x00" + text.encode("ascii")).hexdigest()[:32]

    def written(self, kind: str, table: dict[str, Any], damaged: bool = False) -> bytes:
        """A note of format 2; `damaged` changes a byte of every frame of it."""
        text = _text(table)
        pieces = [text[k : k + PIECE_CHARS] for k in range(0, len(text), PIECE_CHARS)]
        out = b""
        for k, piece in enumerate(pieces):
            body = {
                "note": kind,
                "format": 2,
                "hash": self.hash_of(kind, text),
                "pieces": len(pieces),
                "piece": k,
                "text": piece,
            }
            made = bytearray(b"\x00" + frame("n", self.recording_id, self.number, _json(**body)))
            if damaged:
                at = len(made) // 2
                made[at] = made[at] % 255 + 1
            out += bytes(made)
            self.number += 1
        return out

    def plain(self, kind: str, table: dict[str, Any]) -> bytes:
        """A note of format 1."""
        self.number += 1
        return b"\x00" + frame("n", self.recording_id, self.number - 1, _json(note=kind, **table))


def _text(table: dict[str, Any]) -> str:
    return json.dumps(table, ensure_ascii=True, sort_keys=True, separators=(",", ":"))


def _stream(codes: Codes) -> bytes:
    return _json(
        channels=[{"role": role, "pin": 26 + k} for k, role in enumerate(codes.roles)],
        key_channel=codes.roles.index("key_switch"),
        trigger_code=codes.trigger,
        bin_us=round(codes.bin_s * 1e6),
        conversions_per_bin=codes.count,
        conversion_ns=round(CONVERSION_S * 1e9),
        acquisition="rp2_dma",
        board="stranger",
        firmware="0.1.0",
        synthetic=True,
    )


def _calibration(codes: Codes, converter: str) -> dict[str, Any]:
    return {
        "kind": "measured",
        "date": "2026-01-01",
        "meter": "stranger's",
        "board": "stranger",
        "notes": [],
        "channels": {
            role: {
                "gain_v_per_code": line.gain_v,
                "offset_v": line.offset_v,
                "u_gain_rel": line.u_gain_rel,
                "u_offset_v": line.u_offset_v,
                "u_shared_gain_rel": line.u_shared_rel,
                "noise_v": line.noise_v,
                "converter": converter,
                "filter_s": 56e-6,
            }
            for role, line in codes.lines.items()
        },
    }


def _bodies(codes: Codes) -> list[bytes]:
    """BINS bodies. A hole splits a frame, and the conversion index jumps over it."""
    n, leads = codes.mean16.shape
    fields = np.empty((n, leads * 3 + 3), dtype="<u2")
    fields[:, 0 : leads * 3 : 3] = codes.mean16
    fields[:, 1 : leads * 3 : 3] = codes.lowest
    fields[:, 2 : leads * 3 : 3] = codes.highest
    fields[:, -3], fields[:, -2], fields[:, -1] = codes.longest, codes.head, codes.tail
    cut = sorted({0, n, *range(0, n, BINS_A_FRAME), *(np.flatnonzero(np.diff(codes.number) > 1) + 1).tolist()})
    bin_us = round(codes.bin_s * 1e6)
    out = []
    for a, b in pairwise(cut):
        first = int(codes.number[a]) * codes.count * leads
        head = struct.pack(
            "<QIIIIIIHBB",
            first,
            int(codes.number[a]) * bin_us % (1 << 30),
            (b - a) * bin_us,
            0,
            0,
            0,
            leads * 2,
            codes.count,
            b - a,
            leads,
        )
        out.append(head + fields[a:b].tobytes())
    return out
