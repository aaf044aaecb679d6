"""From the power circuit to what each lead carries: key feed, solenoid, heater, module supply, grounds.

These branches carry a few amperes beside hundreds, so they are worked out after the power circuit and do not act back on it.
Every voltage is against the battery's negative post, as straight pieces with a pair of nodes at each switching.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from firstcrank.trace import FloatArray
from firstcrank_sim.vehicle.power_circuit import Power
from firstcrank_sim.vehicle.relay import Relay, relay_open
from firstcrank_sim.vehicle.schedule import Schedule
from firstcrank_sim.vehicle.vehicle import Vehicle
from firstcrank_sim.vehicle.waveform import STEP_S, Waveform

Stretch = tuple[float, float]
BoolArray = NDArray[np.bool_]
DECAY = np.array([0.02, 0.1, 0.2, 0.35, 0.5, 0.75, 1.0, 1.3, 1.7, 2.2, 2.8, 3.5, 4.5, 6.0, 8.0])
DIODE_V = 0.8


@dataclass(frozen=True, slots=True)
class Feed:
    """The key feed's path. `load_ohm` is the module's input, `load_f` the capacitance across it.

    `open_s` contact open; `series` (start, end, ohm) more resistance; `ballast_ohm` a resistor wire that warms up by
    `ballast_gain` within `ballast_tau_s` and is bypassed in START where `ballast_bypass`; `lamp_ohm` feeds back from the
    battery while the contact is open (`lamp_from_s` on; `lamp_while_running`: from the charging circuit, so only while the
    engine turns the alternator); `relay` switches the feed, its coil on the key's terminal.
    """

    load_ohm: float = 24.0
    load_f: float = 2.2e-6
    wire_ohm: float = 0.06
    open_s: tuple[Stretch, ...] = ()
    series: tuple[tuple[float, float, float], ...] = ()
    ballast_ohm: float = 0.0
    ballast_gain: float = 0.25
    ballast_tau_s: float = 2.5
    ballast_bypass: bool = False
    lamp_ohm: float = 0.0
    lamp_while_running: bool = False
    relay: Relay | None = None


@dataclass(frozen=True, slots=True)
class Heater:
    """The intake heater's solenoid coil. `low_side`: the module switches its return, so the idle coil sits at battery."""

    coil_ohm: float = 4.0
    coil_h: float = 0.05
    wire_ohm: float = 0.15
    low_side: bool = False
    reversed: bool = False
    open_s: tuple[Stretch, ...] = ()


@dataclass(frozen=True, slots=True)
class Wiring:
    """Everything but the power circuit. `second_v`: another battery supplies the key switch; `tap`: half of the 24 V."""

    feed: Feed = Feed()
    heater: Heater = Heater()
    second_v: float | None = None
    tap: bool = False
    supply_ohm: float = 0.02
    supply_idle_a: float = 2.0
    supply_crank_a: float = 7.0
    ground_ohm: float = 0.004
    ground_on_engine: bool = False
    suppressed: bool = True
    coil_dead: bool = False


def pairs(edges: FloatArray) -> FloatArray:
    """Two nodes, STEP_S apart, round every edge."""
    return np.concatenate((edges - STEP_S / 2, edges + STEP_S / 2))


def within(t: FloatArray, stretches: tuple[Stretch, ...]) -> BoolArray:
    """True at times inside any stretch, shape of `t`."""
    inside = np.zeros(t.shape, dtype=bool)
    for start_s, end_s in stretches:
        first, last = np.searchsorted(t, (start_s, end_s))
        inside[first:last] = True
    return inside


def points(vehicle: Vehicle, schedule: Schedule, wiring: Wiring, power: Power, roles: Iterable[str]) -> dict[str, Waveform]:
    """The voltage of the points in `roles`, and of those that the key feed is judged by."""
    t = power.at_s
    battery = Waveform(t, power.battery_v)
    starter = Waveform(t, power.battery_v - vehicle.post_ohm * power.starter_a)
    if wiring.second_v is not None:
        keyed = (t > schedule.on_s) & (t < schedule.off_s)
        source = Waveform(t, np.asarray(np.where(keyed, wiring.second_v - 0.02, wiring.second_v)))
    elif wiring.tap:
        source = Waveform(t, power.battery_v / 2.0)
    else:
        source = starter if vehicle.feed_after_post else battery
    drawn_a = module_a(schedule, wiring, t)
    ground_v = wiring.ground_ohm * drawn_a + (power.strap_v if wiring.ground_on_engine else 0.0)
    found = {
        "battery": battery,
        "feed_source": source if wiring.second_v is not None or wiring.tap else battery,
        "key_switch": key_feed(vehicle, schedule, wiring, source, power),
        "module_ground": Waveform(t, ground_v),
        "engine_ground": Waveform(t, power.strap_v),
        "module_supply": Waveform(t, power.battery_v - wiring.supply_ohm * drawn_a),
    }
    wanted = set(roles)
    if "starter_coil" in wanted:
        found["starter_coil"] = solenoid(vehicle, schedule, wiring, starter)
    if wanted & {"heater_coil", "heater_return"}:
        found["heater_coil"], found["heater_return"] = heater(vehicle, schedule, wiring.heater, battery)
    return found


