"""Faults of the key feed, each a builder that draws its numbers from a seeded generator."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from firstcrank_sim.vehicle.plan import Plan, Rng, feed_a, feed_open, healthy_plan, series_for_drop, with_feed
from firstcrank_sim.vehicle.relay import Relay
from firstcrank_sim.vehicle.schedule import NEVER_S


def feed_dead_in_start(rng: Rng, system_v: int = 12) -> Plan:
    """The trap: the switch's terminal is live with KEY ON and dead in START."""
    plan = healthy_plan(rng, system_v, loaded=rng.random() < 0.3)
    s = plan.schedule
    lost_s = s.leave_s + float(rng.uniform(0.1, 0.9)) * (s.start_s - s.leave_s)
    back_s = s.open_s + float(rng.uniform(0.1, 0.9)) * (s.back_s - s.open_s)
    return feed_open(plan, (lost_s, back_s))


def feed_sags_in_start(rng: Rng, system_v: int = 12) -> Plan:
    """A burnt START contact: the feed sags while cranking, to less than the module needs or by far too much."""
    plan = healthy_plan(rng, system_v, loaded=rng.random() < 0.5)
    s = plan.schedule
    ohm = series_for_drop(plan, plan.vehicle.scale * float(rng.uniform(2.4, 8.0)))
    return with_feed(plan, series=((s.start_s, s.open_s + float(rng.uniform(0.01, 0.04)), ohm),))


def chatter_in_start(rng: Rng) -> Plan:
    """A worn START contact that cannot hold: the feed comes and goes all through START, good with KEY ON."""
    plan = healthy_plan(rng)
    s = plan.schedule
    at_s = s.start_s + float(rng.uniform(0.0, 0.05))
    stretches = []
    while at_s < s.open_s:
        dead_s = float(10 ** rng.uniform(-2.0, -0.5))
        stretches.append((at_s, min(at_s + dead_s, s.open_s + 0.02)))
        at_s += dead_s + float(10 ** rng.uniform(-2.6, -1.6))
    return feed_open(plan, *stretches)


def feed_from_start_terminal(rng: Rng) -> Plan:
    """The feed sits on the START terminal: live only while cranking."""
    plan = healthy_plan(rng)
    return feed_open(plan, (0.0, plan.schedule.start_s), (plan.schedule.open_s, NEVER_S))


def feed_lost_at_turn(rng: Rng) -> Plan:
    """The feed is lost while the key travels from KEY ON to START, and back in START."""
    plan = healthy_plan(rng)
    s = plan.schedule
    travel_s = s.start_s - s.leave_s
    lost_s = float(rng.uniform(0.016, max(travel_s * 0.9, 0.02)))
    at_s = s.leave_s + float(rng.uniform(0.02, 0.98)) * max(travel_s - lost_s, 1e-3)
    return feed_open(plan, (at_s, at_s + lost_s))


def feed_lost_at_release(rng: Rng) -> Plan:
    """The feed is lost while the key travels back from START to KEY ON."""
    plan = healthy_plan(rng)
    s = plan.schedule
    begin_s = s.open_s + float(rng.uniform(0.001, 0.012))
    return feed_open(plan, (begin_s, begin_s + float(rng.uniform(0.016, 0.12))))


def feed_resistance(rng: Rng, system_v: int = 12) -> Plan:
    """A corroded joint in the feed: too much drop with KEY ON and in START alike."""
    plan = healthy_plan(rng, system_v, loaded=rng.random() < 0.5)
    limit_v = plan.vehicle.scale * (0.5 if plan.context.feed_kind == "loaded" else 1.0)
    ohm = series_for_drop(plan, limit_v * float(rng.uniform(1.5, 3.2)))
    return with_feed(plan, series=((0.0, NEVER_S, ohm),))


def feed_ballast(rng: Rng) -> Plan:
    """An ignition resistor or resistor wire is still in the feed: it drops volts, more as it warms, in START often bypassed."""
    plan = healthy_plan(rng, loaded=True)
    amperes = feed_a(plan)
    return with_feed(
        plan,
        ballast_ohm=float(rng.uniform(1.6, 3.6)) / amperes,
        ballast_gain=float(rng.uniform(0.25, 0.45)),
        ballast_tau_s=float(rng.uniform(0.7, 1.5)),
        ballast_bypass=bool(rng.random() < 0.6),
    )


def feed_relay(rng: Rng) -> Plan:
    """The feed's relay cannot hold or pull in while the battery sags: worn, wrong voltage, or its coil hot."""
    plan = healthy_plan(rng)
    low_v, rest_v = _guessed_crank_v(plan), plan.vehicle.open_circuit_v
    release_v = low_v + float(rng.uniform(0.25, 0.6)) * (rest_v - low_v)
    operate_v = min(release_v + float(rng.uniform(0.3, 1.0)), rest_v - 0.45)
    relay = Relay(
        coil_ohm=float(rng.uniform(75.0, 110.0)),
        coil_h=float(rng.uniform(0.25, 0.6)),
        operate_v=operate_v,
        release_v=min(release_v, operate_v - 0.15),
        suppression=str(rng.choice(["none", "diode", "resistor"])),
    )
    return with_feed(plan, relay=relay)


