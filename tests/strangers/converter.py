"""A microcontroller's converter as its datasheet's erratum describes it, an input divider, and how well it was calibrated.

Four codes (512, 1536, 2560, 3584) are about nine codes wide (RP2040 datasheet, erratum E11; independent test: DNL 8.9,
noise 1.0 to 1.4 codes rms). As the ends fit, what the wide codes take is given back evenly between them, so a straight line
is off by a sawtooth of four codes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

Floats = NDArray[np.float64]
TOP = 4095
NOISE_CODE = 1.4
WIDE = 9.0
_BANK = 4096


def staircase(x: Floats) -> Floats:
    """Output of the converter, in codes with fractions, for an ideal code `x`: flat over each wide code."""
    segment = np.floor((x + 512.0) / 1024.0)
    low, high = segment * 1024.0 - 512.0, segment * 1024.0 + 512.0
    extra = WIDE - 1.0
    shifted = x + (x - low) / 1024.0 * extra - extra / 2.0
    return np.minimum(np.maximum(shifted, low), high)


@dataclass(frozen=True, slots=True)
class Line:
    """One input: volts = code * gain_v + offset_v in truth, and as the calibration says it, with standard uncertainties.

    `u_offset_v` covers the sawtooth: four codes, rectangular.
    """

    true_gain_v: float
    true_offset_v: float
    gain_v: float
    offset_v: float
    u_gain_rel: float
    u_shared_rel: float
    u_offset_v: float
    noise_v: float

    def ideal(self, volts: Floats) -> Floats:
        """Ideal code, with fractions, clipped at the converter's ends."""
        return np.clip((volts - self.true_offset_v) / self.true_gain_v, 0.0, float(TOP))

    def volts(self, code: Floats) -> Floats:
        """What is read for a code."""
        return np.asarray(code, dtype=np.float64) * self.gain_v + self.offset_v

    def code(self, volts: float) -> int:
        """The code nearest to `volts` by the calibration."""
        return int(min(max(round((volts - self.offset_v) / self.gain_v), 0), TOP))


def lines(rng: Generator, roles: tuple[str, ...], system_v: int, full_scale_v: float | None = None) -> dict[str, Line]:
    """A board's inputs. Measured against a meter in two builds of three, by the resistors' tolerance in the third.

    Nominal: 100 k over 22 k of one per cent, 3.3 V of one per cent: 0.67 % each and 0.58 % shared (JCGM 100 4.3.7).
    Measured with a half-per-cent meter: 0.1 % each, 0.29 % shared, 8 mV.
    """
    full = full_scale_v or (18.3 if system_v == 12 else 37.0)
    lsb = full / (TOP + 1)
    measured = rng.random() < 0.67
    u_gain, u_shared, u_off = (0.001, 0.0029, 0.008 * system_v / 12) if measured else (0.0067, 0.0058, 3 * lsb / np.sqrt(3))

    def error(u: float) -> float:
        return float(rng.normal(0, u)) if measured else float(rng.uniform(-u, u) * np.sqrt(3))

    shared = error(u_shared)
    out = {}
    for role in roles:
        gain = lsb * rng.uniform(0.99, 1.01)
        true_gain = gain * (1 + shared + error(u_gain))
        u_saw = (WIDE - 1.0) / 2.0 * lsb / np.sqrt(3)
        out[role] = Line(true_gain, error(u_off), gain, 0.0, u_gain, u_shared, float(np.hypot(u_off, u_saw)), NOISE_CODE * lsb)
    return out


def extremes(count: int) -> tuple[Floats, Floats]:
    """Lowest and highest of `count` normal deviates, a bank of 4096 draws each, the same for ever."""
    if count not in _banks:
        rng = np.random.default_rng([count, 99])
        z = rng.standard_normal((_BANK, count))
        _banks[count] = (z.min(axis=1), z.max(axis=1))
    return _banks[count]


_banks: dict[int, tuple[Floats, Floats]] = {}