def module_a(schedule: Schedule, wiring: Wiring, t: FloatArray) -> FloatArray:
    """Amperes the module draws from its own supply: little with KEY ON, more while the engine turns."""
    keyed = (t >= schedule.on_s) & (t < schedule.off_s)
    busy = (t >= schedule.engage_s) & ((t < schedule.drop_s) | (t >= schedule.fire_s)) & keyed
    return np.asarray(np.where(busy, wiring.supply_crank_a, np.where(keyed, wiring.supply_idle_a, 0.005)))


def key_feed(vehicle: Vehicle, schedule: Schedule, wiring: Wiring, source: Waveform, power: Power) -> Waveform:
    """Volts at the module's plug: a divider of the path and the module while the contact is closed, an RC decay while open."""
    feed = wiring.feed
    off = ((-1.0, schedule.on_s), (schedule.off_s, np.inf))
    opened = merged((*off, *feed.open_s))
    if feed.relay is not None:
        opened = merged((*opened, *relay_open(feed.relay, source, opened, schedule.end_s)))
    end_s = schedule.end_s
    tau_s = feed.load_ohm * feed.load_f
    opens = np.array([a for a, _ in opened if 0 < a < end_s])
    edges = np.array([e for s in opened for e in s if 0 < e < end_s] + [e for a, b, _ in feed.series for e in (a, b)])
    edges = edges[(edges > 0) & (edges < end_s)]
    bypass = np.array([schedule.start_s, schedule.open_s]) if feed.ballast_bypass else np.zeros(0)
    nodes = reduce(np.union1d, (source.at_s, pairs(edges), pairs(bypass), (opens[:, None] + DECAY * tau_s).ravel()))
    t = nodes[(nodes >= 0) & (nodes <= end_s)]
    closed_v = _closed(vehicle, schedule, feed, source, t)
    volts = closed_v.copy()
    back_v = _back_fed(feed, source, power, t)
    for start_s, end in opened:
        first, last = np.searchsorted(t, (start_s, end))
        if last > first:
            begin_v = closed_v[first - 1] if first > 0 else back_v[0]
            fall = np.exp(-(t[first:last] - start_s) / tau_s)
            volts[first:last] = back_v[first:last] + (begin_v - back_v[first:last]) * fall
    return Waveform(t, volts)


def _closed(vehicle: Vehicle, schedule: Schedule, feed: Feed, source: Waveform, t: FloatArray) -> FloatArray:
    path_ohm = np.full(t.shape, feed.wire_ohm)
    for start_s, end_s, ohm in feed.series:
        first, last = np.searchsorted(t, (start_s, end_s))
        path_ohm[first:last] += ohm
    if feed.ballast_ohm > 0:
        warm = 1.0 + feed.ballast_gain * (1.0 - np.exp(-np.maximum(t - schedule.on_s, 0.0) / feed.ballast_tau_s))
        ballast = feed.ballast_ohm * warm
        if feed.ballast_bypass:
            ballast = np.where((t >= schedule.start_s) & (t < schedule.open_s), 0.0, ballast)
        path_ohm += ballast
    return np.asarray(source(t) * feed.load_ohm / (feed.load_ohm + path_ohm))


def _back_fed(feed: Feed, source: Waveform, power: Power, t: FloatArray) -> FloatArray:
    if feed.lamp_ohm <= 0:
        return np.zeros_like(t)
    volts = source(t) * feed.load_ohm / (feed.load_ohm + feed.lamp_ohm)
    if feed.lamp_while_running:
        volts = np.where(np.interp(t, power.at_s, power.speed_rpm) > 450.0, volts, 0.0)
    return np.asarray(volts)


