"""What must not allocate, run with the heap locked. Runs on MicroPython: no_allocation.py FOLDER

An allocation with the heap locked raises MemoryError, so each line printed was done without one.
"""

import sys
from array import array

import micropython

sys.path.insert(0, sys.argv[1])

from firstcrank_board import fast, fold, fold_viper, framing, mcp3208, outbox, portable, stuff, wire
from firstcrank_board.bin_ring import BinRing

TYPE_CHECKING = False  # MicroPython has no typing; tools take the name for true
if TYPE_CHECKING:
    from collections.abc import Callable

CHANNELS, SAMPLES = 3, 40
BIN_BYTES = wire.bin_bytes(CHANNELS)


def call(function: "Callable[..., object]", args: "tuple[object, ...]") -> None:
    """function(*args) without the memory that unpacking takes."""
    if len(args) == 0:
        function()
    elif len(args) == 1:
        function(args[0])
    elif len(args) == 3:
        function(args[0], args[1], args[2])
    else:
        function(args[0], args[1], args[2], args[3])


def locked(name: str, function: "Callable[..., object]", *args: object) -> None:
    """Calls it with the heap locked and says so."""
    call(function, args)  # once unlocked: what is made at the first use may allocate
    micropython.heap_lock()
    try:
        call(function, args)
    finally:
        micropython.heap_unlock()
    print("no allocation: " + name)


def allocates(name: str, function: "Callable[..., object]", *args: object) -> None:
    """The other way round: shows that the lock would tell."""
    caught = False
    micropython.heap_lock()
    try:
        call(function, args)
    except MemoryError:
        caught = True
    micropython.heap_unlock()
    assert caught, f"the heap is locked and {name} allocated"
    print("allocates: " + name)


class Clock:
    """Ticks that need no memory."""

    now_us = 0

    @staticmethod
    def ticks_us() -> int:
        """A microsecond later each time."""
        Clock.now_us += 1
        return Clock.now_us

    @staticmethod
    def ticks_diff(a: int, b: int) -> int:
        """As time.ticks_diff."""
        return a - b


class Select:
    """A chip select that is called with its level."""

    def __call__(self, level: int) -> None:
        pass


class Bus:
    """Three bytes there and back; `taken` holds the last answer's place."""

    def write_readinto(self, command: bytearray, answer: bytearray) -> None:
        """The code 0xABC behind a null bit."""
        answer[0], answer[1], answer[2] = 0xFF, 0xEA, 0xBC


class Stream:
    """Takes everything."""

    taken = 0

    def writable(self) -> bool:
        """Always."""
        return True

    def write_part(self, buffer: bytearray, at: int, count: int) -> int:
        """All of it."""
        Stream.taken += count
        return count


def fill(ring: BinRing) -> None:
    """A bin with headers in the ring."""
    slot = ring.slot()
    ring.bins[slot] = 7
    ring.commit(0x3FFFFFFF, 5, 0x3FFFFFFF, 768, 9, SAMPLES)


def pumped(out: outbox.Outbox, ring: BinRing) -> None:
    """Frames of the bins that wait, written out."""
    while out.pump(ring, 0):
        pass


def main() -> None:
    """All of them."""
    codes = array("H", [n & 4095 for n in range(CHANNELS * SAMPLES)])
    bins = bytearray(BIN_BYTES)
    params = array("i", [0, SAMPLES, CHANNELS, 1, 30, 0])
    locked("fold_viper.fold", fold_viper.fold, codes, bins, params)
    locked("fold.fold", fold.fold, codes, bins, params)

    plain, stuffed = bytearray(200), bytearray(264)
    crc_table = fast.table()
    headers, job = array("i", [0x3FFFFFFF] * 12), array("i", [0, 2, BIN_BYTES, 2, CHANNELS, 1, 2, 3, 6, 768, 9, SAMPLES])
    ring_bins = bytearray(2 * BIN_BYTES)
    assert fast.COMPILED
    locked("fast.bins_body", fast.bins_body, plain, headers, ring_bins, job)
    locked("fast.crc_into", fast.crc_into, plain, 100, crc_table)
    locked("fast.stuff", fast.stuff, plain, 104, stuffed)
    locked("stuff.stuff", stuff.stuff, plain, 104, stuffed)
    allocates("framing.crc_into", framing.crc_into, plain, 100, None)

    ring = BinRing(64, BIN_BYTES)
    stream = Stream()
    out = outbox.Outbox(stream)
    fill(ring)
    pumped(out, ring)
    for _ in range(40):
        fill(ring)
    before = Stream.taken
    micropython.heap_lock()
    try:
        pumped(out, ring)
    finally:
        micropython.heap_unlock()
    assert ring.waiting() == 0
    assert Stream.taken - before > 40 * BIN_BYTES, Stream.taken
    print("no allocation: outbox framing 40 bins")
    locked("ring", fill, ring)

    bus, select = Bus(), Select()
    inputs = [mcp3208.Input(bus, select, n) for n in range(CHANNELS)]
    locked("mcp3208.Input.read_u16", inputs[2].read_u16)
    acquisition = portable.PortableAcquisition(Clock, inputs)
    acquisition.start({"bin_us": 50, "key_channel": 1, "trigger_code": 100}, ring)
    locked("portable.poll on mcp3208", acquisition.poll)
    locked("portable.poll on mcp3208, the next bin", acquisition.poll)


main()
print("done")
