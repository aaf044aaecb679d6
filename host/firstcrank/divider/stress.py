"""What a network's parts meet when a pulse comes, and whether they stand it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstcrank.divider.network import PIN_BEYOND_V, Network
from firstcrank.divider.pulses import ESD_F, ESD_OHM, ESD_V, Pulse

PIN_LIMIT_A = 1e-3  # into the chip's own protection: none is published, so 1 mA by our choice
OVERLOAD_S = 5.0  # what the short-time overload test lasts
SKIN_S = 5e-3  # up to here a pulse stays in the film and the ceramic's skin, and is judged by energy
SETTLED_TAUS = 15.0
STEPS = 400  # of a pulse that ends before the filter has settled
# Film on a ceramic rod of a 0207 body, 39 mm2 of it: a pulse below 10 ms heats the film and a skin of the ceramic. Steatite's
# sqrt(k rho c), from memory; three times the mean because the film is a helix (our caution).
FILM_M2 = 39e-6
CERAMIC_WS05_M2K = 2400.0
HELIX = 3.0
FILM_RISE_K = 60.0  # 70 degC rated surroundings + 60 K stay under the sheet's 155 degC film temperature


@dataclass(frozen=True, slots=True)
class Ratings:
    """Of each resistor in r_top: steady power in W, working voltage in V (never exceeded, however short), tolerance.

    Defaults: 0.6 W, 350 V, 155 degC film: professional 0207 thin film, Vishay 28724 (2016) page 1. Its pulse curves are figures
    that were not readable here; `film_rise_k` stands in for them.
    """

    power_w: float = 0.6
    working_v: float = 350.0
    tolerance: float = 0.01
    overload: float = 6.25  # 2.5 times rated voltage for 5 s: IEC 60115-1 4.13 as a maker's sheet quotes it


@dataclass(frozen=True, slots=True)
class Stress:
    """What one pulse does at its peak. `part_v`, `part_w`, `part_j`: the worst part of r_top at tolerance.

    `node_v` is the pin's voltage if the chip's own protection took nothing; `pin_a` what that protection takes where it holds the pin
    at its absolute maximum. `survives` with `why` in plain words where not.
    """

    pulse: Pulse
    clamp_a: float
    node_v: float
    pin_a: float
    top_v: float
    part_v: float
    part_w: float
    part_j: float
    rise_k: float
    survives: bool
    why: str


def film_rise_k(watts: float, seconds: float) -> float:
    """Hottest spot of a film under a square pulse: 2 q sqrt(t / pi) / sqrt(k rho c), heat going into a half space (textbook)."""
    return HELIX * 2.0 * (watts / FILM_M2) * math.sqrt(seconds / math.pi) / CERAMIC_WS05_M2K


def stress(network: Network, pulse: Pulse, ratings: Ratings) -> Stress:
    """Peaks of clamp, pin and the worst part of r_top, and the verdict. All at rectangular pulses, worse than the real shapes."""
    node_v, clamp_a = peaks(network, pulse)
    return _judged(network, pulse, ratings, node_v, clamp_a)


def survives_at_worst(network: Network, pulse: Pulse, ratings: Ratings) -> bool:
    """As `stress`, with the filter and r_bottom's share of the current left out: never kinder, and quick."""
    clamp_a, node_v = 0.0, (pulse.volts - network.lowest_v) * network.share
    if network.clamp is not None and not 0.0 <= node_v <= network.reference_v:
        clamp_a = (pulse.volts + math.copysign(network.reference_v, pulse.volts)) / network.r_top_ohm
        forward_v = network.clamp.forward_v(abs(clamp_a))
        node_v = network.reference_v + forward_v if clamp_a > 0 else -forward_v
    return _judged(network, pulse, ratings, node_v, clamp_a).survives


