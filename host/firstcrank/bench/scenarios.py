"""Starts by name: healthy ones, each fault, and the ways in which a recording goes wrong.

Every builder draws its parameters from a seeded generator, so a name and a seed are one start, always the same.
`expected` is the verdict that the true circuit deserves. The vehicle is invented: an old farm pickup called Marigold.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from firstcrank.bench.cranking import crank
from firstcrank.bench.start import FeedEvent, Script, SimulatedStart
from firstcrank.bench.vehicle import Vehicle, typical
from firstcrank.errors import UsageError

Rng = np.random.Generator
END_S = 1e6


@dataclass(frozen=True, slots=True)
class Scenario:
    """`expected` is "PASS", "FAIL" or "NO VERDICT" with the limits for `system_v`; `cause` the id of the true cause."""

    name: str
    line: str
    expected: str
    build: Callable[[Rng], SimulatedStart]
    cause: str | None = None
    system_v: int = 12


def _script(rng: Rng, crank_s: float | None = None) -> Script:
    on_s = float(rng.uniform(1.2, 2.0))
    turn_s = on_s + float(rng.uniform(2.2, 3.2))
    start_s = turn_s + float(rng.uniform(0.06, 0.2))
    release_s = start_s + (float(rng.uniform(2.6, 4.0)) if crank_s is None else crank_s)
    return Script(on_s, turn_s, start_s, release_s, release_s + 3.0)


def _start(rng: Rng, vehicle: Vehicle | None = None, script: Script | None = None, turns: bool = True) -> SimulatedStart:
    vehicle = vehicle or typical(rng)
    script = script or _script(rng)
    turned = (
        crank(vehicle, script.release_s - script.start_s, vehicle.key_on_load_a, float(rng.uniform(0, 6))) if turns else None
    )
    return SimulatedStart("", 0, vehicle, script, turned)


def _in_crank(rng: Rng, start: SimulatedStart, length_s: float) -> float:
    """A random time at which something of `length_s` fits well inside the crank."""
    low_s, high_s = start.engaged_s + 0.3, start.script.release_s - 0.3 - length_s
    return float(rng.uniform(low_s, max(high_s, low_s + 1e-3)))


def healthy(rng: Rng) -> SimulatedStart:
    """All well."""
    return _start(rng)


def feed_dead_in_start(rng: Rng) -> SimulatedStart:
    """The trap: the switch's terminal is live in RUN and dead in START."""
    start = _start(rng)
    s = start.script
    return start.with_events(FeedEvent(s.turn_s + 0.03, s.release_s + float(rng.uniform(0.05, 0.15))))


def feed_sags_in_start(rng: Rng) -> SimulatedStart:
    """A burnt START contact: the feed falls below what the module needs while cranking."""
    start = _start(rng)
    s = start.script
    ohm = start.vehicle.scale * float(rng.uniform(6.5, 9.0)) / start.vehicle.feed_load_a
    return start.with_events(FeedEvent(s.start_s, s.release_s + 0.08, "series", ohm))


def feed_resistance(rng: Rng) -> SimulatedStart:
    """A corroded joint in the feed: too much drop in RUN and START alike."""
    start = _start(rng)
    ohm = start.vehicle.scale * float(rng.uniform(1.4, 2.2)) / start.vehicle.feed_load_a
    return start.with_events(FeedEvent(start.script.on_s, END_S, "series", ohm))


def feed_loose(rng: Rng) -> SimulatedStart:
    """A loose contact that opens with the engine's shaking."""
    start = _start(rng)
    events = []
    at_s = start.engaged_s + 0.35
    while at_s < start.script.release_s - 0.2:
        events.append(FeedEvent(at_s, at_s + float(rng.uniform(0.0015, 0.02))))
        at_s += float(rng.uniform(0.06, 0.4))
    return start.with_events(*events)


def one_dropout(rng: Rng) -> SimulatedStart:
    """One dropout while cranking, long enough to count."""
    start = _start(rng)
    length_s = float(10 ** rng.uniform(np.log10(0.002), np.log10(0.3)))
    at_s = _in_crank(rng, start, length_s)
    return start.with_events(FeedEvent(at_s, at_s + length_s, "at", float(rng.uniform(0.0, 4.0))))


