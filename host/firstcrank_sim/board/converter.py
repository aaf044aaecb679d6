"""The input network and the converter of the simulated board: filter, noise, code spikes, clipping, 12-bit codes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from firstcrank.calibration import CODES, Calibration, ChannelCalibration, nominal_channel
from firstcrank.role_properties import BELOW_ZERO_ROLES
from firstcrank.roles import ROLES
from firstcrank.trace import FloatArray, Uncertainty

# RP2040 erratum E11: four codes are about nine codes wide; all others are a little narrower, so that the whole adds up. The mean of
# five published boards and how far single ones lay from it (converters.FIVE_BOARDS).
SPIKE_CODES = (511, 1535, 2559, 3583)
SPIKE_WIDTHS = (10.4, 9.3, 9.1, 10.1)
WIDTH_SPREAD = 1.0


@dataclass(frozen=True, slots=True)
class InputError:
    """How one input truly differs from its calibration: volts seen = volts * gain + offset_v."""

    gain: float = 1.0
    offset_v: float = 0.0


@dataclass(frozen=True, slots=True)
class Converter:
    """A board's inputs. `errors`: role -> true error, none where absent. `widths` of the wide codes of this very chip."""

    calibration: Calibration
    noise_code: float = 1.3
    spikes: bool = True
    errors: Mapping[str, InputError] = field(default_factory=dict)
    widths: tuple[float, ...] = SPIKE_WIDTHS

    def exact(self, role: str, volts: FloatArray) -> FloatArray:
        """Code as a real number, before noise and rounding; shape as `volts`."""
        line = self.calibration.channel(role)
        error = self.errors.get(role, InputError())
        code = np.asarray((volts * error.gain + error.offset_v - line.offset_v) / line.gain_v_per_code)
        return with_spikes(code, self.widths) if self.spikes else code

    def codes(self, role: str, volts: FloatArray, step_s: float, rng: np.random.Generator) -> NDArray[np.uint16]:
        """Codes of one channel converted every `step_s`, shape as `volts`."""
        line = self.calibration.channel(role)
        seen = low_pass(volts, line.filter_s, step_s) if line.filter_s > 0 else volts
        lsb_v = line.gain_v_per_code
        noisy = seen + lsb_v * self.noise_code * rng.standard_normal(seen.shape)
        return np.asarray(np.clip(np.rint(self.exact(role, noisy)), 0, CODES - 1).astype(np.uint16))


@lru_cache(maxsize=64)
def _knots(widths: tuple[float, ...]) -> tuple[FloatArray, FloatArray]:
    """Ideal code -> code that the converter gives, as straight pieces: nearly flat across each wide code."""
    ideal, given = [0.0], [0.0]
    for spike, width in zip(SPIKE_CODES, widths, strict=True):
        ideal += [spike - width / 2, spike + width / 2]
        given += [spike - 0.5, spike + 0.5]
    ideal.append(float(CODES))
    given.append(float(CODES))
    return np.array(ideal), np.array(given)


def with_spikes(code: FloatArray, widths: tuple[float, ...] = SPIKE_WIDTHS) -> FloatArray:
    """The converter's transfer for ideal codes: off by up to five codes beside a wide code, by none half way between."""
    ideal, given = _knots(widths)
    return np.asarray(np.where((code > 0) & (code < CODES), np.interp(code, ideal, given), code))


def low_pass(volts: FloatArray, filter_s: float, step_s: float) -> FloatArray:
    """First-order RC sampled every `step_s`, exact where the input runs straight between samples (ramp-invariant)."""
    x = step_s / filter_s
    keep = float(np.exp(-x))
    now, before = 1.0 - (1.0 - keep) / x, (1.0 - keep) / x - keep
    start = np.array([volts[0] * (1.0 - now)])
    return np.asarray(lfilter([now, before], [1.0, -keep], volts, zi=start)[0], dtype=np.float64)


def sim_calibration(system_v: int = 12) -> Calibration:
    """The nominal calibration of the simulated board: 33 k over 7.26 k, 3 nF (12 V) or 100 k over 10 k, 2 nF (24 V), 0.5 %.

    Inputs that can go below zero have an offset of a tenth of their range.
    """
    top_ohm, bottom_ohm, filter_f = (33e3, 7.26e3, 1e-9 / 0.33) if system_v == 12 else (100e3, 10e3, 2e-9)
    line = nominal_channel(top_ohm, bottom_ohm, 0.005, reference_tolerance_rel=0.005, filter_f=filter_f)
    low = replace(line, offset_v=-0.08 * CODES * line.gain_v_per_code)
    channels = {role: low if role in BELOW_ZERO_ROLES else line for role in ROLES}
    return Calibration("nominal", channels, notes=("simulated board",))


def measured_calibration(system_v: int = 12) -> Calibration:
    """As sim_calibration, but measured: what calibrating gives with a meter of 0.1 % + 4 mV, shorted and at 9 and 12.6 V.

    24 V: everything doubled. A test holds it against a calibration really made.
    """
    nominal, scale = sim_calibration(system_v), system_v / 12.0

    def line(role: str) -> ChannelCalibration:
        was = nominal.channel(role)
        lsb_v = was.gain_v_per_code
        stated = replace(
            was.uncertainty,
            gain_rel=0.00039,
            offset_v=0.00207 * scale,
            pivot_v=7.2 * scale,
            shared_gain_rel=0.000577,
            shared_offset_v=0.00027 * scale,
            shared_slope_rel=0.00018,
            shared_pivot_v=-0.08 * scale,
            noise_v=1.3 * lsb_v,
        )
        return replace(was, uncertainty=stated)

    return Calibration("measured", {role: line(role) for role in ROLES}, notes=("simulated board",))


def drawn_converter(calibration: Calibration, rng: np.random.Generator) -> Converter:
    """A board whose true errors are drawn from what its calibration states; its wide codes from what boards differ by."""
    shared = rng.standard_normal(4)
    errors = {role: _drawn(c.uncertainty, shared, rng.standard_normal(5)) for role, c in calibration.channels.items()}
    widths = tuple(float(w) for w in np.asarray(SPIKE_WIDTHS) + rng.uniform(-WIDTH_SPREAD, WIDTH_SPREAD, len(SPIKE_WIDTHS)))
    return Converter(calibration, noise_code=float(rng.uniform(1.0, 1.4)), errors=errors, widths=widths)


def _drawn(u: Uncertainty, shared: FloatArray, own: FloatArray) -> InputError:
    """One input's true error from standard normal draws, those of `shared` the same for all inputs."""
    slope, common_slope = u.gain_rel * own[0], u.shared_slope_rel * shared[0]
    gain = slope + common_slope + u.drift_rel * own[1] + u.shared_gain_rel * shared[1] + u.shared_drift_rel * shared[2]
    offset_v = u.offset_v * own[2] + u.leakage_v * own[3] + u.settling_v * own[4] + u.shared_offset_v * shared[3]
    return InputError(1.0 + float(gain), float(offset_v - slope * u.pivot_v - common_slope * u.shared_pivot_v))
