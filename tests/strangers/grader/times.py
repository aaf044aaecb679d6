"""The printed times of a start, from the truth: ON, START, LET GO, OFF; and which stretches of the feed count as live."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from tests.strangers.clips import at_the_clips
from tests.strangers.grader.measure import Stretch, below
from tests.strangers.start import StrangeStart

Floats = NDArray[np.float64]
FALL_VAGUE_S = 0.01  # this close to the longest fall a bin decides
FALL_MAX_S, DEAD_BETWEEN_S, OPENING_S = 0.5, 0.65, 0.010


@dataclass(frozen=True, slots=True)
class Crank:
    """START and LET GO of one crank: the S terminal's, or the main contacts' where it is not wired so."""

    start_s: float
    let_go_s: float


@dataclass(slots=True)
class Times:
    """`spans` are (ON, OFF) in which the feed counts as live; `feed` is what the recorder can judge it by, shape (m,)."""

    on_s: float | None
    dead_before_s: float
    cranks: list[Crank]
    spans: list[tuple[float, float]] = field(default_factory=list)
    offs: list[float] = field(default_factory=list)
    never_back: bool = False
    odd: list[str] = field(default_factory=list)
    vague: list[str] = field(default_factory=list)


def true_cranks(s: StrangeStart) -> list[Crank]:
    """Cranks that turned the engine, as far as they lie in the recording."""
    p = s.plan
    out = []
    for c in p.cranks:
        if c.locked_out or c.no_turn:
            continue
        a, b = c.key_start_s + c.relay_s, c.key_end_s + c.relay_s
        if c.bridged:
            a, b = c.begin_s, c.end_s
        if b > p.record.begin_s and a < p.record.end_s:
            out.append(Crank(a, b))
    return out


def judged_feed(s: StrangeStart) -> Floats:
    """The feed against module ground where that lead is on."""
    tricks = s.plan.record.tricks
    lead_astray = any(name in tricks and tricks[name][0] == "key_switch" for name in ("off", "copy"))
    # a lead in the air is a dead feed to whoever reads the recording
    v = at_the_clips(s.world)["key_switch"] if lead_astray else s.world.volts["key_switch"]
    if "module_ground" in s.plan.record.leads:
        return v - s.world.volts["module_ground"]
    return v


def find(s: StrangeStart, feed: Floats, off_v: float, live_v: float, minimum_v: float) -> Times:
    """Times of the truth within the recording."""
    t = s.world.t_s
    begin, end = s.plan.record.begin_s, s.plan.record.end_s
    cranks = true_cranks(s)
    inside = (t >= begin) & (t <= end)
    live = np.flatnonzero(inside & (feed > live_v))
    dead = below(t, feed, off_v, begin, end)
    if not len(live):
        return Times(None, 0.0, cranks)
    first_dead = dead[0] if dead and dead[0].begin_s <= begin + 1e-6 else None
    if first_dead is None:
        times = Times(float(begin), 0.0, cranks)
    else:
        after = live[t[live] >= first_dead.end_s - 1e-9]
        times = Times(float(t[after[0]]) if len(after) else None, first_dead.end_s - begin, cranks)
    if times.on_s is None:
        return times
    _spans(t, feed, dead, times, end, minimum_v, live_v, [b for _, b in s.world.closed])
    return times


def _opened(t: Floats, feed: Floats, dead_s: float, minimum_v: float, openings: list[float], open_from: float) -> float:
    """When the contact opened for good before the feed was dead; a bounce of up to 10 ms on opening belongs to it."""
    up = np.flatnonzero((t < dead_s) & (feed >= minimum_v))
    falls_from = float(t[up[-1]]) if len(up) else open_from
    last = [x for x in openings if falls_from - FALL_MAX_S <= x <= dead_s]
    by_contact = min((x for x in last if x >= last[-1] - OPENING_S), default=falls_from)  # none: it sank by another way
    return min(by_contact, _falling_since(t, feed, dead_s))


def _falling_since(t: Floats, feed: Floats, dead_s: float) -> float:
    """From when the feed only fell until it was dead: a drop that runs into a key-off can't be told from its fall."""
    i, j = np.searchsorted(t, [dead_s - FALL_MAX_S, dead_s])
    x, y = t[i:j], feed[i:j]
    if len(y) < 3:
        return dead_s
    slack = 0.02 * float(y.max())
    highest_after = np.maximum.accumulate(y[::-1])[::-1]
    rises = np.flatnonzero(highest_after - y > slack)
    first = int(rises[-1]) + 1 if len(rises) else 0
    high = np.flatnonzero(y[first:] >= y[first:].max() - slack)
    return float(x[first + int(high[-1])]) if len(high) else dead_s


def _spans(
    t: Floats,
    feed: Floats,
    dead: list[Stretch],
    times: Times,
    end: float,
    minimum_v: float,
    live_v: float,
    openings: list[float],
) -> None:
    """Live stretches: each ends where the contact opened before a dead time that counts as OFF, opening bounce included."""
    assert times.on_s is not None
    open_from = times.on_s
    last_let_go = times.cranks[-1].let_go_s if times.cranks else math.inf
    for d in dead:
        if d.end_s <= times.on_s:
            continue
        to_end = d.end_s >= end - 2e-3
        if not to_end and d.length_s < DEAD_BETWEEN_S:
            continue
        if any(c.start_s < d.end_s and d.begin_s < c.let_go_s for c in times.cranks):
            if to_end:
                times.never_back = True
            continue
        if not to_end and not any(c.start_s > d.end_s for c in times.cranks):
            continue  # it comes back and no crank follows: not between cranks, so a loss
        if times.cranks and d.begin_s < times.cranks[0].start_s:
            times.odd.append("K4: dead before the first crank")
        if times.cranks and to_end and d.begin_s < last_let_go + 2.0:
            times.never_back = True
        off = _opened(t, feed, d.begin_s, minimum_v, openings, open_from)
        if abs(d.begin_s - off - FALL_MAX_S) < FALL_VAGUE_S:
            times.vague.append(f"key off or sunk: dead {d.begin_s - off:.3f} s after it opened")
        if d.begin_s - off > FALL_MAX_S + FALL_VAGUE_S:
            continue  # it sank: judged as live
        if off > open_from:
            times.spans.append((open_from, off))
        times.offs.append(off)
        following = np.flatnonzero((t >= d.end_s) & (feed > live_v))
        if to_end or not len(following):
            return
        open_from = float(t[following[0]])
    times.spans.append((open_from, end))
