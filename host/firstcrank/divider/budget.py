"""Error budget of an input at one voltage and temperature: each part's share, the statistical sum (JCGM 100), the worst case.

Before calibration (`budget`) the parts' tolerances rule; after it (`calibrated_budget`) what the meter did not see: drift with
temperature, leakage, the converter's own crookedness.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstcrank.divider.converters import RP2040, Converter
from firstcrank.divider.network import Network

ROOT3 = math.sqrt(3.0)
CALIBRATED_AT_C = 20.0
POINTS_SHARE = 0.7  # a line through three points, each off by the nonlinearity: about 1 / sqrt(2) of it between them


@dataclass(frozen=True, slots=True)
class Parts:
    """Limits of error: resistors and reference as shares and per kelvin, and which converter.

    `reference_drift_rel` is what the 3.3 V rail does with supply and load at one temperature. No figure is published for a Pico's
    regulator: 0.1 % and 50 ppm/K are our caution, 0.3 % over 40 K together. Resistors of 50 ppm/K: Vishay 28724 page 1.
    """

    resistor_rel: float = 0.01
    reference_rel: float = 0.01
    ppm_per_k: float = 50.0
    reference_drift_rel: float = 0.001
    reference_ppm_per_k: float = 50.0
    converter: Converter = RP2040
    other_lead_v: float = 14.4  # what the lead sampled before may stand at, or 0 V; twice that in 24 V systems


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter's limits of error: share of reading, and volts (its counts)."""

    rel: float
    volts: float


METERS = {"0.1 % + 2 mV": Meter(0.001, 0.002), "0.5 % + 20 mV": Meter(0.005, 0.02), "1 % + 30 mV": Meter(0.01, 0.03)}


@dataclass(frozen=True, slots=True)
class Line:
    """One contribution at the clip, volts: its limit of error and its standard uncertainty."""

    what: str
    limit_v: float
    u_v: float


@dataclass(frozen=True, slots=True)
class Budget:
    """At `clip_v`: contributions, combined standard uncertainty, expanded (95 %), worst case low and high, volts.

    `worst_low_v` and `worst_high_v` are the extremes of the divider alone (both resistors at opposite ends).
    """

    clip_v: float
    lines: tuple[Line, ...]
    u_v: float
    expanded_v: float
    worst_low_v: float
    worst_high_v: float
    load_v: float  # reading lower by up to this through the converter's input resistance; half of it stands in the lines


def _flat(what: str, limit_v: float) -> Line:
    """A limit with nothing known inside it: rectangular, u = a / sqrt(3)."""
    return Line(what, abs(limit_v), abs(limit_v) / ROOT3)


def budget(network: Network, parts: Parts, clip_v: float, celsius: float = 25.0) -> Budget:
    """Before calibration. Rectangular limits, u = a / sqrt(3); noise as standard deviation; steps as u = q / sqrt(12).

    Sensitivities at the clip, from the node's equation: upper resistor clip - node; lower one node r_top / r_bottom; the lifting one
    (reference - node) r_top / r_up; reference clip; a current at the node r_top (at the pin also r_series times the ratio).
    """
    n, converter = network, parts.converter
    node_v = n.node_v(clip_v)
    top_v = clip_v - node_v
    bottom_v = node_v * n.r_top_ohm / n.r_bottom_ohm
    up_v = (n.reference_v - node_v) * n.r_top_ohm / n.r_up_ohm if n.r_up_ohm else 0.0
    kelvin = abs(celsius - 25.0)
    half = n.load_share(converter.input_ohm) / 2.0
    corrected = 1.0 / (
        1.0 - half
    )  # the nominal line takes half of the load out, and stretches the converter's own errors with it
    step_v = n.step_v * corrected
    load_v = node_v * n.ratio * 2.0 * half * corrected
    lines = [
        _flat("upper resistor", parts.resistor_rel * top_v),
        _flat("lower resistor", parts.resistor_rel * bottom_v),
        *([_flat("lifting resistor", parts.resistor_rel * up_v)] if n.r_up_ohm else []),
        _flat("resistors' temperature", parts.ppm_per_k * 1e-6 * kelvin * math.hypot(top_v, bottom_v, up_v)),
        _flat("reference", parts.reference_rel * clip_v),
        _flat("reference's drift", (parts.reference_drift_rel + parts.reference_ppm_per_k * 1e-6 * kelvin) * clip_v),
        *_leaks(n, converter, node_v, celsius, 0.0),
        _carried(n, parts, clip_v),
        _flat("converter's offset", converter.offset_code * step_v),
        _flat("converter's nonlinearity", converter.inl_code * step_v),
        *([_flat("converter's input resistance, half of it", load_v / 2.0)] if load_v else []),
        Line("converter's noise, one conversion", 3.0 * converter.noise_code * step_v, converter.noise_code * step_v),
        Line("converter's steps", step_v / 2.0, step_v / math.sqrt(12.0)),
    ]
    return _sum(n, parts, clip_v, lines, load_v)