def relay_good(rng: Rng) -> Plan:
    """All well, the feed switched by a sound relay with a warm coil."""
    plan = healthy_plan(rng)
    relay = Relay(coil_c=float(rng.uniform(0.0, 60.0)), suppression=str(rng.choice(["none", "diode", "resistor"])))
    return with_feed(plan, relay=relay)


def feed_loose(rng: Rng) -> Plan:
    """A loose contact that opens with the engine's shaking."""
    plan = healthy_plan(rng)
    s = plan.schedule
    return feed_open(plan, *_shaken(rng, s.engage_s + 0.1, s.open_s - 0.05))


def loose_everywhere(rng: Rng) -> Plan:
    """A loose contact that opens now and then, with KEY ON as well as while cranking."""
    plan = healthy_plan(rng)
    s = plan.schedule
    stretches = list(_shaken(rng, s.engage_s + 0.1, s.open_s - 0.05))
    for _ in range(int(rng.integers(2, 5))):
        at_s = float(rng.uniform(s.on_s + 0.3, s.leave_s - 0.1))
        stretches.append((at_s, at_s + float(10 ** rng.uniform(-2.6, -1.3))))
    return feed_open(plan, *stretches)


def _shaken(rng: Rng, from_s: float, to_s: float) -> tuple[tuple[float, float], ...]:
    stretches = []
    at_s = from_s + float(rng.uniform(0.0, 0.3))
    while at_s < to_s - 0.03:
        stretches.append((at_s, at_s + float(10 ** rng.uniform(-2.75, -1.6))))
        at_s = stretches[-1][1] + float(rng.uniform(0.04, 0.5))
    return tuple(stretches)


def one_dropout(rng: Rng) -> Plan:
    """One dropout while cranking, long enough to count."""
    plan = healthy_plan(rng)
    length_s = float(10 ** rng.uniform(np.log10(0.0012), np.log10(0.3)))
    at_s = in_crank(rng, plan, length_s)
    return feed_open(plan, (at_s, at_s + length_s))


def short_glitch(rng: Rng) -> Plan:
    """One glitch too short to count."""
    plan = with_feed(healthy_plan(rng), load_f=1e-7)
    at_s = in_crank(rng, plan, 0.001)
    return feed_open(plan, (at_s, at_s + float(rng.uniform(0.0002, 0.0007))))


def turn_bounce(rng: Rng) -> Plan:
    """Contacts bounce once for a few milliseconds as the key turns."""
    plan = with_feed(healthy_plan(rng), load_f=1e-7)
    s = plan.schedule
    at_s = s.leave_s + float(rng.uniform(0.1, 0.8)) * (s.start_s - s.leave_s)
    return feed_open(plan, (at_s, at_s + float(rng.uniform(0.0015, 0.007))))


def fuse_blown(rng: Rng) -> Plan:
    """The feed's fuse blows as the starter takes hold, and stays blown."""
    plan = healthy_plan(rng)
    s = plan.schedule
    at_s = float(rng.uniform(s.leave_s + 0.3 * (s.start_s - s.leave_s), s.engage_s + 1.0))
    return feed_open(plan, (at_s, NEVER_S))


def fuse_out(rng: Rng) -> Plan:
    """The feed's fuse is out: never live."""
    return feed_open(healthy_plan(rng), (0.0, NEVER_S))


def feed_dead_and_weak_battery(rng: Rng) -> Plan:
    """Two faults: the trap, and a battery near its end."""
    plan = feed_dead_in_start(rng)
    v = plan.vehicle
    return replace(plan, vehicle=replace(v, ohmic_ohm=v.ohmic_ohm * float(rng.uniform(1.5, 2.2))), also=("battery_weak",))


def resistance_and_loose(rng: Rng) -> Plan:
    """Two faults: a corroded joint that is loose as well."""
    plan = feed_resistance(rng)
    s = plan.schedule
    return replace(feed_open(plan, *_shaken(rng, s.engage_s + 0.1, s.open_s - 0.05)), also=("feed_loose",))


def in_crank(rng: Rng, plan: Plan, length_s: float) -> float:
    """A random time at which something of `length_s` fits well inside the crank."""
    s = plan.schedule
    return float(rng.uniform(s.engage_s + 0.25, max(s.open_s - 0.1 - length_s, s.engage_s + 0.26)))


def _guessed_crank_v(plan: Plan) -> float:
    """Battery volts when the starter's current peaks: a closed guess, to place thresholds between it and the rest voltage."""
    v = plan.vehicle
    stall_a = v.open_circuit_v / (v.ohmic_ohm + v.main_ohm)
    return v.open_circuit_v - 0.85 * stall_a * v.ohmic_ohm
