"""Readings as they come from a board, for as long as they are wanted, kept nowhere: for live values and the harness watch."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from firstcrank import wire, wire_bodies
from firstcrank.calibration import Calibration
from firstcrank.errors import BoardRefusedError, LinkLostError
from firstcrank.link.board_client import BoardClient, patience, table_of
from firstcrank.trace import FloatArray
from firstcrank.wire_bodies import ChannelBody

QUIET_S = 8.0


@dataclass(frozen=True, slots=True)
class Readings:
    """Some bins, arrays of shape (n,): start and end in seconds since the first, mean and lowest volts by role."""

    start_s: FloatArray
    end_s: FloatArray
    mean_v: Mapping[str, FloatArray]
    lowest_v: Mapping[str, FloatArray]
    missed: int = 0


def stream(
    client: BoardClient, channels: Sequence[ChannelBody], calibration: Calibration, trigger_v: float, bin_us: int = 768
) -> Iterator[Readings]:
    """Readings until the caller stops asking. Raises BoardRefusedError, LinkLostError where the board refuses or falls silent."""
    client.idle()
    trigger = calibration.channel("key_switch").code(trigger_v)
    client.configure(channels, bin_us, trigger, "auto")
    recording_id = os.urandom(8)
    client.command(wire.START, {}, recording_id)
    decoder = _Decoder([str(channel["role"]) for channel in channels], calibration)
    silent_s = 0.0
    try:
        while True:
            before_s = client.link.now_s()
            got = False
            for frame in client.frames(0.1 * patience()):
                if frame.kind == wire.REPLY and not table_of(frame.body).get("ok", True):
                    raise BoardRefusedError(f"the board refused: {table_of(frame.body).get('why')}")
                if frame.kind != wire.BINS or frame.recording_id != recording_id:
                    continue
                readings = decoder.read(frame.body)
                if readings is not None:
                    got = True
                    yield readings
            silent_s = 0.0 if got else silent_s + client.link.now_s() - before_s
            if silent_s > QUIET_S * patience():
                raise LinkLostError("the board went silent: unplug it, plug it in again, and start once more")
    finally:
        with contextlib.suppress(LinkLostError):
            client.stop()


class _Decoder:
    def __init__(self, roles: list[str], calibration: Calibration) -> None:
        self._roles, self._lines = roles, [calibration.channel(role) for role in roles]
        self._last_us: int | None = None
        self._elapsed_us = 0

    def read(self, body: bytes) -> Readings | None:
        """None where the frame holds nothing that can be used."""
        try:
            head = wire_bodies.unpack_bins_head(body)
        except wire.FrameError:
            return None
        if head.bin_count == 0 or head.conversions == 0 or head.channel_count != len(self._roles):
            return None
        fields = np.frombuffer(body, dtype="<u2", offset=wire.BINS_BYTES).reshape(head.bin_count, -1)
        if self._last_us is not None:
            self._elapsed_us += (head.ticks_us - self._last_us) % wire.TICKS_WRAP_US
        self._last_us = head.ticks_us
        step_s = head.span_us * 1e-6 / head.bin_count
        start_s = self._elapsed_us * 1e-6 + np.arange(head.bin_count, dtype=np.float64) * step_s
        pairs = list(zip(self._roles, self._lines, strict=True))
        mean = {role: line.volts(fields[:, 3 * n] / wire.MEAN_SCALE) for n, (role, line) in enumerate(pairs)}
        lowest = {role: line.volts(fields[:, 3 * n + 1]) for n, (role, line) in enumerate(pairs)}
        return Readings(start_s, start_s + step_s, mean, lowest)
