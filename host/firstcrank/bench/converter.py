"""The input network and the converter of the simulated board: filter, noise, code spikes, clipping, 12-bit codes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from firstcrank.calibration import CODES, Calibration, ChannelCalibration, nominal_channel
from firstcrank.trace import ROLES, FloatArray, Uncertainty

# RP2040 erratum E11: these codes are about nine codes wide; all others are a little narrower, so that the whole adds up.
SPIKE_CODES = (512, 1536, 2560, 3584)
SPIKE_WIDTH = 9.0
LOW_ROLES = ("module_ground", "engine_ground", "heater_return", "heater_coil", "starter_coil")


@dataclass(frozen=True, slots=True)
class InputError:
    """How one input truly differs from its calibration: volts seen = volts * gain + offset_v."""

    gain: float = 1.0
    offset_v: float = 0.0


@dataclass(frozen=True, slots=True)
class Converter:
    """A board's inputs. `errors`: role -> true error, none where absent."""

    calibration: Calibration
    noise_code: float = 1.3
    spikes: bool = True
    errors: Mapping[str, InputError] = field(default_factory=dict)

    def exact(self, role: str, volts: FloatArray) -> FloatArray:
        """Code as a real number, before noise and rounding; shape as `volts`."""
        line = self.calibration.channel(role)
        error = self.errors.get(role, InputError())
        code = np.asarray((volts * error.gain + error.offset_v - line.offset_v) / line.gain_v_per_code)
        return with_spikes(code) if self.spikes else code

    def codes(self, role: str, volts: FloatArray, step_s: float, rng: np.random.Generator) -> NDArray[np.uint16]:
        """Codes of one channel converted every `step_s`, shape as `volts`."""
        line = self.calibration.channel(role)
        seen = low_pass(volts, line.filter_s, step_s) if line.filter_s > 0 else volts
        lsb_v = line.gain_v_per_code
        noisy = seen + lsb_v * self.noise_code * rng.standard_normal(seen.shape)
        return np.asarray(np.clip(np.rint(self.exact(role, noisy)), 0, CODES - 1).astype(np.uint16))


def _knots() -> tuple[FloatArray, FloatArray]:
    """Ideal code -> code that the converter gives, as straight pieces: nearly flat across each wide code."""
    ideal, given = [0.0], [0.0]
    for spike in SPIKE_CODES:
        ideal += [spike - SPIKE_WIDTH / 2, spike + SPIKE_WIDTH / 2]
        given += [spike - 0.5, spike + 0.5]
    ideal.append(float(CODES))
    given.append(float(CODES))
    return np.array(ideal), np.array(given)


_IDEAL, _GIVEN = _knots()


def with_spikes(code: FloatArray) -> FloatArray:
    """The converter's transfer for ideal codes: off by up to four codes beside a wide code, by none half way between."""
    return np.asarray(np.where((code > 0) & (code < CODES), np.interp(code, _IDEAL, _GIVEN), code))


def low_pass(volts: FloatArray, filter_s: float, step_s: float) -> FloatArray:
    """First-order RC sampled every `step_s`, exact where the input runs straight between samples (ramp-invariant)."""
    x = step_s / filter_s
    keep = float(np.exp(-x))
    now, before = 1.0 - (1.0 - keep) / x, (1.0 - keep) / x - keep
    start = np.array([volts[0] * (1.0 - now)])
    return np.asarray(lfilter([now, before], [1.0, -keep], volts, zi=start)[0], dtype=np.float64)


def bench_calibration(system_v: int = 12) -> Calibration:
    """The nominal calibration of the simulated board: 100 k over 22 k (12 V) or 200 k over 20 k (24 V), 0.5 %, 1 nF.

    Inputs that can go below zero have an offset of a tenth of their range.
    """
    top, bottom = (100e3, 22e3) if system_v == 12 else (200e3, 20e3)
    line = nominal_channel(top, bottom, 0.005, reference_tolerance_rel=0.005, filter_f=1e-9)
    low = replace(line, offset_v=-0.08 * CODES * line.gain_v_per_code)
    channels = {role: low if role in LOW_ROLES else line for role in ROLES}
    return Calibration("nominal", channels, notes=("simulated board",))


def measured_calibration(system_v: int = 12) -> Calibration:
    """As bench_calibration, but measured with a meter: 0.1 % of reading and 4 mV (one standard uncertainty)."""
    nominal = bench_calibration(system_v)
    scale = system_v / 12.0

    def line(role: str) -> ChannelCalibration:
        was = nominal.channel(role)
        lsb_v = was.gain_v_per_code
        # Beside the code spikes a straight line is off by up to four codes, spread evenly: 4 / sqrt(3) codes.
        offset_v = float(np.hypot(0.004 * scale, 4.0 * lsb_v / np.sqrt(3.0)))
        return replace(was, uncertainty=Uncertainty(0.001, offset_v, 0.0007, 1.3 * lsb_v), spike_v=0.0)

    return Calibration("measured", {role: line(role) for role in ROLES}, notes=("simulated board",))


def drawn_converter(calibration: Calibration, rng: np.random.Generator) -> Converter:
    """A board whose true errors are drawn from what its calibration states."""
    some = next(iter(calibration.channels.values())).uncertainty
    shared = 1.0 + some.shared_gain_rel * float(rng.standard_normal())
    lsb_v = {role: c.gain_v_per_code for role, c in calibration.channels.items()}
    spread_v = 4.0 / np.sqrt(3.0)
    errors = {}
    for role, c in calibration.channels.items():
        u = c.uncertainty
        # The straight line's share of the offset uncertainty is the spikes themselves, which the converter adds.
        own_v = float(np.sqrt(max(u.offset_v**2 - (spread_v * lsb_v[role]) ** 2, (0.3 * u.offset_v) ** 2)))
        gain = shared * (1.0 + u.gain_rel * float(rng.standard_normal()))
        errors[role] = InputError(gain, own_v * float(rng.standard_normal()))
    return Converter(calibration, noise_code=float(rng.uniform(1.0, 1.4)), errors=errors)