def calibrated_budget(
    network: Network, parts: Parts, clip_v: float, celsius: float, meter: Meter, averaged: int = 16
) -> Budget:
    """After a straight line through points measured at 20 degC with a meter, reading the mean of `averaged` conversions."""
    n, converter = network, parts.converter
    node_v = n.node_v(clip_v)
    kelvin = abs(celsius - CALIBRATED_AT_C)
    bottom_v = node_v * n.r_top_ohm / n.r_bottom_ohm
    up_v = (n.reference_v - node_v) * n.r_top_ohm / n.r_up_ohm if n.r_up_ohm else 0.0
    noise_v = converter.noise_code * n.step_v / math.sqrt(averaged)
    lines = [
        _flat("meter, of reading", meter.rel * clip_v),
        _flat("meter, counts", meter.volts),
        _flat("resistors' temperature", parts.ppm_per_k * 1e-6 * kelvin * math.hypot(clip_v - node_v, bottom_v, up_v)),
        _flat("reference's drift", (parts.reference_drift_rel + parts.reference_ppm_per_k * 1e-6 * kelvin) * clip_v),
        *_leaks(n, converter, node_v, celsius, CALIBRATED_AT_C),
        _carried(n, parts, clip_v),
        _flat("converter's nonlinearity", converter.inl_code * n.step_v),
        _flat("line through points on it", POINTS_SHARE * converter.inl_code * n.step_v),
        Line("converter's noise", 3.0 * noise_v, noise_v),
        Line("converter's steps", n.step_v / 2.0, n.step_v / math.sqrt(12.0)),
    ]
    return _sum(n, parts, clip_v, lines, 0.0)


def _leaks(network: Network, converter: Converter, node_v: float, celsius: float, known_at_c: float) -> list[Line]:
    """Clamp's and pin's leakage. Calibrated at `known_at_c` (0: never): only the change can be off, bounded by the hotter one."""
    lines = []
    if network.clamp is not None:
        low, high = network.clamp.net_leakage_a(node_v, network.reference_v, max(celsius, known_at_c))
        lines.append(_flat("clamp's leakage", max(-low, high) * network.r_top_ohm))
    pin_a = converter.pin_leaks_a(max(celsius, known_at_c))
    lines.append(_flat("pin's leakage", pin_a * (network.r_top_ohm + network.r_series_ohm * network.ratio)))
    return lines


def carried_v(network: Network, converter: Converter, clip_v: float, other_v: float) -> float:
    """How far the lead sampled before, at `other_v`, pulls a reading: mean current C f dv through what the pin sees."""
    difference_v = network.node_v(other_v) - network.node_v(clip_v)
    return converter.sample_f * converter.rate_hz * network.source_ohm * difference_v * network.ratio


def _carried(network: Network, parts: Parts, clip_v: float) -> Line:
    worst_v = max(abs(carried_v(network, parts.converter, clip_v, other_v)) for other_v in (0.0, parts.other_lead_v))
    return _flat("lead sampled before", worst_v)


def _sum(network: Network, parts: Parts, clip_v: float, lines: list[Line], load_v: float) -> Budget:
    u_v = math.sqrt(sum(line.u_v**2 for line in lines))
    low, high = worst_ratio(network, parts.resistor_rel)
    return Budget(clip_v, tuple(lines), u_v, coverage_factor(lines) * u_v, (low - 1.0) * clip_v, (high - 1.0) * clip_v, load_v)


def coverage_factor(lines: list[Line]) -> float:
    """How many standard uncertainties hold 95 %: 1.645 where one rectangular limit rules, 1.90 for two alike, 1.96 for a normal sum.

    A parabola in the sum's excess kurtosis through those three (closed forms of the rectangular, triangular and normal
    distributions); a rectangular term has -1.2.
    """
    square = sum(line.u_v**2 for line in lines)
    if square == 0.0:
        return 1.96
    fourth = sum(line.u_v**4 for line in lines if math.isclose(line.limit_v, ROOT3 * line.u_v, rel_tol=1e-6) and line.u_v)
    kurtosis = -1.2 * fourth / square**2
    return 1.96 - 0.0692 * kurtosis - 0.2764 * kurtosis**2


def worst_ratio(network: Network, tolerance: float) -> tuple[float, float]:
    """Ratio of the divider to its nominal one with the resistors at opposite ends of their tolerance; (low, high)."""
    nominal = (network.r_top_ohm + network.r_bottom_ohm) / network.r_bottom_ohm
    ends = []
    for sign in (-1.0, 1.0):
        top, bottom = network.r_top_ohm * (1 + sign * tolerance), network.r_bottom_ohm * (1 - sign * tolerance)
        ends.append((top + bottom) / bottom / nominal)
    return ends[0], ends[1]


def node_ends_v(network: Network, clip_v: float, tolerance: float) -> tuple[float, float]:
    """Lowest and highest node volts with every resistor at an end of its tolerance, all combinations tried."""
    ends = []
    for top in (-1, 1):
        for bottom in (-1, 1):
            for up in (-1, 1):
                g1 = 1.0 / (network.r_top_ohm * (1 + top * tolerance))
                g2 = 1.0 / (network.r_bottom_ohm * (1 + bottom * tolerance))
                g3 = 1.0 / (network.r_up_ohm * (1 + up * tolerance)) if network.r_up_ohm else 0.0
                siemens = g1 + g2 + g3
                free_v = (clip_v * g1 + network.reference_v * g3) / siemens
                ends.append(network.clamped(free_v, siemens)[0])
    return min(ends), max(ends)