def short_glitch(rng: Rng) -> SimulatedStart:
    """One glitch too short to count."""
    start = _start(rng)
    at_s = _in_crank(rng, start, 0.001)
    return start.with_events(FeedEvent(at_s, at_s + float(rng.uniform(0.0002, 0.0005)), "at", float(rng.uniform(0.0, 3.0))))


def turn_bounce(rng: Rng) -> SimulatedStart:
    """Contacts bounce once for a few milliseconds as the key turns."""
    start = _start(rng)
    at_s = start.script.turn_s + float(rng.uniform(0.01, 0.04))
    return start.with_events(FeedEvent(at_s, at_s + float(rng.uniform(0.0015, 0.006))))


def feed_lost_at_turn(rng: Rng) -> SimulatedStart:
    """The feed is lost while the key travels from RUN to START, and back in START."""
    start = _start(rng)
    at_s = start.script.turn_s + 0.005
    return start.with_events(FeedEvent(at_s, at_s + float(rng.uniform(0.02, 0.06))))


def feed_lost_at_release(rng: Rng) -> SimulatedStart:
    """The feed is lost while the key travels back from START to RUN."""
    start = _start(rng)
    at_s = start.script.release_s + float(rng.uniform(0.01, 0.06))
    return start.with_events(FeedEvent(at_s, at_s + float(rng.uniform(0.03, 0.25))))


def feed_from_start_terminal(rng: Rng) -> SimulatedStart:
    """The feed sits on the START terminal: live only while cranking."""
    start = _start(rng)
    s = start.script
    return start.with_events(FeedEvent(0.0, s.start_s), FeedEvent(s.release_s, END_S))


def battery_weak(rng: Rng) -> SimulatedStart:
    """A weak battery takes a good feed down with it."""
    vehicle = typical(rng)
    weak = replace(
        vehicle,
        open_circuit_v=vehicle.scale * float(rng.uniform(11.9, 12.1)),
        ohmic_ohm=vehicle.ohmic_ohm * float(rng.uniform(2.6, 3.4)),
        polarisation_ohm=vehicle.polarisation_ohm * 4.0,
    )
    return _start(rng, weak)


def heater_only(rng: Rng) -> SimulatedStart:
    """The intake heater draws the battery down and nobody cranks."""
    start = _start(rng, turns=False)
    return replace(start, heater=((start.script.on_s + 1.0, start.script.on_s + 4.0, 150.0 / start.vehicle.scale),))


def heater_then_crank(rng: Rng) -> SimulatedStart:
    """The intake heater is on before the crank and goes off when it begins: all well."""
    start = _start(rng)
    s = start.script
    return replace(start, heater=((s.on_s + 0.3, s.start_s - 0.05, 90.0 / start.vehicle.scale),))


def key_never_off(rng: Rng) -> SimulatedStart:
    """The recording begins with the key already in RUN."""
    start = _start(rng)
    return replace(start, script=replace(start.script, on_s=-1.0))


def bumped_key_off(rng: Rng) -> SimulatedStart:
    """The starter is bumped with the key off."""
    start = _start(rng)
    return start.with_events(FeedEvent(0.0, END_S))


def one_sweep(rng: Rng) -> SimulatedStart:
    """From OFF to START in one sweep: RUN before the crank was never seen."""
    start = _start(rng)
    return replace(start, script=replace(start.script, on_s=start.script.start_s - 0.08))


def remote_switch(rng: Rng) -> SimulatedStart:
    """Cranked by a remote switch with the key in RUN."""
    return replace(_start(rng), cranked_with_key=False)


def starter_bridged(rng: Rng) -> SimulatedStart:
    """Cranked by bridging the starter: terminal 50 stays dead."""
    return replace(_start(rng), coil_dead=True)


def runs_on(rng: Rng) -> SimulatedStart:
    """The engine catches at once and runs by itself."""
    script = _script(rng, crank_s=float(rng.uniform(0.6, 1.4)))
    start = _start(rng, script=replace(script, end_s=script.release_s + 6.5))
    return replace(start, running_from_s=start.script.release_s + 0.2)


def short_crank(rng: Rng) -> SimulatedStart:
    """Cranked too briefly to say anything."""
    return _start(rng, script=_script(rng, crank_s=float(rng.uniform(0.6, 1.5))))


