"""From the frames of one recording to arrays: time base, codes, runs, and every hole that frames can show.

What a CRC cannot tell is told here: stale bytes of an earlier recording (another id), a board that started again, two
recordings spliced (id), frames lost on the way (conversion index), conversions never looked at (counters).
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstcrank import wire, wire_bodies
from firstcrank.errors import UnreadableTraceError
from firstcrank.trace import FloatArray, Hole, IntArray

NS = 1e-9
LONGEST_S = 6 * 3600.0  # no recording of a start is longer: an index or clock that says so is damaged
US = 1e-6


@dataclass(slots=True)
class Gathered:
    """What a pass over the frames collects, in the order of the file."""

    stream: dict[str, Any] | None = None
    notes: list[dict[str, Any]] = field(default_factory=list)
    note_numbers: list[int] = field(default_factory=list)
    heads: list[wire_bodies.BinsHead] = field(default_factory=list)
    bodies: list[bytes] = field(default_factory=list)
    close_ups: list[tuple[wire_bodies.CloseUpHead, bytes]] = field(default_factory=list)
    end: dict[str, Any] | None = None
    recording_id: bytes = wire.NO_RECORDING
    bad_pieces: int = 0
    stale_frames: int = 0
    restarted: bool = False
    torn_bytes: int = 0

    @property
    def notes_lost(self) -> bool:
        """True where the recorder wrote a note between others that cannot be read any more."""
        return sorted(set(self.note_numbers)) != list(range(len(set(self.note_numbers))))


def gather(data: bytes) -> Gathered:
    """Sorts the frames of a recording. Raises UnreadableTraceError where not one frame of ours is in it."""
    pieces = data.split(b"\x00")
    frames: list[wire.Frame] = []
    found = Gathered(torn_bytes=len(pieces[-1]))
    for piece in pieces[:-1]:
        if not piece:
            continue
        try:
            frames.append(wire.decode_frame(piece))
        except wire.FrameError:
            found.bad_pieces += 1
    if not frames:
        raise UnreadableTraceError("not a firstcrank recording: no frame of it can be read")
    found.recording_id = _which_recording(frames)
    for frame in frames:
        _sort(found, frame)
    return found


def _which_recording(frames: Iterable[wire.Frame]) -> bytes:
    """The id the recorder noted; without a note (a capture from the board) that of the first description."""
    first = wire.NO_RECORDING
    for frame in frames:
        if frame.kind == wire.NOTE and frame.recording_id != wire.NO_RECORDING:
            return bytes(frame.recording_id)
        if first == wire.NO_RECORDING and frame.kind in (wire.STREAM, wire.BINS):
            first = frame.recording_id
    return bytes(first)


def _sort(found: Gathered, frame: wire.Frame) -> None:
    if frame.kind == wire.NOTE:
        found.notes.append(_table(frame.body))
        found.note_numbers.append(frame.sequence)
        return
    if frame.kind not in (wire.STREAM, wire.BINS, wire.CLOSE_UP, wire.END):
        return
    if frame.recording_id != found.recording_id:
        if found.heads and frame.kind != wire.END:
            found.restarted = True
        found.stale_frames += 1
        return
    if found.restarted:
        return
    if frame.kind == wire.STREAM:
        found.stream = found.stream or _table(frame.body)
    elif frame.kind == wire.END:
        found.end = _table(frame.body)
    elif frame.kind == wire.BINS:
        head = wire_bodies.unpack_bins_head(frame.body)
        if head.bin_count and head.channel_count and head.conversions:
            found.heads.append(head)
            found.bodies.append(frame.body[wire.BINS_BYTES :])
    else:
        found.close_ups.append((wire_bodies.unpack_close_up_head(frame.body), frame.body[wire.CLOSE_UP_BYTES :]))


def _table(body: bytes) -> dict[str, Any]:
    try:
        table = json.loads(body.decode("utf-8"))
    except ValueError:
        return {}
    return table if isinstance(table, dict) else {}


@dataclass(frozen=True, slots=True)
class Codes:
    """All bins: times shape (n,), `mean` in codes with fractions, `lowest` and `highest` shape (n, channels), runs (n,)."""

    start_s: FloatArray
    end_s: FloatArray
    conversions: IntArray
    gap_s: FloatArray
    mean: FloatArray
    lowest: NDArray[np.uint16]
    highest: NDArray[np.uint16]
    longest: IntArray
    head: IntArray
    tail: IntArray
    holes: tuple[Hole, ...]


def to_codes(found: Gathered) -> Codes:
    """Arrays of all bins in time order. Raises UnreadableTraceError where channels are unknown or nothing was recorded."""
    if found.stream is None:
        raise UnreadableTraceError("the recording lacks its description of channels: it was torn before the first second")
    count = len(found.stream["channels"])
    keep = _rising(found, count)
    heads = [found.heads[i] for i in keep]
    if not heads:
        raise UnreadableTraceError("the recording holds no readings")
    period_s = float(found.stream.get("conversion_ns", 0)) * NS
    begin_s, span_s, gap_s = _times(heads, count, period_s)
    if not float(begin_s[-1] + span_s[-1]) <= LONGEST_S:
        raise UnreadableTraceError("damaged beyond reading: its clock jumps by hours")
    bins = np.array([h.bin_count for h in heads])
    words = np.frombuffer(b"".join(found.bodies[i] for i in keep), dtype="<u2").reshape(-1, 3 * count + 3)
    within = np.concatenate([np.arange(n) for n in bins])
    each_s = np.repeat(span_s / bins, bins)
    start_s = np.repeat(begin_s, bins) + within * each_s
    end_s = np.minimum(start_s + each_s, np.concatenate((start_s[1:], [np.inf])))  # rounding must not make bins overlap
    conversions = np.repeat([h.conversions for h in heads], bins).astype(np.int64)
    codes = words[:, : 3 * count].reshape(-1, count, 3)
    runs = words[:, 3 * count :].astype(np.int64)
    return Codes(
        start_s=start_s,
        end_s=end_s,
        conversions=conversions,
        gap_s=np.repeat(gap_s, bins),
        mean=codes[:, :, 0] / wire.MEAN_SCALE,
        lowest=codes[:, :, 1],
        highest=codes[:, :, 2],
        longest=runs[:, 0],
        head=runs[:, 1],
        tail=runs[:, 2],
        holes=_holes(heads, count, begin_s, span_s),
    )


def _rising(found: Gathered, count: int) -> list[int]:
    """Indexes of the frames whose conversion index goes on from the one before; what goes back is a repeat, left out."""
    keep: list[int] = []
    following = -1
    for i, head in enumerate(found.heads):
        if head.channel_count == count and head.first_conversion >= following:
            keep.append(i)
            following = head.first_conversion + head.bin_count * head.conversions * count
    return keep


def _times(heads: list[wire_bodies.BinsHead], count: int, period_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Start and span of each frame and the longest time between two looks in it, seconds from the first frame."""
    if period_s > 0:
        first = np.array([h.first_conversion for h in heads], dtype=np.float64)
        span = np.array([h.bin_count * h.conversions * count for h in heads], dtype=np.float64)
        looks = np.full(len(heads), count * period_s)
        return (first - first[0]) * period_s, span * period_s, looks
    ticks = unwrapped(np.array([h.ticks_us for h in heads], dtype=np.int64))
    span_s = np.array([h.span_us for h in heads], dtype=np.float64) * US
    gap_s = np.array([h.worst_gap_us for h in heads], dtype=np.float64) * US
    gap_s[0] = min(gap_s[0], span_s[0]) if len(gap_s) else 0.0
    return (ticks - ticks[0]) * US, np.maximum(span_s, US), gap_s


