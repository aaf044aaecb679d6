"""A BINS frame's plain bytes from the ring into a buffer, and its checksum: plain Python, the oracle of framing_viper and crc_viper.

`job` is an array('i') laid out by the names below; nothing is allocated by the compiled twins.
"""

import struct
from binascii import crc32

from .bin_ring import CONVERSIONS, FIRST_HIGH, FIRST_LOW, GAP, HEADER_WORDS, SPAN, TICKS
from .wire import BINS_BYTES, BINS_FORMAT, HEADER_BYTES

if 0:  # for mypy alone: compiled to nothing
    from board_types import Words

BLOCK = 0  # first block
BLOCKS = 1
BLOCK_BYTES = 2
BIN_COUNT = 3
CHANNELS = 4
LOST_CONVERSIONS = 5
LOST_BINS = 6
SHORT_WRITES = 7
WORDS = 8  # headers of a block: 6, or 3 where the rest is the same for all and given here
SAME_SPAN = 9
SAME_GAP = 10
SAME_CONVERSIONS = 11
JOB = 12


def table() -> None:
    """None: binascii has its own. See crc_table."""
    return


def bins_body(plain: bytearray, headers: "Words", bins: bytearray, job: "Words") -> int:
    """Writes the body of a BINS frame behind the header in `plain`; returns where it ends."""
    words = job[WORDS]
    first = job[BLOCK] * words
    last = first + (job[BLOCKS] - 1) * words
    gap_us, span_us, conversions = job[SAME_GAP], job[SAME_SPAN], job[SAME_CONVERSIONS]
    if words == HEADER_WORDS:
        gap_us = 0
        for word in range(first, last + 1, words):
            if headers[word + GAP] > gap_us:
                gap_us = headers[word + GAP]
        span_us, conversions = headers[last + SPAN], headers[first + CONVERSIONS]
    ticks_us = headers[first + TICKS]
    struct.pack_into(
        BINS_FORMAT,
        plain,
        HEADER_BYTES,
        (headers[first + FIRST_HIGH] << 30) + headers[first + FIRST_LOW],
        ticks_us,
        ((headers[last + TICKS] - ticks_us) & 0x3FFFFFFF) + span_us,
        job[LOST_CONVERSIONS],
        job[LOST_BINS],
        job[SHORT_WRITES],
        gap_us,
        conversions,
        job[BIN_COUNT],
        job[CHANNELS],
    )
    begin = HEADER_BYTES + BINS_BYTES
    size = job[BLOCKS] * job[BLOCK_BYTES]
    source = job[BLOCK] * job[BLOCK_BYTES]
    plain[begin : begin + size] = memoryview(bins)[source : source + size]
    return begin + size


def crc_into(data: bytearray, length: int, _table: object) -> None:
    """CRC-32/ISO-HDLC of data[:length], stored little-endian behind it."""
    struct.pack_into("<I", data, length, crc32(memoryview(data)[:length]) & 0xFFFFFFFF)


def header(plain: bytearray, version: int, kind: int, identity: bytes, sequence: int) -> None:
    """The frame's first fourteen bytes; `identity` is the recording id, 8 bytes."""
    plain[0] = version
    plain[1] = kind
    for n in range(8):
        plain[2 + n] = identity[n]
    for n in range(4):
        plain[10 + n] = sequence & 255
        sequence >>= 8


def pad(target: bytearray, length: int, multiple: int) -> int:
    """Zeros behind `length` up to a multiple of `multiple`; returns where they end."""
    while length % multiple:
        target[length] = 0
        length += 1
    return length
