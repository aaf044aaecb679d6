"""The key feed as a node: a contact that opens and closes, the wire's drop, the module's input capacitor.

Between two moves of the contact the node goes exponentially to what it is tied to: to the source less the drops while closed,
to nothing (or to what feeds back) while open. Solved in closed form, move by move.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from tests.strangers.plan import OFF, ON, START, Drop, Plan, RelayPlan

Floats = NDArray[np.float64]


def key_intervals(p: Plan, positions: tuple[str, ...], end_s: float) -> list[tuple[float, float]]:
    """When the key stands in one of `positions`."""
    out: list[tuple[float, float]] = []
    at, before = 0.0, OFF
    for t, to in [*p.key, (end_s + 1.0, "")]:
        if before in positions and t > at:
            if out and out[-1][1] == at:
                out[-1] = (out[-1][0], t)
            else:
                out.append((at, t))
        at, before = t, to
    return out


def without(closed: list[tuple[float, float]], cuts: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Intervals of `closed` less the `cuts`."""
    out = []
    cuts = sorted(cuts)
    for a, b in closed:
        at = a
        for x, y in cuts:
            if y <= at or x >= b:
                continue
            if x > at:
                out.append((at, x))
            at = max(at, y)
            if at >= b:
                break
        if at < b:
            out.append((at, b))
    return out


def relay_contact(
    relay: RelayPlan, coil: list[tuple[float, float]], t: Floats, volts: Floats, seed: int
) -> list[tuple[float, float]]:
    """When the relay's contact is closed: coil fed over `coil`, its supply `volts` at times `t`; first order in `coil_s`.

    The coil pulls in above `pull_v` and lets go below `hold_v`; its contact follows after its own times and bounces on making.
    """
    rng = np.random.default_rng([seed, 77])
    out: list[tuple[float, float]] = []
    v, made, since, k = 0.0, False, 0.0, 0
    step = t[1] - t[0]
    on = np.zeros(len(t), dtype=bool)
    for a, b in coil:
        i, j = np.searchsorted(t, [a, b])
        on[i:j] = True
    supply = np.where(on, volts, 0.0).tolist()
    share = 1.0 - math.exp(-step / relay.coil_s)
    times = t.tolist()
    for k, now in enumerate(times):
        v += (supply[k] - v) * share
        if not made and v > relay.pull_v:
            made, since = True, now + relay.operate_s
        elif made and v < relay.hold_v:
            made = False
            out.append((since, max(now + relay.release_s, since + 1e-4)))
    if made:
        out.append((since, times[-1] + 1.0))
    bounced: list[tuple[float, float]] = []
    for a, b in out:
        at = a
        for _ in range(relay.bounces):
            shut = at + rng.uniform(1e-4, 6e-4)
            if shut < b:
                bounced.append((at, shut))
                at = shut + rng.uniform(3e-5, 4e-4)
        bounced.append((at, b))
    return bounced


def drop_at(drops: list[Drop], source: Floats, t: Floats) -> tuple[Floats, Floats]:
    """Volts lost on the way and the highest the feed may be, at times `t`, sorted."""
    lost = np.zeros_like(t)
    cap = np.full_like(t, np.inf)
    for d in drops:
        a, b = np.searchsorted(t, [d.begin_s, d.end_s + d.edge_s])
        if a == b:
            continue
        x = t[a:b]
        weight = np.clip((x - d.begin_s) / d.edge_s, 0, 1) * np.clip((d.end_s + d.edge_s - x) / d.edge_s, 0, 1)
        if d.sink_s:
            weight = weight * (1.0 - np.exp(-(x - d.begin_s) / d.sink_s))
        if d.to_v is None:
            lost[a:b] += weight * (d.volts + d.share * source[a:b])
        else:
            low = np.minimum(d.to_v, source[a:b])
            cap[a:b] = np.minimum(cap[a:b], source[a:b] + (low - source[a:b]) * weight)
    return lost, cap


def node(t: Floats, moves: list[tuple[float, bool]], shut_v: Floats, open_v: Floats, charge_s: float, decay_s: float) -> Floats:
    """Volts of the node at times `t`; `moves` are (time, closed from then on), the first at or before t[0]."""
    at = np.array([m[0] for m in moves])
    shut = [m[1] for m in moves]
    sv, ov = np.interp(at, t, shut_v).tolist(), np.interp(at, t, open_v).tolist()
    # just before each move the target may differ where the source jumps with it; the grid has points on both sides
    start = np.empty(len(moves))
    v = sv[0] if shut[0] else ov[0]
    for k in range(len(moves)):
        start[k] = v
        if k + 1 < len(moves):
            h = float(at[k + 1] - at[k])
            to, was, tau = (sv[k + 1], sv[k], charge_s) if shut[k] else (ov[k + 1], ov[k], decay_s)
            v = to + (v - was) * math.exp(-h / tau)
    which = np.maximum(np.searchsorted(at, t, side="right") - 1, 0)
    closed = np.array(shut)[which]
    base = np.where(closed, np.array(sv)[which], np.array(ov)[which])
    time_s = np.where(closed, charge_s, decay_s)
    target = np.where(closed, shut_v, open_v)
    fade = np.exp(-np.maximum(t - at[which], 0.0) / time_s)
    return np.asarray(target + (start[which] - base) * fade)


def moves_of(closed: list[tuple[float, float]]) -> list[tuple[float, bool]]:
    """Moves of a contact from its closed intervals, beginning long before the recording."""
    out: list[tuple[float, bool]] = [(-10.0, False)]
    for a, b in closed:
        if a <= 0.0:
            out = [(-10.0, True)]
        else:
            out.append((a, True))
        out.append((b, False))
    return out


def contact(p: Plan, end_s: float, t: Floats, battery_v: Floats) -> list[tuple[float, float]]:
    """Intervals in which the feed's way is closed; `battery_v` at times `t` (evenly spaced) feeds a relay's coil."""
    live = key_intervals(p, p.feed.live_in, end_s)
    cuts = [(c.begin_s, c.end_s) for c in p.feed.cuts]
    if p.feed.relay is None:
        return without(live, cuts)
    key_cuts = [c for c in cuts if c[1] - c[0] < 0.003]
    faults = [c for c in cuts if c[1] - c[0] >= 0.003]
    shut = relay_contact(p.feed.relay, without(live, faults), t, battery_v, p.seed)
    return without(shut, [c for c in key_cuts if p.labels.get("cuts behind relay")])


__all__ = ("OFF", "ON", "START", "contact", "drop_at", "key_intervals", "moves_of", "node", "without")
