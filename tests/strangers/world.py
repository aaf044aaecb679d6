"""What truly happened: every lead's volts on a grid that is dense wherever something moves fast.

The grid is even at half a bin (0.4 ms) and has extra points behind every move of a contact, spread as an exponential needs them
(from a hundredth of a time constant to nine), so that straight lines between points miss no more than some millivolts and
a loss of 5 us is there with all its edges.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tests.strangers import feedline, plant
from tests.strangers.plan import OFF, ON, START, Plan

Floats = NDArray[np.float64]
FILTER_S = 56e-6  # a minimal board's input network, docs/acquisition.md
SPREAD = np.array([0.0, 0.01, 0.03, 0.06, 0.1, 0.15, 0.22, 0.3, 0.4, 0.55, 0.75, 1.0, 1.3, 1.7, 2.2, 3.0, 4.0, 5.5, 7.0, 9.0])


@dataclass(frozen=True, slots=True)
class World:
    """`volts[role]` and the rest have shape (m,) at times `t_s`, all against the battery's negative post.

    `source_v`: what the feed comes from. `closed`: when the feed's way was closed. `even`: indexes into the grid of the points
    half a bin apart, beginning with the recording.
    """

    plan: Plan
    t_s: Floats
    volts: dict[str, Floats]
    source_v: Floats
    starter_a: Floats
    plant: plant.Plant
    closed: list[tuple[float, float]]
    even: NDArray[np.int64]
    half_bin_s: float
    extra: dict[str, list[float]] = field(default_factory=dict)


def coil_intervals(p: Plan) -> list[tuple[float, float]]:
    """When the S terminal is fed."""
    out = []
    for c in p.cranks:
        if c.bridged or c.locked_out:
            continue
        out.append((c.key_start_s + c.relay_s, c.key_end_s + c.relay_s))
    return out


def build(p: Plan, half_bin_s: float) -> World:
    """Computes a plan. `half_bin_s` is the even spacing of the grid."""
    end_s = p.record.end_s + 0.01
    states = plant.run(p, end_s)
    probe_t = np.arange(0.0, end_s + 0.001, 0.001)
    probe_v = plant.battery_at(p, states, probe_t)[0] if p.feed.relay else np.zeros_like(probe_t)
    closed = feedline.contact(p, end_s, probe_t, probe_v)
    moves = feedline.moves_of(closed)
    count = int((end_s - p.record.begin_s) / half_bin_s) + 2
    even_t = p.record.begin_s + np.arange(count) * half_bin_s
    coil_moves, coil_cuts = _coil(p)
    t = np.unique(np.concatenate((even_t, _extra(p, moves, coil_moves, even_t[0], even_t[-1]))))
    even = np.searchsorted(t, even_t)
    v_b, i_st = plant.battery_at(p, states, t)
    source = v_b - (p.feed.stud_ohm * i_st if p.feed.source == "stud" else 0.0)
    lost, cap = feedline.drop_at(p.feed.drops, source, t)
    shut_v = np.minimum(source - p.feed.wire_ohm * p.feed.amps - lost, cap)
    open_v = _backfeed(p, t, v_b)
    feed = feedline.node(t, moves, shut_v, open_v, p.feed.charge_s, p.feed.decay_s)
    volts = {"battery": v_b, "feed_source": source, "key_switch": feed}
    volts["starter_coil"] = _coil_volts(p, states, t, v_b, coil_moves, coil_cuts)
    volts.update(_module(p, t, v_b, i_st))
    volts["engine_ground"] = p.module.strap_ohm * i_st
    volts.update(_heater(p, t, v_b))
    return World(p, t, volts, source, i_st, states, closed, even, half_bin_s)


def _extra(
    p: Plan, moves: list[tuple[float, bool]], coil_moves: list[tuple[float, bool]], from_s: float, to_s: float
) -> Floats:
    """Points between the even ones."""
    f = p.feed
    parts: list[Floats] = []
    at = np.array([m[0] for m in moves] + [m[0] for m in coil_moves])
    tiny = 1e-9
    parts.append(at - tiny)
    for tau in (FILTER_S, f.charge_s):
        parts.append((at[:, None] + SPREAD * tau).ravel())
    opened = np.array([m[0] for m in moves if not m[1]])
    if f.decay_s > FILTER_S:
        parts.append((opened[:, None] + SPREAD * min(f.decay_s, 0.002)).ravel())
    for d in [*f.drops, *p.module.supply_faults, *p.module.ground_faults]:
        parts.append(np.array([d.begin_s, d.begin_s + d.edge_s, d.end_s, d.end_s + d.edge_s]))
        for x in (d.begin_s, d.begin_s + d.edge_s, d.end_s, d.end_s + d.edge_s):
            parts.append(x + SPREAD * FILTER_S)
    for c in p.cranks:
        parts.append(c.begin_s + SPREAD * p.engine.rise_s)
        parts.append(c.begin_s + np.arange(0, 0.012, 0.0001))
        parts.append(c.end_s + np.arange(-0.0002, 0.004, 0.00005))
    for x in [y for load in plant.all_loads(p) for y in (load.on_s, load.off_s)] + [
        y for h in p.helpers for y in (h.on_s, h.off_s)
    ]:
        parts.append(np.array([x - 1e-7]))
        parts.append(x + SPREAD * FILTER_S)
    out = np.concatenate(parts)
    return out[(out > from_s) & (out < to_s)]


def _backfeed(p: Plan, t: Floats, v_b: Floats) -> Floats:
    """What the open feed is tied to."""
    out = np.zeros_like(t)
    b = p.feed.backfeed
    if b is None:
        return out
    number = 0
    for at, to in p.key:
        if to == OFF:
            if b.only is None or b.only == number:
                i, j = np.searchsorted(t, [at - 0.01, at + b.until_s])
                out[i:j] = b.share * v_b[i:j]
            number += 1
    return out


def _coil(p: Plan) -> tuple[list[tuple[float, bool]], list[tuple[float, float]]]:
    """Moves of the S terminal's contact, its bounces included."""
    rng = np.random.default_rng([p.seed, 50])
    cuts: list[tuple[float, float]] = []
    for a, _ in coil_intervals(p):
        for s in sorted(rng.uniform(0.0, 0.003, int(rng.integers(0, 4)))):
            cuts.append((a + s, a + s + rng.uniform(3e-5, 4e-4)))
    return feedline.moves_of(feedline.without(coil_intervals(p), cuts)), cuts


