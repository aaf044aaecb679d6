"""The interrupt's folding (rp2_service) against fold.py: segment after segment as the DMA would fill them. Runs on MicroPython.

    segment_twins.py FOLDER ROUNDS [ADDRESS SIZE]     memory whose addresses fit 31 bits; on a 32-bit board its own will do

Bins, their times and first conversions, blocks lost or forgotten in a full ring, and the edges of the key feed.
"""

import gc
import sys

if len(getattr(sys, "argv", ())) > 1:  # on a chip everything lies side by side
    sys.path.insert(0, sys.argv[1])
    sys.path.insert(0, __file__.rsplit("/", 1)[0])

import uctypes
from firstcrank_board import fold as definition
from firstcrank_board import rp2_service as service
from firstcrank_board.bin_ring import CAPACITY, FORGOTTEN, HEAD, INDEX_WORDS, KEEP_NEWEST, LOST, TAIL, UNIFORM_HEADER_WORDS

from array import array  # isort: skip

TYPE_CHECKING = False  # MicroPython has no typing; tools take the name for true
if TYPE_CHECKING:
    from typing import Protocol

    from tests.firmware.kernel_twins import Dice, codes_of

    class Words(Protocol):
        """Numbers of 32 bits at an address."""

        def __getitem__(self, index: int) -> int: ...

        def __setitem__(self, index: int, value: int) -> None: ...
else:
    from kernel_twins import Dice, codes_of

SEGMENTS, CAPACITY_BLOCKS, MOST_EDGES = 4, 6, 16
WRAP = 0x3FFFFFFF
SEND, KEEP_ALL, NEWEST = "sent at once", "never sent", "never sent, the newest kept"


class Memory:
    """Pieces of memory that kernels may be given by address."""

    def __init__(self, address: int, size: int) -> None:
        self._at, self._end = address, address + size
        self._kept: list[bytearray] = []

    def take(self, size: int) -> "tuple[int, bytearray]":
        """Address and buffer, zeroed, on a word."""
        if not self._at:
            self._kept.append(bytearray(size))
            return uctypes.addressof(self._kept[-1]), self._kept[-1]
        at = self._at
        self._at = at + (size + 7) // 8 * 8
        assert self._at <= self._end, "the test's memory is used up"
        buffer = uctypes.bytearray_at(at, size)
        for n in range(size):
            buffer[n] = 0
        return at, buffer

    def block(self, count: int) -> "tuple[int, Words]":
        """Address, and the words as an array of 32-bit numbers."""
        at, _ = self.take(4 * count)
        return at, uctypes.struct(at, {"w": (0 | uctypes.ARRAY, count | uctypes.INT32)}).w


class Edges:
    """Edges of the key feed, conversion by conversion: what rp2_service.scan says it finds."""

    def __init__(self, trigger: int) -> None:
        self._trigger = trigger
        self._below = False
        self._rise: int | None = None

    def of(self, codes: "array[int]", key: int, channels: int) -> "list[int]":
        """Those of one segment, as offset * 2 + falling."""
        found: list[int] = []
        for i in range(key, len(codes), channels):
            if codes[i] < self._trigger:
                if not self._below:
                    self._below = True
                    found.append(i * 2 + 1)
                self._rise = None
            elif self._below:
                if self._rise is None:
                    self._rise = i
                if codes[i] >= self._trigger + service.HYSTERESIS:
                    self._below = False
                    found.append(self._rise * 2)
                    self._rise = None
        if self._rise is not None:
            self._rise = 0
        return found[:MOST_EDGES]


def shift_of(total: int) -> int:
    """The power of two that `total` is, or NO_SHIFT."""
    for bits in range(14):
        if 1 << bits == total:
            return bits
    return int(service.NO_SHIFT)


