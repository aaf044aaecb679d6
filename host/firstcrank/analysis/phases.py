"""The phases of a start: key off, key on, key turn, crank, release, after.

The feed says when the key was off and on; the cranks come from crank_detection. The key turn is the time in which the
key travels from RUN to START, before the battery sags; the release that in which it travels back.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firstcrank.analysis.crank_detection import Turning, stretches_of
from firstcrank.analysis.findings import Phase
from firstcrank.analysis.view import Feed
from firstcrank.limits import Limits
from firstcrank.trace import Trace

TURN_BEFORE_S = 0.3  # the key leaves RUN at most this long before the starter works, where the feed says nothing
TURN_SEARCH_S = 1.5  # a feed lost this long before the crank and still lost when it begins was lost in the turn
SAG_LATEST_S = 0.15  # a solenoid that takes longer than this to engage the starter does not stretch the turn
RELEASE_BEFORE_S = 0.03  # START opens before the coil or the sag shows it
RELEASE_S = 0.5
UNSEEN_ON_S = 0.5
OFF_SHORTEST_S = 0.05
LIVE_SHORTEST_S = 0.02
OFF_BOUNCE_S = 0.05
OFF_BETWEEN_S = 0.5
STEP_DOWN_V = 0.5


@dataclass(frozen=True, slots=True)
class KeyTimes:
    """When the feed was first dead, then live; when the key was turned off at the end; None where not seen.

    `off_between`: stretches between two cranks in which the key was off (a start lock-out asks for it).
    """

    on_s: float | None
    off_s: float | None
    off_between: tuple[tuple[float, float], ...] = ()


def key_times(trace: Trace, feed: Feed, limits: Limits, turnings: tuple[Turning, ...], told_off: bool = False) -> KeyTimes:
    """Reads the key's position from the feed, outside the cranks.

    `told_off`: the user says that the key was turned off at the end (a hold-on time was given), so a lasting step down counts
    as well: a feed that is fed back does not go dead.
    """
    dead = feed.mean_v < limits["feed_off_v"]
    live = feed.mean_v > limits["feed_live_v"]
    lives = [s for s in stretches_of(live, trace.start_s, trace.end_s) if s[1] - s[0] >= LIVE_SHORTEST_S]
    if not lives:
        return KeyTimes(None, None)
    first_live_s = lives[0][0]
    deads = stretches_of(dead & (trace.end_s <= first_live_s), trace.start_s, trace.end_s)
    on_s = first_live_s if any(b - a >= OFF_SHORTEST_S for a, b in deads) else None
    enough = feed.mean_v >= limits["module_minimum_v"]
    held = stretches_of(enough, trace.start_s, trace.end_s) or lives
    off_s = _off_at_end(trace, held, limits, turnings)
    if off_s is None and told_off:
        off_s = _step_at_end(trace, feed, limits, turnings)
    return KeyTimes(on_s, off_s, _off_between(trace, feed, limits, turnings))


def _step_at_end(trace: Trace, feed: Feed, limits: Limits, turnings: tuple[Turning, ...]) -> float | None:
    """When the feed stepped down from its source for good, long enough after the last release."""
    if not turnings:
        return None
    from_s = turnings[-1].end_s + RELEASE_S
    after = trace.start_s >= from_s
    settled = after & (trace.end_s <= from_s + limits["after_release_s"])
    if not settled.any():
        return None
    usual_v = float(np.median(feed.drop_v[settled]))
    down = feed.drop_v > usual_v + STEP_DOWN_V * limits.system_v / 12.0
    if not down[-1]:
        return None
    up = np.flatnonzero(~down)
    off_s = float(trace.end_s[up[-1]]) if len(up) else None
    return off_s if off_s is not None and off_s >= turnings[-1].end_s + limits["after_release_s"] else None


def _off_at_end(trace: Trace, lives: list[tuple[float, float]], limits: Limits, turnings: tuple[Turning, ...]) -> float | None:
    """The feed went dead for good, long enough after the last release: the key was turned off."""
    last = len(lives) - 1
    while last > 0 and _short(lives[last]) and lives[last][0] - lives[last - 1][1] < OFF_BOUNCE_S:
        last -= 1  # contacts bounce while they open
    off_s = lives[last][1]
    released_s = turnings[-1].end_s if turnings else 0.0
    if lives[-1][1] >= trace.end_s[-1] - LIVE_SHORTEST_S or off_s < released_s + limits["after_release_s"]:
        return None
    return off_s


def _short(stretch: tuple[float, float]) -> bool:
    return stretch[1] - stretch[0] < OFF_BOUNCE_S


def _off_between(trace: Trace, feed: Feed, limits: Limits, turnings: tuple[Turning, ...]) -> tuple[tuple[float, float], ...]:
    dead = feed.mean_v < limits["feed_off_v"]
    between: list[tuple[float, float]] = []
    for before, after in pairwise(turnings):
        pause = dead & (trace.start_s > before.end_s + RELEASE_S) & (trace.end_s < after.start_s - TURN_BEFORE_S)
        between += [s for s in stretches_of(pause, trace.start_s, trace.end_s) if s[1] - s[0] >= OFF_BETWEEN_S]
    return tuple(between)


def find_phases(trace: Trace, feed: Feed, limits: Limits, turnings: tuple[Turning, ...], key: KeyTimes) -> tuple[Phase, ...]:
    """All phases in time order. Without a crank there are only key off and key on."""
    begin_s, end_s = float(trace.start_s[0]), float(trace.end_s[-1])
    stop_s = key.off_s if key.off_s is not None else end_s
    phases: list[Phase] = []
    if key.on_s is not None:
        phases.append(Phase("key off", begin_s, key.on_s))
    from_s = key.on_s if key.on_s is not None else begin_s
    if key.on_s is None and turnings:  # what came before is not known to be RUN
        from_s = max(begin_s, turnings[0].start_s - TURN_BEFORE_S - UNSEEN_ON_S)
    for i, turning in enumerate(turnings):
        turn_s = max(_turn_begins(trace, feed, limits, turning), min(from_s, turning.start_s), begin_s)
        sag_s = turning.sag_s if turning.sag_s is not None else turning.start_s
        crank_s = min(sag_s, turning.start_s + SAG_LATEST_S)
        release_s = max(turning.end_s - RELEASE_BEFORE_S, crank_s)
        released_s = min(release_s + RELEASE_S, end_s)
        next_s = turnings[i + 1].start_s - TURN_BEFORE_S if i + 1 < len(turnings) else stop_s
        phases += _without_off(Phase("key on" if i == 0 else "after", from_s, turn_s), key)
        phases.append(Phase("key turn", turn_s, crank_s))
        phases.append(Phase("crank", crank_s, release_s))
        phases.append(Phase("release", release_s, released_s))
        from_s = released_s
        if i + 1 == len(turnings):
            phases.append(Phase("after", released_s, max(next_s, released_s)))
    if not turnings and key.on_s is not None:
        phases.append(Phase("key on", key.on_s, stop_s))
    if key.off_s is not None:
        phases.append(Phase("key off", key.off_s, end_s))
    return tuple(p for p in sorted(phases, key=lambda p: p.start_s) if p.end_s > p.start_s)


def _without_off(phase: Phase, key: KeyTimes) -> list[Phase]:
    """A phase with the stretches cut out in which the key was off between two cranks."""
    parts, from_s = [], phase.start_s
    for off_s, on_s in key.off_between:
        if phase.start_s <= off_s and on_s <= phase.end_s:
            parts += [Phase(phase.name, from_s, off_s), Phase("key off", off_s, on_s)]
            from_s = on_s
    return [*parts, Phase("key on" if parts else phase.name, from_s, phase.end_s)]


def _turn_begins(trace: Trace, feed: Feed, limits: Limits, turning: Turning) -> float:
    """When the key left RUN: where the feed was lost before the crank and not back by then, else a fixed time before."""
    usual_s = turning.start_s - TURN_BEFORE_S
    near = (trace.start_s >= turning.start_s - TURN_SEARCH_S) & (trace.end_s <= turning.start_s)
    lost = feed.mean_v[near] < limits["module_minimum_v"]
    if not lost.any() or not lost[-1]:
        return usual_s
    up = np.flatnonzero(~lost)
    first = up[-1] + 1 if len(up) else None
    if first is None:
        return usual_s
    return min(usual_s, float(trace.start_s[near][first]) - 0.01)


def phase_at(phases: tuple[Phase, ...], start_s: float, end_s: float) -> str:
    """Name of the phase that holds most of a stretch."""
    best, most_s = "after", -1.0
    for phase in phases:
        shared_s = min(end_s, phase.end_s) - max(start_s, phase.start_s)
        if shared_s > most_s:
            best, most_s = phase.name, shared_s
    return best
