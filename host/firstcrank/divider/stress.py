"""What a vehicle throws at an input, and whether the network's parts stand it.

Amplitudes: ISO 7637-2:2011 and ISO 16750-2, levels as noted; sources beside each (public texts that quote the standards; the
standards themselves were not at hand). 24 V figures only where one was found.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstcrank.divider.network import CLAMP_V, Network

STEADY_S = 60.0
CLAMP_LIMIT_A = 1e-3  # into the chip's own protection: none is published, so 1 mA by our choice
EXTERNAL_CLAMP_LIMIT_A = 0.2  # BAT54S class diode, continuous


@dataclass(frozen=True, slots=True)
class Pulse:
    """A voltage at the clip for a time, from a source with `source_ohm`. Rectangular, which is worse than the real shape."""

    name: str
    volts: float
    source_ohm: float
    duration_s: float
    source: str


PULSES_12V = (
    Pulse("reverse battery", -14.0, 0.0, STEADY_S, "VW 80000:2013 E-15 (public text)"),
    Pulse("jump start", 24.0, 0.0, STEADY_S, "ISO 16750-2 (from memory); VW 80000:2013 E-04 gives 26 V"),
    Pulse("load dump, suppressed", 35.0, 0.5, 0.4, "ISO 16750-2 test B (public article)"),
    Pulse("load dump, not suppressed", 101.0, 0.5, 0.4, "ISO 16750-2 test A upper value (from memory; 79 V found)"),
    Pulse("ISO 7637-2 pulse 1", -150.0, 10.0, 2e-3, "2011 level IV (public article)"),
    Pulse("ISO 7637-2 pulse 2a", 112.0, 2.0, 50e-6, "2011 level IV (public text)"),
    Pulse("ISO 7637-2 pulse 2b", 10.0, 0.05, 2.0, "from memory"),
    Pulse("ISO 7637-2 pulse 3a", -220.0, 50.0, 0.1e-6, "2011 level IV (from memory)"),
    Pulse("ISO 7637-2 pulse 3b", 150.0, 50.0, 0.1e-6, "2011 level IV (from memory)"),
    Pulse("coil without suppression", -1500.0, 50.0, 1e-3, "1000 to 1500 V: a relay maker's application note"),
)
PULSES_24V = (
    Pulse("reverse battery", -28.0, 0.0, STEADY_S, "ISO 16750-2 (from memory)"),
    Pulse("jump start", 36.0, 0.0, STEADY_S, "ISO 16750-2 (from memory)"),
    Pulse("load dump, suppressed", 58.0, 1.0, 0.35, "ISO 16750-2 test B (public text)"),
    Pulse("load dump, not suppressed", 151.0, 1.0, 0.35, "ISO 16750-2 test A (public text)"),
    Pulse("ISO 7637-2 pulse 1", -600.0, 50.0, 1e-3, "2011 level IV (public text)"),
    Pulse("ISO 7637-2 pulse 3b", 220.0, 50.0, 0.1e-6, "2011 level III (public text)"),
    Pulse("coil without suppression", -1500.0, 50.0, 1e-3, "1000 to 1500 V: a relay maker's application note"),
)


@dataclass(frozen=True, slots=True)
class Ratings:
    """Of the resistors: steady power in W, working voltage in V, short overload as a multiple of the power for 5 s."""

    power_w: float = 0.25
    working_v: float = 250.0
    overload: float = 6.25  # common practice, no source: 2.5 times rated voltage for 5 s


@dataclass(frozen=True, slots=True)
class Stress:
    """What one pulse does. `survives` with `why` in plain words where not."""

    pulse: Pulse
    clamp_a: float
    top_v: float
    top_w: float
    node_v: float
    survives: bool
    why: str


def stress(network: Network, pulse: Pulse, ratings: Ratings) -> Stress:
    """Peak clamp current, voltage and power of r_top, and the verdict."""
    clamp_a = peak_clamp_a(network, pulse)
    node_v = peak_node_v(network, pulse)
    top_v = abs(pulse.volts - node_v)
    top_w = top_v**2 / network.r_top_ohm
    limit_a = EXTERNAL_CLAMP_LIMIT_A if network.clamped else CLAMP_LIMIT_A
    reasons = []
    if abs(clamp_a) > limit_a:
        part = "clamp diode" if network.clamped else "chip's own protection"
        reasons.append(f"{abs(clamp_a) * 1e3:.1f} mA into the {part}, {limit_a * 1e3:g} mA allowed")
    if top_v > ratings.working_v:
        reasons.append(f"{top_v:.0f} V across the upper resistor, rated {ratings.working_v:g} V")
    allowed_w = ratings.power_w * (ratings.overload if pulse.duration_s <= 5.0 else 1.0)
    if top_w > allowed_w and pulse.duration_s > 1e-3:
        reasons.append(f"{top_w:.2f} W in the upper resistor, {allowed_w:.2f} W allowed")
    return Stress(pulse, clamp_a, top_v, top_w, node_v, not reasons, "; ".join(reasons))


def _driven(network: Network, pulse: Pulse) -> tuple[float, float, float]:
    """Node target volts, time constant, and clamp level that the pulse drives towards."""
    top_ohm = network.r_top_ohm + pulse.source_ohm
    up = 1.0 / network.r_up_ohm if network.r_up_ohm else 0.0
    siemens = 1.0 / top_ohm + 1.0 / network.r_bottom_ohm + up
    target_v = (pulse.volts / top_ohm + network.reference_v * up) / siemens
    clamp_v = network.reference_v + CLAMP_V if target_v > 0 else -CLAMP_V
    return target_v, network.c_filter_f / siemens, clamp_v


def peak_node_v(network: Network, pulse: Pulse) -> float:
    """Highest (or lowest) node voltage reached, from the node's level at 0 V on the clip, clamp ideal."""
    target_v, tau_s, clamp_v = _driven(network, pulse)
    start_v = network.node_at_zero_v
    reached_v = target_v if tau_s == 0 else target_v + (start_v - target_v) * math.exp(-pulse.duration_s / tau_s)
    return min(reached_v, clamp_v) if target_v > 0 else max(reached_v, clamp_v)


def peak_clamp_a(network: Network, pulse: Pulse) -> float:
    """Peak net current into the clamp; 0 where the filter keeps the node from reaching it."""
    _, _, clamp_v = _driven(network, pulse)
    if abs(peak_node_v(network, pulse) - clamp_v) > 1e-12:
        return 0.0
    top_ohm = network.r_top_ohm + pulse.source_ohm
    up_a = (network.reference_v - clamp_v) / network.r_up_ohm if network.r_up_ohm else 0.0
    return (pulse.volts - clamp_v) / top_ohm - clamp_v / network.r_bottom_ohm + up_a


def pulses(system_v: int) -> tuple[Pulse, ...]:
    """The pulses of a 12 or 24 V system."""
    return PULSES_12V if system_v == 12 else PULSES_24V
