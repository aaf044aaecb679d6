"""A simulated start by the long way: the simulated board, the firmware's fold, real frames, the recording's own reader."""

from __future__ import annotations

import json

from firstcrank import wire, wire_bodies
from firstcrank.limits import shipped
from firstcrank.trace import Trace
from firstcrank.tracefiles.native import as_recording, from_bytes
from firstcrank_sim.board.converter import Converter
from firstcrank_sim.board.parts import CONVERSION_S
from firstcrank_sim.board.simulated_board import SimulatedBoard
from firstcrank_sim.vehicle.truth import Truth

RECORDING = b"benchrun"
LONGEST_S = 120.0


def frames_of(truth: Truth, converter: Converter, bin_us: int = 768) -> bytes:
    """Every byte the simulated board sends for one whole start."""
    board = SimulatedBoard(f"sim:{truth.name}", truth, converter, truth.seed)
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
    data = frames_of(truth, converter)
    if truth.plan.holes:
        data = _without(data, truth)
    recording = as_recording(
        data,
        RECORDING,
        "simulated",
        identity={"kind": "start", "synthetic": True},
        calibration={"calibration": converter.calibration.to_json()},
        limits={"limits": shipped(truth.system_v).to_json()},
        answers={},
    )
    return from_bytes(recording, None, truth.name).trace


def _without(data: bytes, truth: Truth) -> bytes:
    """The same bytes less every frame of bins that touches one of the start's holes, as a link loses them: whole frames."""
    kept = bytearray()
    for piece in data.split(b"\x00"):
        try:
            frame = wire.decode_frame(piece)
        except wire.FrameError:
            continue
        if frame.kind == wire.BINS:
            head = wire_bodies.unpack_bins_head(frame.body)
            begin_s = head.first_conversion * CONVERSION_S
            end_s = begin_s + head.bin_count * head.conversions * head.channel_count * CONVERSION_S
            if any(begin_s < hole.end_s and hole.start_s < end_s for hole in truth.plan.holes):
                continue
        kept += piece + b"\x00"
    return bytes(kept)
