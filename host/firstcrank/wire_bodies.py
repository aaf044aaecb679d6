"""Bodies of frames as the host reads them: the tables of JSON ones, the heads of binary ones. The board, short of memory, only writes them.

Formats and their meaning: wire.py.
"""

from __future__ import annotations

import struct
from typing import Annotated, NamedTuple, Required, TypedDict

from firstcrank.wire import (
    BINS_BYTES,
    BINS_FORMAT,
    CAPTURE_BYTES,
    CAPTURE_FORMAT,
    CLOSE_UP_BYTES,
    CLOSE_UP_FORMAT,
    FrameError,
    bin_bytes,
)


class ChannelBody(TypedDict):
    """One lead in CONFIGURE, ARM and STREAM: its role (roles.py) and the board's pin number."""

    role: Annotated[str, "the lead"]
    pin: int


class IdentityBody(TypedDict, total=False):
    """IDENTITY: what the board says of itself. docs/wire_format.md says when a key is there."""

    product: Annotated[str, "`firstcrank`"]
    firmware: Annotated[str, "as the host's version"]
    wire: Annotated[int, "version of the frames: the code of its letter"]
    state: Annotated[str, "`idle`, `recording`, `armed` or `alone`"]
    board: Annotated[str, "its unique number"]
    chip: str
    micropython: Annotated[str, "its version"]
    acquisitions: Annotated[list[str], "what it can sample with, the fastest first"]
    compiled: Annotated[bool, "its inner loops are machine code"]
    synthetic: Annotated[bool, "true of a simulated one"]
    adc_pins: Annotated[list[int], "a simulated board's inputs"]
    short_of_memory: Annotated[str, "why it has no room to sample the fast way"]
    alone_error: Annotated[str, "why it does not work alone as it was set to"]
    error: Annotated[str, "the last error of its program"]
    restarts: Annotated[int, "how often it started again while it waited for a start"]
    causes: Annotated[dict[str, int], "those restarts by their cause"]
    missed: Annotated[int, "starts under way when it came up"]
    waits: Annotated[int, "how often it began to wait for a start"]
    leads: Annotated[list[ChannelBody], "a simulated vehicle's"]
    answers: Annotated[dict[str, object], "a simulated vehicle's: what is known of it beside the leads"]
    system_v: Annotated[int, "a simulated vehicle's, 12 or 24"]


class InputBody(TypedDict, total=False):
    """One input in CHECK: mean, noise and range of its codes; codes after driving the pin where that was done."""

    role: Required[str]
    pin: Required[int]
    mean_code: Required[float]
    rms_code: Required[float]
    highest_code: Required[int]
    stuck: bool
    driven_codes: list[float]


class SelfCheckBody(TypedDict, total=False):
    """CHECK: the board's self-check."""

    free_bytes: int
    temperature_c: float | None
    inputs: list[InputBody]
    conversions_per_s: float


class AloneBody(TypedDict, total=False):
    """What a board that works alone was given beside its codes, in STREAM; `limits` plain or packed (board/alone.py)."""

    limits: dict[str, object]
    feed_kind: str


class StreamBody(TypedDict, total=False):
    """STREAM: what a recording is made of."""

    channels: list[ChannelBody]
    key_channel: int
    trigger_code: int
    bin_us: int
    conversions_per_bin: int
    conversion_ns: int
    acquisition: str
    acquisition_why: str
    board: str
    chip: str
    firmware: str
    micropython: str
    synthetic: bool
    calibration: dict[str, object]
    pretrigger_bins: int
    alone: AloneBody


class OutcomeBody(TypedDict, total=False):
    """What a board that worked alone found, in END."""

    verdict: str
    why: str
    number: int


class EndBody(TypedDict, total=False):
    """END: why the board ended, and its counters."""

    why: str
    counters: dict[str, object]
    alone: OutcomeBody


class CaptureBody(TypedDict):
    """One capture in the board's flash."""

    number: int
    bytes: int
    fetched: bool


class JournalBody(TypedDict, total=False):
    """What a board has to tell of its waits."""

    waits: int
    restarts: int
    causes: dict[str, int]
    missed: int
    error: str


class ReplyBody(TypedDict, total=False):
    """REPLY to a command, or the table of another kind that answers one (STATUS has `ticks_us`)."""

    to: int
    ok: bool
    why: str
    kept_ms: int
    calibration: dict[str, object] | None
    captures: list[CaptureBody]
    journal: JournalBody | None
    ticks_us: int


class BinsHead(NamedTuple):
    """Fixed part of a BINS body."""

    first_conversion: int
    ticks_us: int
    span_us: int
    lost_conversions: int
    lost_bins: int
    short_writes: int
    worst_gap_us: int
    conversions: int
    bin_count: int
    channel_count: int


class CloseUpHead(NamedTuple):
    """Fixed part of a CLOSE_UP body."""

    edge_conversion: int
    first_conversion: int
    edge: int
    falling: int
    last: int
    channel_count: int
    reserved: int
    code_count: int


class CapturePiece(NamedTuple):
    """A piece of a capture; `total` is the capture's length in bytes."""

    number: int
    offset: int
    total: int
    data: bytes


def unpack_bins_head(body: bytes) -> BinsHead:
    """The BinsHead of a BINS body. Raises FrameError where the length does not fit the counts it states."""
    if len(body) < BINS_BYTES:
        raise FrameError("bins frame too short")
    head = BinsHead(*struct.unpack(BINS_FORMAT, body[:BINS_BYTES]))
    if len(body) != BINS_BYTES + head.bin_count * bin_bytes(head.channel_count):
        raise FrameError("bins frame has the wrong length for its counts")
    return head


def unpack_close_up_head(body: bytes) -> CloseUpHead:
    """The CloseUpHead of a CLOSE_UP body. Raises FrameError where the length does not fit its count."""
    if len(body) < CLOSE_UP_BYTES:
        raise FrameError("close-up frame too short")
    head = CloseUpHead(*struct.unpack(CLOSE_UP_FORMAT, body[:CLOSE_UP_BYTES]))
    if len(body) != CLOSE_UP_BYTES + 2 * head.code_count:
        raise FrameError("close-up frame has the wrong length for its count")
    return head


def unpack_capture(body: bytes) -> CapturePiece:
    """The CapturePiece of a CAPTURE body. Raises FrameError where it is too short or ends behind its total."""
    if len(body) < CAPTURE_BYTES:
        raise FrameError("capture frame too short")
    number, offset, total = struct.unpack(CAPTURE_FORMAT, body[:CAPTURE_BYTES])
    piece = CapturePiece(number, offset, total, body[CAPTURE_BYTES:])
    if offset + len(piece.data) > total:
        raise FrameError("capture frame ends behind its total")
    return piece
