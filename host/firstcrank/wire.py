"""The wire between board and host: every frame and command, defined once.

This very file runs on the host (CPython 3.11 or newer) and on the board (MicroPython 1.24 or newer);
the install command copies it. So it keeps to the subset both have: no dataclasses, enum or typing.

A frame on the wire is `COBS(header | body | crc) 0x00`, all numbers little-endian:

    header   version u8, kind u8, recording id 8 bytes, sequence u32          HEADER_FORMAT
    body     by kind, see the sections below
    crc      CRC-32/ISO-HDLC of header and body, u32

`version` and `kind` are printable letters so that the one frame that may reach a stranger's port, PROBE,
can be written without a single control character. docs/wire_format.md tells the same in words.
"""

import binascii
import struct
from collections import namedtuple

VERSION = 0x31  # "1"; a frame with another version is refused, not guessed at
FIRMWARE_VERSION = "0.1.0"  # of the whole project; board and host must agree on this to the letter

HEADER_FORMAT = "<BB8sI"
HEADER_BYTES = 14
CRC_BYTES = 4
MAX_BODY_BYTES = 4096
NO_RECORDING = b"\x00" * 8

# Kinds, board to host.
IDENTITY = 0x49  # "I"  JSON: what this board is; sent when asked and once a second while idle
STREAM = 0x53  # "S"  JSON: channels, rates, trigger; first frame of a recording and repeated every second
BINS = 0x42  # "B"  binary: consecutive bins
CLOSE_UP = 0x43  # "C"  binary: raw conversions around an edge of the feed
STATUS = 0x54  # "T"  JSON: counters of everything lost, state, free memory
REPLY = 0x52  # "R"  JSON: {"to": kind, "ok": bool, "why": text, ...}
CHECK = 0x4B  # "K"  JSON: outcome of the self-check
END = 0x45  # "E"  JSON: last frame of a recording: final counters and the reason it ended
CAPTURE = 0x50  # "P"  binary: a piece of a capture stored in the board's flash

# Kinds, host to board.
IDENTIFY = 0x69  # "i"  padding only
CONFIGURE = 0x63  # "c"  JSON: channels, bin length, trigger
START = 0x73  # "s"  JSON: {} ; the header carries the recording id the host chose
STOP = 0x78  # "x"
GET_STATUS = 0x74  # "t"
SELF_CHECK = 0x6B  # "k"
LEAVE = 0x6C  # "l"  leave to the MicroPython prompt
ARM = 0x61  # "a"  JSON: wait for the inrush, or {"alone": table}: work without a host
CAPTURES = 0x70  # "p"  JSON: list, read or mark stored captures
CALIBRATE = 0x67  # "g"  JSON: store or read the calibration kept on the board

# Kinds the host writes into a recording beside what the board sent. A board never sends them.
NOTE = 0x6E  # "n"  JSON: {"note": "identity" | "calibration" | "limits" | "answers" | "end", ...}, see docs/trace_format.md

Frame = namedtuple("Frame", ("kind", "recording_id", "sequence", "body"))


class FrameError(ValueError):
    """The bytes between two delimiters are not a frame: stuffing, length, checksum or version is wrong."""


