"""Frames on their way out: built in buffers that are already there, written in pieces, every short write counted.

Control frames (small, rare) go before bins. Nothing here blocks for longer than one write of the stream does.
"""

import struct
from binascii import crc32

from . import bin_ring, fast, wire

MOST_BINS = 32
MOST_CONTROL = 8


class Outbox:
    """`stream.write(view)` returns how many bytes it took, 0 or None for none; `stream.writable()` says if any may go."""

    def __init__(self, stream, piece_bytes=64):
        self._stream = stream
        self.piece_bytes = piece_bytes
        self._control = []
        longest = wire.HEADER_BYTES + wire.BINS_BYTES + MOST_BINS * wire.bin_bytes(8) + wire.CRC_BYTES
        self._plain = bytearray(longest)
        self._plain_view = memoryview(self._plain)
        self._stuffed = bytearray(longest + 2 + longest // 254)
        self._current = None
        self._at = 0
        self._end = 0
        self.recording_id = wire.NO_RECORDING
        self.least_bins = 1  # fewer bins wait for company, so that the frame's own cost is shared
        self.reset()

    def reset(self):
        """A new recording: sequence and counters begin again."""
        self.sequence = 0
        self.short_writes = 0
        self.bins_sent = 0
        self.dropped_control = 0

    def put(self, kind, body):
        """Queues one control frame; the oldest is dropped and counted where nobody takes them."""
        if len(self._control) >= MOST_CONTROL:
            self._control.pop(0)
            self.dropped_control += 1
        self._control.append((kind, body))

    def idle(self):
        """True when nothing is half sent and nothing waits but bins."""
        return self._current is None and not self._control

    def pump(self, ring, lost_conversions):
        """Writes one piece of what is due. Returns the bytes written."""
        if self._current is None and not self._next(ring, lost_conversions):
            return 0
        if not self._stream.writable():
            return 0
        upto = min(self._at + self.piece_bytes, self._end)
        asked = upto - self._at
        taken = self._stream.write(self._current[self._at : upto]) or 0
        if taken < asked:
            self.short_writes += 1
        self._at += taken
        if self._at >= self._end:
            self._current = None
        return taken

    def _next(self, ring, lost_conversions):
        if self._control:
            kind, body = self._control.pop(0)
            frame = wire.encode_frame(kind, self.recording_id, self.sequence, body)
            self._begin(memoryview(frame), len(frame))
            return True
        if ring is None:
            return False
        if ring.waiting() < self.least_bins or not ring.waiting():
            return False
        self._frame_bins(ring, ring.uniform(MOST_BINS), lost_conversions)
        return True

    def _begin(self, view, length):
        self._current = view
        self._at = 0
        self._end = length
        self.sequence = (self.sequence + 1) & 0xFFFFFFFF

    def _frame_bins(self, ring, blocks, lost_conversions):
        """Builds the frame of the `blocks` at the ring's tail."""
        facts, at = ring.facts, ring.tail
        first = at * bin_ring.FACTS
        last = first + (blocks - 1) * bin_ring.FACTS
        gap_us = 0
        for word in range(first, last + 1, bin_ring.FACTS):
            if facts[word + bin_ring.GAP] > gap_us:
                gap_us = facts[word + bin_ring.GAP]
        ticks_us = facts[first + bin_ring.TICKS]
        span_us = ((facts[last + bin_ring.TICKS] - ticks_us) & 0x3FFFFFFF) + facts[last + bin_ring.SPAN]
        count = blocks * ring.group
        plain = self._plain
        struct.pack_into(wire.HEADER_FORMAT, plain, 0, wire.VERSION, wire.BINS, self.recording_id, self.sequence)
        struct.pack_into(
            wire.BINS_FORMAT,
            plain,
            wire.HEADER_BYTES,
            (facts[first + bin_ring.FIRST_HIGH] << 30) + facts[first + bin_ring.FIRST_LOW],
            ticks_us,
            span_us,
            lost_conversions,
            ring.lost_bins,
            self.short_writes,
            gap_us,
            facts[first + bin_ring.CONVERSIONS],
            count,
            (ring.bin_bytes - wire.RUNS_BYTES) // wire.CHANNEL_BYTES,
        )
        begin = wire.HEADER_BYTES + wire.BINS_BYTES
        end = begin + blocks * ring.block_bytes
        source = at * ring.block_bytes
        plain[begin:end] = memoryview(ring.bins)[source : source + blocks * ring.block_bytes]
        struct.pack_into("<I", plain, end, crc32(self._plain_view[:end]) & 0xFFFFFFFF)
        ring.take(blocks)
        self.bins_sent += count
        length = fast.stuff(plain, end + wire.CRC_BYTES, self._stuffed)
        self._begin(memoryview(self._stuffed), length)