def clip_moved(rng: Rng) -> SimulatedStart:
    """The board's ground clip comes off for a moment while cranking."""
    start = _start(rng)
    at_s = _in_crank(rng, start, 0.5)
    return replace(start, ground_off=((at_s, at_s + float(rng.uniform(0.05, 0.4))),))


def module_unplugged(rng: Rng) -> SimulatedStart:
    """The engine module is not plugged in."""
    return replace(_start(rng), module_plugged_in=False)


def dead_lead(rng: Rng) -> SimulatedStart:
    """The key lead is not on the feed."""
    return replace(_start(rng), leads={"key_switch": "none"})


def leads_exchanged(rng: Rng) -> SimulatedStart:
    """Battery and key leads are exchanged."""
    return replace(_start(rng), leads={"battery": "key_switch", "key_switch": "battery"})


def both_on_battery(rng: Rng) -> SimulatedStart:
    """The key lead sits on the battery post."""
    return replace(_start(rng), leads={"key_switch": "battery"})


def back_fed(rng: Rng) -> SimulatedStart:
    """With the key off the feed is held up through a lamp."""
    start = _start(rng)
    volts = start.vehicle.scale * float(rng.uniform(5.5, 9.0))
    return start.with_events(FeedEvent(0.0, start.script.on_s, "at", volts))


def healthy_24v(rng: Rng) -> SimulatedStart:
    """All well on a 24 V vehicle."""
    return _start(rng, typical(rng, 24))


def feed_dead_in_start_24v(rng: Rng) -> SimulatedStart:
    """The trap on a 24 V vehicle."""
    start = _start(rng, typical(rng, 24))
    s = start.script
    return start.with_events(FeedEvent(s.turn_s + 0.03, s.release_s + 0.1))


_TABLE: tuple[tuple[Callable[[Rng], SimulatedStart], str, str | None, int], ...] = (
    (healthy, "PASS", None, 12),
    (feed_dead_in_start, "FAIL", "feed_dead_in_start", 12),
    (feed_sags_in_start, "FAIL", "feed_dead_in_start", 12),
    (feed_resistance, "FAIL", "feed_resistance", 12),
    (feed_loose, "FAIL", "feed_loose", 12),
    (one_dropout, "FAIL", "feed_loose", 12),
    (short_glitch, "PASS", None, 12),
    (turn_bounce, "PASS", None, 12),
    (feed_lost_at_turn, "FAIL", "feed_lost_at_turn", 12),
    (feed_lost_at_release, "FAIL", "feed_lost_at_turn", 12),
    (feed_from_start_terminal, "FAIL", "feed_from_start_terminal", 12),
    (battery_weak, "FAIL", "battery_weak", 12),
    (heater_only, "NO VERDICT", None, 12),
    (heater_then_crank, "PASS", None, 12),
    (key_never_off, "NO VERDICT", None, 12),
    (bumped_key_off, "NO VERDICT", None, 12),
    (one_sweep, "NO VERDICT", None, 12),
    (remote_switch, "NO VERDICT", None, 12),
    (starter_bridged, "NO VERDICT", None, 12),
    (runs_on, "PASS", None, 12),
    (short_crank, "NO VERDICT", None, 12),
    (clip_moved, "NO VERDICT", None, 12),
    (module_unplugged, "NO VERDICT", None, 12),
    (dead_lead, "NO VERDICT", None, 12),
    (leads_exchanged, "NO VERDICT", None, 12),
    (both_on_battery, "NO VERDICT", None, 12),
    (back_fed, "NO VERDICT", None, 12),
    (healthy_24v, "PASS", None, 24),
    (feed_dead_in_start_24v, "FAIL", "feed_dead_in_start", 24),
)

SCENARIOS: dict[str, Scenario] = {
    build.__name__: Scenario(build.__name__, (build.__doc__ or "").strip(), expected, build, cause, system_v)
    for build, expected, cause, system_v in _TABLE
}


def simulate(name: str, seed: int = 1) -> SimulatedStart:
    """The start of that name and seed. Raises UsageError naming the scenarios where there is none of that name."""
    if name not in SCENARIOS:
        raise UsageError(f"there is no scenario called {name!r}; 'firstcrank scenarios' lists them")
    scenario = SCENARIOS[name]
    rng = np.random.default_rng([seed, *name.encode()])
    start = scenario.build(rng)
    return replace(start, name=name, seed=seed, cause=scenario.cause)