def _coil_volts(
    p: Plan,
    states: plant.Plant,
    t: Floats,
    v_b: Floats,
    moves: list[tuple[float, bool]],
    cuts: list[tuple[float, float]],
) -> Floats:
    """S terminal: battery less the control circuit's drop, more of it while the solenoid pulls in.

    Let go, the pull-in winding still joins it to the motor's terminal until the main contacts open, and to the motor's
    counter-voltage while it spins down; the sound relay's diode clamps the kick. From memory of solenoid circuits, no source.
    """
    rng = np.random.default_rng([p.seed, 51])
    pulls = np.ones_like(t)
    rest = np.zeros_like(t)
    joined = rng.random() < 0.5
    share = rng.uniform(0.5, 0.8)
    remanence = rng.uniform(0.02, 0.25)
    for c in p.cranks:
        if c.bridged or c.locked_out:
            continue
        i, j = np.searchsorted(t, [c.key_start_s, c.begin_s])
        pulls[i:j] = 1.8
        i, j = np.searchsorted(t, [c.key_end_s + c.relay_s, c.end_s])
        if joined:
            rest[i:j] = share * v_b[i:j]
        if not c.no_turn:
            k = int(np.searchsorted(t, c.end_s + 1.5))
            counter = np.interp(t[j:k], states.t_s, states.counter_v)
            rest[j:k] = np.minimum(remanence * counter, 2.0 * p.scale)
    for c in p.cranks:
        if c.bridged:  # main contacts closed by hand: the pull-in winding shows the motor's volts, but the small wire is off
            pass
    shut = np.maximum(v_b - p.coil_drop_v * pulls, 0.0)
    return feedline.node(t, moves, shut, rest, 4e-5, 3e-4)


def _module(p: Plan, t: Floats, v_b: Floats, i_st: Floats) -> dict[str, Floats]:
    """The module's supply and ground pins; it draws its current while the feed is meant to be on."""
    m = p.module
    amps = np.full_like(t, 0.03)
    for a, b in feedline.key_intervals(p, (ON, START), p.record.end_s):
        i, j = np.searchsorted(t, [a, b + 0.5])
        amps[i:j] = m.amps
    lost, cap = feedline.drop_at(m.supply_faults, v_b, t)
    risen, _ = feedline.drop_at(m.ground_faults, v_b, t)
    return {
        "module_supply": np.minimum(v_b - m.supply_ohm * amps - lost, cap),
        "module_ground": m.ground_ohm * amps + m.shared_ohm * i_st + risen,
    }


def _heater(p: Plan, t: Floats, v_b: Floats) -> dict[str, Floats]:
    """The intake heater's solenoid: its plus and minus studs."""
    plus, minus = np.zeros_like(t), np.zeros_like(t)
    for load in p.loads:
        if load.what != "heater":
            continue
        i, j = np.searchsorted(t, [load.on_s, load.off_s])
        plus[i:j] = v_b[i:j] - 0.15 * p.scale - p.heater_drop_v
        minus[i:j] = 0.08 * p.scale
    if p.heater_reversed:
        plus, minus = minus, plus
    return {"heater_coil": plus, "heater_return": minus}


__all__ = ("FILTER_S", "OFF", "ON", "START", "World", "build", "coil_intervals")
