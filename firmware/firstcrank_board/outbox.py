"""Frames on their way out: built in buffers that are already there, written in pieces, every short write counted.

Control frames (small, rare) go before bins. Nothing here blocks for longer than one write of the stream does.
"""

from array import array

from . import fast, wire

if 0:  # for mypy alone: compiled to nothing
    from typing import Callable

    from board_types import NotYet, Sink, Wait, Words

    from .bin_ring import BinRing
    from .close_up import CloseUps

MOST_BINS = 128
MOST_BODY = 3108  # 128 bins of three channels, or a piece of a close-up
MOST_CONTROL = 8
PIECE = 64  # one USB packet
CHUNK = 256  # what the USB driver takes without waiting: it waits by spinning
CHUNK_WAITS = 1  # interrupts until its packets have gone, or nearly
NEVER = 1 << 20


def no_op() -> None:
    """What is done between two steps where the sampling goes on by itself."""


class Outbox:
    """`stream.write(view)` returns how many bytes it took, 0 or None for none; `stream.writable()` is true if any may go.

    A stream may have write_part(buffer, at, count) as well, which needs no slice: slices made while recording are allocations.
    """

    _write_part: "Callable[[bytes | bytearray, int, int], int | None] | NotYet"
    sleep: "tuple[Wait, Words] | NotYet"
    between: "Callable[[], None]"

    def __init__(self, stream: "Sink", piece_bytes: int = PIECE) -> None:
        self._take(stream)
        self.piece_bytes = piece_bytes
        self._control: "list[tuple[int, bytes]]" = []
        longest = wire.HEADER_BYTES + MOST_BODY + wire.CRC_BYTES
        self._plain = bytearray(longest)
        self._stuffed = bytearray(longest + 2 + longest // 254 + PIECE)
        self._job = array("i", bytes(4 * 12))
        self._table = fast.table()
        self._current: "bytes | bytearray | NotYet" = None
        self._at = 0
        self._end = 0
        self.recording_id = wire.NO_RECORDING
        self.close_ups: "CloseUps | None" = None  # a close_up.CloseUps whose pieces go out when no bins are due
        self.least_bins = 1  # fewer bins wait for company, so that the frame's own cost is shared
        self.most_bins = MOST_BINS  # in one frame: fewer where the loop samples as well, as looking them over takes its time
        self.sleep = None  # (wait, index) where the loop has nothing else to do while the USB driver sends: see Parts.wait
        self.between = no_op  # called between two steps of building a frame, where the loop samples as well
        self.reset()

    def reset(self) -> None:
        """A new recording: sequence and counters begin again."""
        self.sequence = 0
        self.short_writes = 0
        self.bins_sent = 0
        self.dropped_control = 0

    def redirect(self, stream: "Sink") -> "Sink":
        """From now on frames go to another stream, which is returned by the call that ends it; what is half sent is given up."""
        before = self._stream
        self._take(stream)
        self._current = None
        self._control.clear()
        self.reset()
        return before

    def _take(self, stream: "Sink") -> None:
        self._stream = stream
        self._write_part = getattr(stream, "write_part", None)

    def put(self, kind: int, body: bytes) -> None:
        """Queues one control frame; the oldest is dropped and counted where nobody takes them."""
        if len(self._control) >= MOST_CONTROL:
            self._control.pop(0)
            self.dropped_control += 1
        self._control.append((kind, body))

    def idle(self) -> bool:
        """True when nothing is half sent and nothing waits but bins."""
        return self._current is None and not self._control

    def pump(self, ring: "BinRing | None", lost_conversions: int, with_close_ups: bool = True) -> int:
        """Writes one piece of what is due. Returns the bytes written."""
        if self._current is None and not self._next(ring, lost_conversions, with_close_ups):
            return 0
        if not self._stream.writable():
            return 0
        self.between()
        if self.sleep:
            return self._chunks()
        upto = min(self._at + self.piece_bytes, self._end)
        asked = upto - self._at
        if self._write_part:
            taken = self._write_part(self._current, self._at, asked) or 0
        else:
            taken = self._stream.write(memoryview(self._current)[self._at : upto]) or 0
        self.between()
        if taken < asked:
            self.short_writes += 1
        self._at += taken
        if self._at >= self._end:
            self._current = None
        return taken

    def _chunks(self) -> int:
        """The rest of the frame, a chunk at a time, asleep in between. Less where the link takes no more."""
        wait, index = self.sleep
        write_part, buffer, at, end = self._write_part, self._current, self._at, self._end
        begin = at
        while at < end:
            asked = min(end - at, CHUNK)
            taken = write_part(buffer, at, asked) or 0
            at += taken
            if taken < asked:
                self.short_writes += 1
                break
            wait(index, index[0], NEVER, CHUNK_WAITS)
        self._at = at
        if at >= end:
            self._current = None
        return at - begin

    def bins_due(self, ring: "BinRing") -> bool:
        """True where a frame's worth of bins waits."""
        return ring.waiting() >= max(self.least_bins, 1)

    def _next(self, ring: "BinRing | None", lost_conversions: int, with_close_ups: bool) -> bool:
        if self._control:
            kind, body = self._control.pop(0)
            self.between()
            if wire.HEADER_BYTES + len(body) + wire.CRC_BYTES <= len(self._plain):
                self._header(kind)
                end = wire.HEADER_BYTES + len(body)
                self._plain[wire.HEADER_BYTES : end] = body
                self.between()
                self._finish(end)
            else:
                frame = wire.encode_frame(kind, self.recording_id, self.sequence, body)
                self._begin(frame, len(frame))
            return True
        if ring is None:
            return False
        waiting = ring.waiting()
        if waiting < self.least_bins or not waiting:
            close_ups = self.close_ups
            if close_ups is None or not with_close_ups or not close_ups.pending():
                return False
            self._header(wire.CLOSE_UP)
            self._finish(close_ups.put_piece(self._plain))
            return True
        most = min(self.most_bins, (MOST_BODY - wire.BINS_BYTES) // ring.bin_bytes)
        self.between()
        blocks = ring.uniform(most)
        self.between()
        self._frame_bins(ring, blocks, lost_conversions)
        return True

    def _begin(self, buffer: "bytes | bytearray", length: int) -> None:
        self._current = buffer
        self._at = 0
        self._end = length
        self.sequence = (self.sequence + 1) & 0xFFFFFFFF

    def _frame_bins(self, ring: "BinRing", blocks: int, lost_conversions: int) -> None:
        """Builds the frame of the `blocks` at the ring's tail, without allocating."""
        job = self._job
        job[0] = ring.tail
        job[1] = blocks
        job[2] = ring.block_bytes
        job[3] = blocks * ring.group
        job[4] = (ring.bin_bytes - wire.RUNS_BYTES) // wire.CHANNEL_BYTES
        job[5] = lost_conversions
        job[6] = ring.lost_bins
        job[7] = self.short_writes
        job[8] = ring.header_words
        for n in range(3):
            job[9 + n] = ring.index[6 + n]
        self.between()
        self._header(wire.BINS)
        self.between()
        end = fast.bins_body(self._plain, ring.headers, ring.bins, job)
        ring.take(blocks)
        self.between()
        self.bins_sent += job[3]
        self._finish(end)

    def _header(self, kind: int) -> None:
        fast.header(self._plain, wire.VERSION, kind, self.recording_id, self.sequence)

    def _finish(self, end: int) -> None:
        """Checksum and byte stuffing; padded with delimiters so that only whole prepared pieces need be written."""
        fast.crc_into(self._plain, end, self._table)
        self.between()
        stuffed = self._stuffed
        length = fast.stuff(self._plain, end + wire.CRC_BYTES, stuffed)
        self.between()
        self._begin(stuffed, fast.pad(stuffed, length, PIECE))
