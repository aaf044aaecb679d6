"""Error budget of an input at one voltage: each part's share, the statistical sum (JCGM 100) and the worst case."""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstcrank.divider.network import ADC_INPUT_OHM, CODES, Network

ROOT3 = math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Parts:
    """Limits of error: resistors and reference as shares, temperature coefficient per kelvin, converter in codes."""

    resistor_rel: float = 0.01
    reference_rel: float = 0.01
    ppm_per_k: float = 100.0
    span_k: float = 30.0
    adc_inl_code: float = 8.0  # published test of one RP2040: INL 7.85 codes, most of it at the code spikes
    adc_offset_code: float = 3.0  # not published; our caution
    adc_noise_code: float = 1.4  # published test: 1.0 to 1.4 codes rms


@dataclass(frozen=True, slots=True)
class Line:
    """One contribution at the clip, volts: its limit of error and its standard uncertainty."""

    what: str
    limit_v: float
    u_v: float


@dataclass(frozen=True, slots=True)
class Budget:
    """At `clip_v`: contributions, combined standard uncertainty, expanded (k = 2), worst case low and high, volts.

    `worst_low_v` and `worst_high_v` are the extremes of the divider alone (both resistors at opposite ends).
    """

    clip_v: float
    lines: tuple[Line, ...]
    u_v: float
    expanded_v: float
    worst_low_v: float
    worst_high_v: float
    load_v: float  # reading lower by up to this through the converter's input resistance; calibration takes it out


def budget(network: Network, parts: Parts, clip_v: float) -> Budget:
    """Rectangular limits, u = a / sqrt(3); noise as standard deviation; steps as u = q / sqrt(12)."""
    sensitivity = 1.0 - network.share  # d ln(ratio) / d ln(r_top) = -(that of r_bottom), textbook
    resistor_v = parts.resistor_rel * sensitivity * clip_v
    drift_v = parts.ppm_per_k * 1e-6 * parts.span_k * sensitivity * clip_v
    step_v = network.step_v
    lines = [
        Line("upper resistor", resistor_v, resistor_v / ROOT3),
        Line("lower resistor", resistor_v, resistor_v / ROOT3),
        Line("resistors' temperature", math.sqrt(2.0) * drift_v, math.sqrt(2.0) * drift_v / ROOT3),
        Line("reference", parts.reference_rel * clip_v, parts.reference_rel * clip_v / ROOT3),
        Line("converter's offset", parts.adc_offset_code * step_v, parts.adc_offset_code * step_v / ROOT3),
        Line("converter's nonlinearity", parts.adc_inl_code * step_v, parts.adc_inl_code * step_v / ROOT3),
        Line("converter's noise, one conversion", 3.0 * parts.adc_noise_code * step_v, parts.adc_noise_code * step_v),
        Line("converter's steps", step_v / 2.0, step_v / math.sqrt(12.0)),
    ]
    u_v = math.sqrt(sum(line.u_v**2 for line in lines))
    low, high = worst_ratio(network, parts.resistor_rel)
    return Budget(
        clip_v,
        tuple(lines),
        u_v,
        2.0 * u_v,
        (low - 1.0) * clip_v,
        (high - 1.0) * clip_v,
        network.load_share * clip_v,
    )


def worst_ratio(network: Network, tolerance: float) -> tuple[float, float]:
    """Ratio of the divider to its nominal one with the resistors at opposite ends of their tolerance; (low, high)."""
    nominal = (network.r_top_ohm + network.r_bottom_ohm) / network.r_bottom_ohm
    ends = []
    for sign in (-1.0, 1.0):
        top, bottom = network.r_top_ohm * (1 + sign * tolerance), network.r_bottom_ohm * (1 - sign * tolerance)
        ends.append((top + bottom) / bottom / nominal)
    return ends[0], ends[1]


def noise_free_bits(step_code: float) -> float:
    """Effective bits of a converter whose total error is `step_code` rms: log2(codes / (rms * sqrt(12)))."""
    return math.log2(CODES / (step_code * math.sqrt(12.0)))


def loaded_reading_rel(network: Network, input_ohm: float = ADC_INPUT_OHM) -> float:
    """Relative error of a reading through an input resistance: -Rth / (Rth + Rin)."""
    ohm = network.source_ohm + network.r_series_ohm
    return -ohm / (ohm + input_ohm)
