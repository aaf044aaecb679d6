"""A recording's bytes, written from docs/wire_format.md and docs/trace_format.md alone; the product's writer is not used."""

from __future__ import annotations

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


def recording(p: Plan, codes: Codes) -> bytes:
    """The file: notes, STREAM, BINS, END, notes. Holes are frames that are not there, or damaged in every second draw."""
    rng = np.random.default_rng([p.seed, 31])
    rid = bytes(rng.integers(1, 256, 8, dtype=np.uint8))
    notes = [
        ("host", {"host_version": "0.1.0", "utc": "2026-01-01T00:00:00Z", "synthetic": True}),
        ("calibration", {"calibration": _calibration(codes)}),
        ("limits", {"limits": as_note(p.system_v)}),
        ("answers", {"answers": dict(p.record.answers), **p.record.answers}),
    ]
    out = bytearray()
    number = 0
    for name, table in notes:
        out += b"\x00" + frame("n", rid, number, _json(note=name, **table))
        number += 1
    stream = _json(
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
    sequence = 0
    out += frame("S", rid, sequence, stream)
    for body in _bodies(codes):
        sequence += 1
        out += frame("B", rid, sequence, body)
    torn = "torn" in p.record.tricks
    if torn:
        return bytes(out[: len(out) - int(rng.integers(1, 900))])
    out += frame("E", rid, sequence + 1, _json(why="stopped", counters={}))
    for name, table in (*notes[1:], ("end", {"why": "stopped"})):
        out += b"\x00" + frame("n", rid, number, _json(note=name, **table))
        number += 1
    return bytes(out)


def _calibration(codes: Codes) -> dict[str, Any]:
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
                "spike_v": 0.0,
                "filter_s": 56e-6,
            }
            for role, line in codes.lines.items()
        },
    }


def _bodies(codes: Codes) -> list[bytes]:
    """BINS bodies. A hole splits a frame, and the conversion index jumps over it."""
    n, leads = codes.mean16.shape
    words = np.empty((n, leads * 3 + 3), dtype="<u2")
    words[:, 0 : leads * 3 : 3] = codes.mean16
    words[:, 1 : leads * 3 : 3] = codes.lowest
    words[:, 2 : leads * 3 : 3] = codes.highest
    words[:, -3], words[:, -2], words[:, -1] = codes.longest, codes.head, codes.tail
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
        out.append(head + words[a:b].tobytes())
    return out