def unwrapped(ticks_us: IntArray) -> IntArray:
    """Board ticks made to rise over their wrap at 2**30 us, shape kept."""
    if len(ticks_us) < 2:
        return ticks_us
    steps = np.mod(np.diff(ticks_us), wire.TICKS_WRAP_US)
    return np.concatenate((ticks_us[:1], ticks_us[0] + np.cumsum(steps)))


def _holes(heads: list[wire_bodies.BinsHead], count: int, begin_s: FloatArray, span_s: FloatArray) -> tuple[Hole, ...]:
    holes: list[Hole] = []
    for i in range(1, len(heads)):
        before, here = heads[i - 1], heads[i]
        missing = here.first_conversion - before.first_conversion - before.bin_count * before.conversions * count
        start_s, end_s = float(begin_s[i - 1] + span_s[i - 1]), float(begin_s[i])
        if here.lost_conversions != before.lost_conversions:
            why = f"the board could not keep up ({here.lost_conversions - before.lost_conversions} conversions lost)"
        elif here.lost_bins != before.lost_bins:
            why = f"the link to the laptop stalled ({here.lost_bins - before.lost_bins} bins lost)"
        elif missing:
            why = "bytes were lost or damaged on the way to the laptop"
        else:
            continue
        holes.append(Hole(start_s, max(end_s, start_s + 1e-9), why))
    return tuple(holes)
