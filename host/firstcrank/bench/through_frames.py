"""A simulated start by the long way: the simulated board, the firmware's fold, real frames, the recording's own reader."""

from __future__ import annotations

import json

from firstcrank import wire
from firstcrank.bench.converter import Converter
from firstcrank.bench.simulated_board import SimulatedBoard
from firstcrank.bench.truth import Truth
from firstcrank.limits import shipped
from firstcrank.trace import Trace
from firstcrank.tracefiles.native import from_bytes

RECORDING = b"benchrun"
LONGEST_S = 120.0


def frames_of(truth: Truth, converter: Converter, bin_us: int = 768) -> bytes:
    """Every byte the simulated board sends for one whole start."""
    board = SimulatedBoard(f"bench:{truth.name}", truth, converter, truth.seed)
    trigger_code = converter.calibration.channel("key_switch").code(shipped(truth.system_v)["module_minimum_v"])
    channels = [{"role": role, "pin": 26 + n} for n, role in enumerate(truth.roles)]
    config = {"channels": channels, "bin_us": bin_us, "trigger_code": trigger_code}
    board.write(wire.encode_frame(wire.CONFIGURE, wire.NO_RECORDING, 0, json.dumps(config).encode()))
    board.write(wire.encode_frame(wire.START, RECORDING, 1, b""))
    received = bytearray()
    while board.now_s() < truth.end_s:
        received += board.read(0.5)
    board.write(wire.encode_frame(wire.STOP, wire.NO_RECORDING, 2, b""))
    deframer = wire.Deframer()
    while board.now_s() < truth.end_s + LONGEST_S:
        data = board.read(0.5)
        received += data
        if any(frame.kind == wire.END for frame in deframer.feed(data)):
            break
    return bytes(received)


def through_frames(truth: Truth, converter: Converter) -> Trace:
    """The start as a recording's reader gives it back."""
    return from_bytes(frames_of(truth, converter), converter.calibration, truth.name).trace