def cobs_encode(data: bytes) -> bytes:
    """Consistent overhead byte stuffing (Cheshire and Baker 1999): `data` without any zero byte, delimiter not added.

    Returns bytes of length at most len(data) + 1 + len(data) // 254.
    """
    out = bytearray(len(data) + 2 + len(data) // 254)
    code_at = 0
    write = 1
    code = 1
    last = len(data) - 1
    for i, byte in enumerate(data):
        if byte:
            out[write] = byte
            write += 1
            code += 1
        if not byte or (code == 255 and i != last):
            out[code_at] = code
            code_at = write
            write += 1
            code = 1
    out[code_at] = code
    return bytes(out[:write])


def cobs_decode(stuffed: bytes) -> bytes:
    """Undoes cobs_encode. Raises FrameError where a length code is zero or points past the end."""
    out = bytearray()
    read = 0
    end = len(stuffed)
    while read < end:
        code = stuffed[read]
        stop = read + code
        if code == 0 or stop > end:
            raise FrameError("byte stuffing is broken")
        out += stuffed[read + 1 : stop]
        read = stop
        if code < 255 and read < end:
            out.append(0)
    return bytes(out)


def encode_frame(kind: int, recording_id: bytes, sequence: int, body: bytes) -> bytes:
    """One frame ready to send, its closing delimiter included.

    `recording_id` is 8 bytes, `sequence` 0 to 2**32 - 1, `body` at most MAX_BODY_BYTES.
    Raises ValueError where a field is out of range: MicroPython's struct would wrap it silently.
    """
    if len(recording_id) != 8 or not 0 <= kind <= 255 or not 0 <= sequence <= 0xFFFFFFFF:
        raise ValueError("frame header field out of range")
    if len(body) > MAX_BODY_BYTES:
        raise ValueError("frame body longer than %d bytes" % MAX_BODY_BYTES)
    plain = struct.pack(HEADER_FORMAT, VERSION, kind, recording_id, sequence) + bytes(body)
    crc = binascii.crc32(plain) & 0xFFFFFFFF
    return cobs_encode(plain + struct.pack("<I", crc)) + b"\x00"


def decode_frame(stuffed: bytes) -> Frame:
    """The Frame in the bytes between two delimiters. Raises FrameError where they are not one."""
    return parse_frame(cobs_decode(stuffed))


def parse_frame(plain: bytes) -> Frame:
    """The Frame in bytes that were unstuffed. Raises FrameError where they are not one."""
    if len(plain) < HEADER_BYTES + CRC_BYTES:
        raise FrameError("too short for a frame")
    if len(plain) > HEADER_BYTES + MAX_BODY_BYTES + CRC_BYTES:
        raise FrameError("too long for a frame")
    (crc,) = struct.unpack("<I", plain[-CRC_BYTES:])
    if crc != binascii.crc32(plain[:-CRC_BYTES]) & 0xFFFFFFFF:
        raise FrameError("checksum differs")
    version, kind, recording_id, sequence = struct.unpack(HEADER_FORMAT, plain[:HEADER_BYTES])
    if version != VERSION:
        raise FrameError("frame version %d is not %d" % (version, VERSION))
    return Frame(kind, recording_id, sequence, plain[HEADER_BYTES:-CRC_BYTES])


class Deframer:
    """Turns a byte stream into frames and counts what was not a frame.

    `bad_frames` counts delimited pieces that failed, `bad_bytes` their bytes. Bytes that wait for their
    delimiter are not yet counted; a piece longer than any frame is dropped and counted at once.
    """

    LONGEST = HEADER_BYTES + MAX_BODY_BYTES + CRC_BYTES + 2 + (HEADER_BYTES + MAX_BODY_BYTES + CRC_BYTES) // 254

    def __init__(self) -> None:
        self.bad_frames = 0
        self.bad_bytes = 0
        self._rest = bytearray()
        self._skipping = False

    def feed(self, data: bytes) -> list[Frame]:
        """Frames completed by `data`, in order."""
        frames = []
        pieces = bytes(data).split(b"\x00")
        for i, piece in enumerate(pieces):
            if self._skipping:
                self.bad_bytes += len(piece)
            else:
                self._rest += piece
                if len(self._rest) > self.LONGEST:
                    self._count_bad(len(self._rest))
                    self._skipping = True
                    self._rest = bytearray()
            if i == len(pieces) - 1:
                break  # no delimiter behind it yet
            if self._skipping:
                self._skipping = False
                continue
            if self._rest:
                try:
                    frames.append(decode_frame(bytes(self._rest)))
                except FrameError:
                    self._count_bad(len(self._rest))
                self._rest = bytearray()
        return frames

    def _count_bad(self, count: int) -> None:
        self.bad_frames += 1
        self.bad_bytes += count


# --- BINS -------------------------------------------------------------------------------------------
# Fixed part, then `bin_count` bins. A bin is `channel_count` times CHANNEL_FORMAT in the order of the
# STREAM frame's channels, then RUNS_FORMAT for the key feed.
#
#   first_conversion  index, since the start of the recording and over all channels, of the first conversion
#                     of the first bin. Conversions known to be lost are counted in it.
#   ticks_us          board clock at that conversion, modulo TICKS_WRAP_US
#   span_us           from there to the end of the last bin
#   lost_conversions  made by the converter and never folded, since the start (FIFO overflow, ring overrun)
#   lost_bins         folded and never sent, since the start, because the link did not take them
#   short_writes      writes the link took only in part or not at all, since the start
#   worst_gap_us      longest time in this frame between two samples of the same channel, the time from the
#                     frame before included
#   conversions       conversions per channel folded into each bin of this frame
BINS_FORMAT = "<QIIIIIIHBB"
BINS_BYTES = 36
CHANNEL_FORMAT = "<HHH"  # mean in 1/16 code (so that averaging's extra bits survive), minimum code, maximum code
CHANNEL_BYTES = 6
# In conversions of the key feed: the longest run below the trigger code anywhere in the bin, the run that
# touches the bin's start, the run that touches its end. A bin wholly below has all three equal to `conversions`.
RUNS_FORMAT = "<HHH"
RUNS_BYTES = 6
MEAN_SCALE = 16
CODE_TOP = 4095
TICKS_WRAP_US = 1 << 30


def bin_bytes(channel_count: int) -> int:
    """Length of one bin in a BINS body."""
    return channel_count * CHANNEL_BYTES + RUNS_BYTES


# --- CLOSE_UP ---------------------------------------------------------------------------------------
# One piece of the raw conversions around an edge, then `count` codes u16 in conversion order (channel of
# the first code: first_conversion modulo channel_count).
#
#   edge_conversion   index of the conversion that crossed the trigger code
#   first_conversion  index of this piece's first code
#   edge              which edge of this recording, from 0
#   falling           1 the feed fell below the trigger code, 0 it came back
#   last              1 on the last piece of this edge
CLOSE_UP_FORMAT = "<QQHBBBBH"
CLOSE_UP_BYTES = 24

# --- CAPTURE ----------------------------------------------------------------------------------------
# A piece of a capture kept in the board's flash, itself a file of frames: number, offset, bytes in all, then the bytes.
CAPTURE_FORMAT = "<III"
CAPTURE_BYTES = 12


def pack_capture(number: int, offset: int, total: int, data: bytes) -> bytes:
    """Body of a CAPTURE frame."""
    return struct.pack(CAPTURE_FORMAT, number, offset, total) + bytes(data)


# --- PROBE ------------------------------------------------------------------------------------------
# The only bytes ever sent to a port that has not yet said it is ours: an IDENTIFY frame between two
# delimiters, its padding chosen so that all else is printable ASCII. A MicroPython prompt, a modem or a
# shell sees one unfinished line of text: nothing to run, no Ctrl-C, no soft reset, no raw mode.
PROBE_ID = b"askboard"
PROBE_SEQUENCE = 0x20202020
PROBE_BODY = b"firstcrank? 00039"
PROBE = b"\x00$1iaskboard    firstcrank? 00039o;Z[\x00"
