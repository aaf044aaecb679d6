"""Sorts the frames of one recording: descriptions, bins, close-ups, notes, the end, and what was lost on the way.

What a CRC cannot tell is told here: stale bytes of an earlier recording (another id), a board that started again, two
recordings spliced (id), frames lost on the way (sequence). What the bins say of time and losses: bin_arrays.py.
"""

from __future__ import annotations

import io
from array import array
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import IO, cast

from firstcrank import wire, wire_bodies
from firstcrank.errors import UnreadableTraceError
from firstcrank.tracefiles.byte_stuffing import decode_frame
from firstcrank.tracefiles.notes import table_of

CHUNK_BYTES = 1 << 20


@dataclass(slots=True)
class Gathered:
    """What a pass over the frames collects, in the order of the file.

    `heads` and `bins`: the fixed parts of all BINS bodies one after another, and their bins; `bins_numbers`: their sequence
    numbers. `numbers`: sequence numbers of all frames of the board.
    """

    stream: wire_bodies.StreamBody | None = None
    streams_differ: bool = False
    notes: list[wire.Frame] = field(default_factory=list)
    heads: bytearray = field(default_factory=bytearray)
    bins: bytearray = field(default_factory=bytearray)
    bins_numbers: array[int] = field(default_factory=lambda: array("Q"))
    numbers: array[int] = field(default_factory=lambda: array("Q"))
    close_ups: list[tuple[wire_bodies.CloseUpHead, bytes]] = field(default_factory=list)
    end: wire_bodies.EndBody | None = None
    end_number: int | None = None
    recording_id: bytes = wire.NO_RECORDING
    bad_pieces: int = 0
    malformed: int = 0
    stale_frames: int = 0
    restarted: bool = False
    torn_bytes: int = 0

    @property
    def counters(self) -> dict[str, object]:
        """The board's counters at its end; empty where the end is lost."""
        counters = self.end.get("counters") if self.end else None
        return counters if isinstance(counters, dict) else {}

    @property
    def alone(self) -> wire_bodies.AloneBody | None:
        """What a board that worked alone was given, None for a recording that a host made."""
        given = self.stream.get("alone") if self.stream else None
        return given if isinstance(given, dict) else None

    @property
    def begins_late(self) -> bool:
        """True where the recording begins in the middle of the board's counting: armed, or working alone."""
        return self.alone is not None or bool(self.stream and self.stream.get("pretrigger_bins"))


def gather(data: bytes | IO[bytes]) -> Gathered:
    """Sorts the frames of a recording. Raises UnreadableTraceError where not one frame of ours is in it."""
    found = Gathered()
    source = io.BytesIO(data) if isinstance(data, bytes | bytearray) else data
    found.recording_id = _which_recording(frame for frame, _ in _frames(source) if frame is not None)
    source.seek(0)
    seen = False
    for frame, torn in _frames(source):
        found.torn_bytes = torn
        if frame is not None:
            seen = True
            _sort(found, frame)
        elif not torn:
            found.bad_pieces += 1
    if not seen:
        raise UnreadableTraceError("not a firstcrank recording: no frame of it can be read")
    return found


def _frames(source: IO[bytes]) -> Iterator[tuple[wire.Frame | None, int]]:
    """Each delimited piece as (frame, 0), (None, 0) where it is damaged; last (None, bytes behind the last delimiter)."""
    rest = b""
    while chunk := source.read(CHUNK_BYTES):
        *pieces, rest = (rest + chunk).split(b"\x00")
        for piece in pieces:
            if piece:
                try:
                    yield decode_frame(piece), 0
                except wire.FrameError:
                    yield None, 0
        if len(rest) > 16 * CHUNK_BYTES:  # no frame is that long: not a recording of ours, and memory is short
            rest = rest[-wire.Deframer.LONGEST - 1 :]
    if rest:
        yield None, len(rest)


def _which_recording(frames: Iterable[wire.Frame]) -> bytes:
    """The id of the first note if bins have it too; else that of the first bins, of the first description, of the first note."""
    noted: bytes | None = None
    described = binned = None
    for frame in frames:
        number = bytes(frame.recording_id)
        if number == wire.NO_RECORDING:
            continue
        if frame.kind == wire.NOTE:
            noted = noted or number
        elif frame.kind == wire.STREAM:
            described = described or number
        elif frame.kind == wire.BINS:
            binned = binned or number
            if noted is None or number == noted:
                return number
    return binned or described or noted or wire.NO_RECORDING


def _sort(found: Gathered, frame: wire.Frame) -> None:
    if frame.kind == wire.NOTE:
        found.notes.append(frame)
        return
    if frame.kind not in (wire.STREAM, wire.BINS, wire.CLOSE_UP, wire.END):
        if frame.recording_id == found.recording_id and not found.restarted:
            found.numbers.append(frame.sequence)
        return
    if frame.recording_id != found.recording_id:
        if found.heads and frame.kind != wire.END:
            found.restarted = True
        found.stale_frames += 1
        return
    if found.restarted:
        return
    found.numbers.append(frame.sequence)
    if frame.kind == wire.STREAM:
        _described(found, frame)
    elif frame.kind == wire.END:
        found.end, found.end_number = cast(wire_bodies.EndBody, table_of(frame.body)), frame.sequence
    elif frame.kind == wire.BINS:
        _binned(found, frame)
    else:
        try:
            head = wire_bodies.unpack_close_up_head(frame.body)
        except wire.FrameError:
            found.malformed += 1
            return
        found.close_ups.append((head, frame.body[wire.CLOSE_UP_BYTES :]))


def _described(found: Gathered, frame: wire.Frame) -> None:
    table = cast(wire_bodies.StreamBody, table_of(frame.body))
    if found.stream is None:
        found.stream = table
    elif table != found.stream:
        found.streams_differ = True


def _binned(found: Gathered, frame: wire.Frame) -> None:
    """A body of wrong length, or without a bin, holds no readings: what it carried shows as a hole."""
    try:
        head = wire_bodies.unpack_bins_head(frame.body)
    except wire.FrameError:
        found.malformed += 1
        return
    if head.bin_count and head.channel_count and head.conversions:
        found.heads += frame.body[: wire.BINS_BYTES]
        found.bins += frame.body[wire.BINS_BYTES :]
        found.bins_numbers.append(frame.sequence)