def _judged(network: Network, pulse: Pulse, ratings: Ratings, node_v: float, clamp_a: float) -> Stress:
    """The peaks against the ratings."""
    across_v = max(abs(pulse.volts - network.node_at_zero_v), abs(pulse.volts - node_v))  # as it begins, as it ends
    top_v = across_v * network.r_top_ohm / (network.r_top_ohm + pulse.source_ohm)
    part_v = top_v * network.worst_share(ratings.tolerance)
    part_w = part_v**2 / (max(network.parts_ohm) * (1.0 + ratings.tolerance))
    rise_k = film_rise_k(part_w, min(pulse.duration_s, SKIN_S))
    pin_a = pin_protection_a(network, node_v)
    reasons = []
    if network.clamp is not None:
        limit_a = network.clamp.pulse_a if pulse.duration_s <= 1e-3 else network.clamp.steady_a
        if abs(clamp_a) > limit_a:
            reasons.append(f"{abs(clamp_a) * 1e3:.1f} mA into the clamp diode, {limit_a * 1e3:g} mA allowed")
    if abs(pin_a) > PIN_LIMIT_A:
        reasons.append(f"{abs(pin_a) * 1e3:.1f} mA into the chip's own protection, {PIN_LIMIT_A * 1e3:g} mA allowed")
    if part_v > ratings.working_v:
        reasons.append(f"{part_v:.0f} V across one part of the upper resistor, rated {ratings.working_v:g} V")
    allowed_w = ratings.power_w * (1.0 if pulse.duration_s > OVERLOAD_S else ratings.overload)
    if pulse.duration_s > SKIN_S:
        if part_w > allowed_w:
            reasons.append(f"{part_w:.2f} W in one part of the upper resistor, {allowed_w:.2f} W allowed")
    elif rise_k > FILM_RISE_K:
        reasons.append(
            f"the film of one part heats by {rise_k:.0f} K in {pulse.duration_s * 1e3:g} ms, {FILM_RISE_K:g} K allowed"
        )
    settled = pulse.duration_s >= 5.0 * network.tau_s
    energy_j = part_w * pulse.duration_s * ((abs(pulse.volts - node_v) / across_v) ** 2 if settled else 1.0)
    return Stress(pulse, clamp_a, node_v, pin_a, top_v, part_v, part_w, energy_j, rise_k, not reasons, "; ".join(reasons))


def pin_protection_a(network: Network, node_v: float) -> float:
    """What the chip's protection takes through r_series while it holds the pin 0.5 V beyond its supply or ground."""
    edge_v = min(max(node_v, -PIN_BEYOND_V), network.reference_v + PIN_BEYOND_V)
    if network.clamp is None:
        return (node_v - edge_v) / (network.source_ohm + network.r_series_ohm)
    return (node_v - edge_v) / max(network.r_series_ohm, 1.0)


def peaks(network: Network, pulse: Pulse) -> tuple[float, float]:
    """Node volts and clamp current furthest from rest, from a clip that was at 0 V.

    A pulse of many time constants ends steady; a shorter one is stepped through (implicit Euler,
    extrapolated from two step widths).
    """
    top_ohm = network.r_top_ohm + pulse.source_ohm
    up = 1.0 / network.r_up_ohm if network.r_up_ohm else 0.0
    siemens = 1.0 / top_ohm + 1.0 / network.r_bottom_ohm + up
    tau_s = network.c_filter_f / siemens
    if pulse.duration_s >= SETTLED_TAUS * tau_s:
        return network.held(pulse.volts, pulse.source_ohm)
    driven_a = pulse.volts / top_ohm + network.reference_v * up

    def stepped(steps: int) -> tuple[float, float]:
        per_step = network.c_filter_f * steps / pulse.duration_s
        node_v, clamp_a = network.node_at_zero_v, 0.0
        for _ in range(steps):
            node_v, clamp_a = network.clamped((driven_a + per_step * node_v) / (siemens + per_step), siemens + per_step)
        return node_v, clamp_a

    coarse, fine = stepped(STEPS // 2), stepped(STEPS)
    return 2.0 * fine[0] - coarse[0], 2.0 * fine[1] - coarse[1]


@dataclass(frozen=True, slots=True)
class Discharge:
    """A person's discharge into the clip, no part flashing over: peaks at the clamp, the pin, the worst part; energy in that part."""

    clamp_a: float
    node_v: float
    pin_a: float
    part_v: float
    part_j: float


def discharge(network: Network, ratings: Ratings, volts: float = ESD_V) -> Discharge:
    """IEC 61000-4-2 contact discharge: 150 pF through 330 ohm. The clamp carries the peak current (the filter ignored)."""
    peak_a = volts / (network.r_top_ohm + ESD_OHM)
    node_v = network.reference_v + (network.clamp.forward_v(peak_a) if network.clamp else 0.0)
    share = network.worst_share(ratings.tolerance)
    energy_j = 0.5 * ESD_F * volts**2
    return Discharge(peak_a, node_v, pin_protection_a(network, node_v), volts * share, energy_j * share)
