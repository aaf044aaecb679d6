"""Frames on their way out: built in buffers that are already there, written in pieces, every short write counted.

Control frames (small, rare) go before bins. Nothing here blocks for longer than one write of the stream does.
"""

import struct
from binascii import crc32

from . import fast, wire

MOST_BINS = 16
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
        count = ring.uniform(MOST_BINS)
        if count == 0:
            return False
        self._frame_bins(ring, count, lost_conversions)
        return True

    def _begin(self, view, length):
        self._current = view
        self._at = 0
        self._end = length
        self.sequence = (self.sequence + 1) & 0xFFFFFFFF

    def _frame_bins(self, ring, count, lost_conversions):
        at = ring.tail
        gap_us = span_us = 0
        for n in range(count):
            if ring.gap_us[at + n] > gap_us:
                gap_us = ring.gap_us[at + n]
        last = at + count - 1
        span_us = ((ring.ticks_us[last] - ring.ticks_us[at]) & 0x3FFFFFFF) + ring.span_us[last]
        channels = (ring.bin_bytes - wire.RUNS_BYTES) // wire.CHANNEL_BYTES
        plain = self._plain
        struct.pack_into(wire.HEADER_FORMAT, plain, 0, wire.VERSION, wire.BINS, self.recording_id, self.sequence)
        first = (ring.first_high[at] << 30) + ring.first_low[at]
        struct.pack_into(
            wire.BINS_FORMAT,
            plain,
            wire.HEADER_BYTES,
            first,
            ring.ticks_us[at],
            span_us,
            lost_conversions,
            ring.lost_bins,
            self.short_writes,
            gap_us,
            ring.conversions[at],
            count,
            channels,
        )
        begin = wire.HEADER_BYTES + wire.BINS_BYTES
        size = count * ring.bin_bytes
        source = at * ring.bin_bytes
        plain[begin : begin + size] = memoryview(ring.bins)[source : source + size]
        end = begin + size
        struct.pack_into("<I", plain, end, crc32(self._plain_view[:end]) & 0xFFFFFFFF)
        ring.take(count)
        self.bins_sent += count
        length = fast.stuff(plain, end + wire.CRC_BYTES, self._stuffed)
        self._begin(memoryview(self._stuffed), length)
