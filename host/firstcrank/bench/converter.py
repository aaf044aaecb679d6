"""The input network and the converter of the simulated board: filter, noise, code spikes, clipping, 12-bit codes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from firstcrank.calibration import CODES, Calibration
from firstcrank.trace import FloatArray

SPIKE_CODES = (512, 1536, 2560, 3584)  # RP2040 erratum E11
SPIKE_WIDTH = 9  # codes missing round each, the published figure for 512


@dataclass(frozen=True, slots=True)
class Converter:
    """`true_gain` and `true_offset_v`: how this board really differs from its calibration (1.0 and 0 V: not at all)."""

    calibration: Calibration
    noise_code: float = 1.2
    spikes: bool = True
    true_gain: float = 1.0
    true_offset_v: float = 0.0

    def codes(self, role: str, volts: FloatArray, step_s: float, rng: np.random.Generator) -> NDArray[np.uint16]:
        """Codes of one channel converted every `step_s`, shape as `volts`."""
        line = self.calibration.channel(role)
        seen = volts * self.true_gain + self.true_offset_v
        if line.filter_s > 0:
            seen = _low_pass(seen, line.filter_s, step_s)
        exact = (seen - line.offset_v) / line.gain_v_per_code
        noisy = exact + rng.normal(0.0, self.noise_code, exact.shape)
        codes = np.clip(np.rint(noisy), 0, CODES - 1)
        if self.spikes:
            codes = with_spikes(codes)
        return codes.astype(np.uint16)


def with_spikes(codes: FloatArray) -> FloatArray:
    """Codes just below each missing stretch read as its lower edge: a flat step in the transfer, then a jump."""
    changed = codes.copy()
    for spike in SPIKE_CODES:
        missing = (codes > spike - SPIKE_WIDTH) & (codes < spike)
        changed[missing] = np.where(codes[missing] < spike - SPIKE_WIDTH / 2, spike - SPIKE_WIDTH, spike)
    return changed


def _low_pass(volts: FloatArray, filter_s: float, step_s: float) -> FloatArray:
    """First-order RC, exact for a step: y += (x - y) * (1 - exp(-step/tau))."""
    share = 1.0 - np.exp(-step_s / filter_s)
    start = np.array([volts[0] * (1.0 - share)])
    return np.asarray(lfilter([share], [1.0, share - 1.0], volts, zi=start)[0], dtype=np.float64)
