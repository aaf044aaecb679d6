"""One frame of bins as volts on a clock of its own: what live screen, harness watch and recorder follow while bins arrive.

What is judged is read back from the file, by tracefiles/bin_arrays.py, which sees every frame at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from firstcrank import wire, wire_bodies
from firstcrank.calibration import Calibration
from firstcrank.trace import FloatArray


@dataclass(frozen=True, slots=True)
class Readings:
    """Some bins, arrays of shape (n,), n at least 1: start and end in seconds since the first frame, mean and lowest volts by role."""

    head: wire_bodies.BinsHead
    start_s: FloatArray
    end_s: FloatArray
    mean_v: Mapping[str, FloatArray]
    lowest_v: Mapping[str, FloatArray]


class BinsDecoder:
    """Follows one recording. The board's clock, which wraps, places a frame; bins that were lost shift nothing."""

    def __init__(self, roles: Sequence[str], calibration: Calibration) -> None:
        """`roles` in the order of the recording's channels. Raises CalibrationError where the calibration lacks one."""
        self._lines = [(role, calibration.channel(role)) for role in roles]
        self._last_us: int | None = None
        self._elapsed_us = 0

    def read(self, body: bytes) -> Readings | None:
        """None where the frame holds nothing that can be used."""
        try:
            head = wire_bodies.unpack_bins_head(body)
        except wire.FrameError:
            return None
        if head.bin_count == 0 or head.conversions == 0 or head.channel_count != len(self._lines):
            return None
        fields = np.frombuffer(body, dtype="<u2", offset=wire.BINS_BYTES).reshape(head.bin_count, -1)
        if self._last_us is not None:
            self._elapsed_us += (head.ticks_us - self._last_us) % wire.TICKS_WRAP_US
        self._last_us = head.ticks_us
        step_s = head.span_us * 1e-6 / head.bin_count
        start_s = self._elapsed_us * 1e-6 + np.arange(head.bin_count, dtype=np.float64) * step_s
        mean = {role: line.volts(fields[:, 3 * n] / wire.MEAN_SCALE) for n, (role, line) in enumerate(self._lines)}
        lowest = {role: line.volts(fields[:, 3 * n + 1]) for n, (role, line) in enumerate(self._lines)}
        return Readings(head, start_s, start_s + step_s, mean, lowest)