def merged(stretches: tuple[Stretch, ...]) -> tuple[Stretch, ...]:
    """Overlapping stretches joined, in order."""
    joined: list[Stretch] = []
    for start_s, end_s in sorted(stretches):
        if end_s <= start_s:
            continue
        if joined and start_s <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end_s))
        else:
            joined.append((start_s, end_s))
    return tuple(joined)


def solenoid(vehicle: Vehicle, schedule: Schedule, wiring: Wiring, source: Waveform) -> Waveform:
    """Terminal 50: an R-L coil behind the control circuit's resistance, pull-in and hold winding, then hold alone.

    When START opens the coil's current flows on through a suppressor (diode drop) or kicks as far as its own leakage lets it.
    """
    s, end_s = schedule, schedule.end_s
    if wiring.coil_dead or s.start_s >= end_s:
        return Waveform(np.array([0.0, end_s]), np.zeros(2))
    both_ohm = vehicle.pull_in_ohm + vehicle.control_ohm
    hold_ohm = vehicle.hold_ohm + vehicle.control_ohm
    tau_in_s, tau_hold_s = vehicle.solenoid_h / both_ohm, 2 * vehicle.solenoid_h / hold_ohm
    after = np.concatenate((s.start_s + DECAY * tau_in_s, s.engage_s + DECAY * tau_hold_s))
    kick_s = 0.004 if wiring.suppressed else 0.0004
    after = np.concatenate((after, s.open_s + DECAY * kick_s, pairs(np.array([s.start_s, s.engage_s, s.open_s]))))
    t = np.union1d(source.at_s, after[(after > 0) & (after < end_s)])
    v = source(t)
    current = v / both_ohm * (1.0 - np.exp(-np.maximum(t - s.start_s, 0.0) / tau_in_s))
    at_engage = float(np.interp(s.engage_s, t, current))
    held = v / hold_ohm
    fading = np.exp(-np.maximum(t - s.engage_s, 0.0) / tau_hold_s)
    current = np.where(t < s.engage_s, current, held + (at_engage - held) * fading)
    live = (t >= s.start_s) & (t < s.open_s)
    depth_v = DIODE_V if wiring.suppressed else 45.0 * vehicle.scale
    kick = np.where(t >= s.open_s, -depth_v * np.exp(-np.maximum(t - s.open_s, 0.0) / kick_s), 0.0)
    return Waveform(t, np.where(live, v - current * vehicle.control_ohm, kick))


def heater(vehicle: Vehicle, schedule: Schedule, how: Heater, battery: Waveform) -> tuple[Waveform, Waveform]:
    """(coil stud, return stud) of the heater's solenoid: an R-L coil, switched high or low side."""
    end_s = schedule.end_s
    keyed: tuple[Stretch, ...] = ((schedule.on_s, schedule.off_s),)
    commanded = tuple(schedule.heater_s)
    tau_s = how.coil_h / (how.coil_ohm + how.wire_ohm)
    edges = np.array([e for s in (*commanded, *how.open_s, *keyed) for e in s if 0 < e < end_s])
    ends = np.array([e for _, e in (*commanded,) if 0 < e < end_s] + [a for a, _ in how.open_s if 0 < a < end_s])
    t = reduce(np.union1d, (battery.at_s, pairs(edges), (edges[:, None] + DECAY * tau_s).ravel(), ends))
    t = t[(t >= 0) & (t <= end_s)]
    on = within(t, commanded) & ~within(t, how.open_s)
    v = battery(t)
    since = t - _latest(t, on)
    current = np.where(on, v / (how.coil_ohm + how.wire_ohm) * (1.0 - np.exp(-since / tau_s)), 0.0)
    across = np.where(on, v - current * how.wire_ohm, 0.0)
    if how.low_side:
        idle = np.where(within(t, keyed), v, 0.0)
        plus = np.where(on, v - current * how.wire_ohm / 2, idle)
        minus = plus - across
    else:
        minus = np.where(on, current * how.wire_ohm / 4, 0.0)
        plus = across + minus
    pair = Waveform(t, plus), Waveform(t, minus)
    return pair[::-1] if how.reversed else pair


def _latest(t: FloatArray, on: BoolArray) -> FloatArray:
    """At each time the beginning of the stretch of `on` that it lies in."""
    begins = np.where(on & ~np.concatenate(([False], on[:-1])), t, -np.inf)
    return np.asarray(np.where(on, np.maximum.accumulate(begins), t))