class Run:
    """One recording of made-up segments."""

    def __init__(self, memory: Memory, dice: Dice, turn: int) -> None:
        self.dice = dice
        channels = self.channels = 1 + turn % 8
        if dice.below(3):
            self.pieces, self.bins_a_segment, self.samples = (
                1,
                1 + dice.below(4),
                dice.pick((8, 16)) if dice.below(3) == 0 else 1 + dice.below(24),
            )
            self.group = self.bins_a_segment * (1 + dice.below(2))
        else:
            self.pieces, self.bins_a_segment, self.samples = 2 + dice.below(3), 1, 1 + dice.below(60)
            self.group = 1 + dice.below(3)
        self.trigger = dice.pick((0, 1, 900, 2000, 4080, 4095))
        self.key = dice.pick((0, channels - 1, 255))
        self.policy = dice.pick((SEND, KEEP_ALL, NEWEST))
        self.conversions = self.samples * channels * self.bins_a_segment
        self.segment_us = 2 * self.conversions
        self.bin_bytes = 6 * channels + 6
        self.block_bytes = self.bin_bytes * self.group
        s = self.s = array("i", bytes(4 * service.STATE))
        self.raw_at, raw = memory.take(2 * self.conversions * SEGMENTS)
        self.raw = raw
        self.write_at, self.write = memory.block(1)
        self.adc_at, self.adc = memory.block(4)
        self.timer_at, self.timer = memory.block(1)
        self.index_at, self.index = memory.block(INDEX_WORDS)
        headers_at, self.headers = memory.block(UNIFORM_HEADER_WORDS * CAPACITY_BLOCKS)
        blocks_at, self.blocks = memory.take(self.block_bytes * CAPACITY_BLOCKS)
        edges_at, self.edges = memory.block(MOST_EDGES)
        self.index[CAPACITY] = CAPACITY_BLOCKS
        self.index[KEEP_NEWEST] = 1 if self.policy == NEWEST else 0
        self.low = WRAP - 3 * self.conversions if dice.below(2) else 0  # the index carries into its upper half
        self.high = 5
        self.now_us = WRAP - 2 * self.segment_us if dice.below(2) else 77  # the clock wraps
        for index, value in (
            (service.RAW_AT, self.raw_at),
            (service.SEGMENTS, SEGMENTS),
            (service.SEGMENT_BYTES, 2 * self.conversions),
            (service.SEGMENT_US, self.segment_us),
            (service.WRITE_ADDR_AT, self.write_at),
            (service.ADC_AT, self.adc_at),
            (service.SCAN_STEP, 2 * channels),
            (service.CONFIRM, self.trigger + service.HYSTERESIS),
            (service.SHIFT, shift_of(self.samples * self.pieces)),
            (service.TIMER_AT, self.timer_at),
            (service.SAMPLES, self.samples),
            (service.CHANNELS, channels),
            (service.KEY, self.key),
            (service.TRIGGER, self.trigger),
            (service.PIECES, self.pieces),
            (service.BINS_A_SEGMENT, self.bins_a_segment),
            (service.BINS_A_BLOCK, self.group),
            (service.ACC_AT, memory.block(5 * 3 * 8)[0]),
            (service.INDEX_AT, self.index_at),
            (service.HEADERS_AT, headers_at),
            (service.BLOCKS_AT, blocks_at),
            (service.BLOCK_BYTES, self.block_bytes),
            (service.SPARE_AT, memory.take(self.block_bytes)[0]),
            (service.EDGES_AT, edges_at),
            (service.MOST_EDGES, MOST_EDGES),
            (service.LOW, self.low),
            (service.HIGH, self.high),
            (service.NEXT_US, self.now_us),
        ):
            s[index] = value
        shape_at, shape = memory.block(5)
        shape[2], shape[3] = self.samples, channels
        s[service.SHAPE_AT] = shape_at
        self.timer[0] = self.now_us
        self.begin_us = self.now_us
        self.codes = array("H")
        self.seen = 0

    def go(self, segments: int) -> None:
        """Fills them one by one; the interrupt comes at once, late or twice."""
        edges = Edges(self.trigger)
        pending = 0
        for number in range(segments):
            codes = codes_of(self.dice, self.conversions, self.trigger)
            place = 2 * self.conversions * (number % SEGMENTS)
            for n in range(self.conversions):
                self.raw[place + 2 * n] = codes[n] & 255
                self.raw[place + 2 * n + 1] = codes[n] >> 8
            self.codes.extend(codes)
            self.write[0] = self.raw_at + 2 * self.conversions * ((number + 1) % SEGMENTS)
            self.timer[0] = (self.timer[0] + self.segment_us) & WRAP
            found = edges.of(codes, self.key, self.channels) if self.key < self.channels else []
            pending += 1
            if pending < 3 and self.dice.below(4) == 0:
                continue  # held up: the next call finds more than one
            service.service(self.s)
            assert [self.edges[n] for n in range(self.s[service.EDGES])] == found, (self.state_text(), found)
            if self.dice.below(4) == 0:
                service.service(self.s)  # nothing new
            pending = 0
            if self.policy == SEND:
                self.take_all()
        assert self.s[service.OVERRUNS] == self.s[service.LOST] == self.s[service.STOPPED] == 0
        self.check_ring(segments)

    def take_all(self) -> None:
        """What the reader does: every block that is complete is compared and given back."""
        while self.index[TAIL] != self.index[HEAD]:
            self.compare(self.seen, self.index[TAIL])
            self.seen += 1
            self.index[TAIL] = (self.index[TAIL] + 1) % CAPACITY_BLOCKS

    def check_ring(self, segments: int) -> None:
        """A full ring has the blocks that its policy says, and counted the others."""
        service.service(self.s)
        blocks = segments * self.bins_a_segment // self.pieces // self.group
        kept = CAPACITY_BLOCKS - 1
        if self.policy == SEND:
            self.take_all()
            assert self.seen == blocks, (self.state_text(), self.seen, blocks)
            assert self.index[LOST] == self.index[FORGOTTEN] == 0
            return
        first = 0
        if self.policy == NEWEST:
            begun = segments * self.bins_a_segment / self.pieces / self.group > blocks  # a block takes its room when it begins
            first = max(blocks + begun - kept, 0)
            assert self.index[FORGOTTEN] == first * self.group, (self.state_text(), self.index[FORGOTTEN], first)
        lost = blocks - kept if self.policy == KEEP_ALL and blocks > kept else 0
        assert self.index[LOST] == lost * self.group, (self.state_text(), self.index[LOST], lost)
        self.seen = first
        self.take_all()
        assert self.seen == blocks - lost, (self.state_text(), self.seen, blocks, lost)

    def compare(self, number: int, place: int) -> None:
        """Block `number` since the start against the plain fold of its conversions."""
        samples = self.samples * self.pieces
        wanted = bytearray(self.block_bytes)
        first = number * self.group * samples * self.channels
        for n in range(self.group):
            params = array(
                "i", [first + n * samples * self.channels, samples, self.channels, self.key, self.trigger, n * self.bin_bytes]
            )
            definition.fold(self.codes, wanted, params)
        made = self.blocks[place * self.block_bytes : (place + 1) * self.block_bytes]
        assert made == wanted, (self.state_text(), number, made, wanted)
        low, high, ticks = (self.headers[place * UNIFORM_HEADER_WORDS + n] for n in range(3))
        assert (high << 30) + low == (self.high << 30) + self.low + first, (self.state_text(), number, low, high)
        assert ticks == (self.begin_us + 2 * first) & WRAP, (self.state_text(), number, ticks)

    def state_text(self) -> "tuple[int | str, ...]":
        """What this run is."""
        return (self.channels, self.samples, self.pieces, self.bins_a_segment, self.group, self.key, self.trigger, self.policy)


def main(rounds: int, address: int, size: int) -> None:
    """So many recordings."""
    dice = Dice(4711)
    bins = 0
    for turn in range(rounds):
        run = Run(Memory(address, size), dice, turn)
        run.go(12 + dice.below(30))
        bins += run.seen * run.group
        gc.collect()
    print(f"{rounds} recordings, {bins} bins equal")


if __name__ == "__main__":
    main(int(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else 0, int(sys.argv[4]) if len(sys.argv) > 4 else 0)
    print("done")
