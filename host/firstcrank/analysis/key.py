"""Where the key is, read from the feed outside the cranks: when it came on, when it went off, off between cranks.

OFF is an unbroken fall to dead that stays dead: to the end of the recording, or between two cranks for longer than any contact
fails. A feed that stays between dead and live, chatters or comes back was not switched off.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firstcrank.analysis.cranks import CrankInterval
from firstcrank.analysis.feed import Feed
from firstcrank.analysis.intervals import BoolArray, runs_of
from firstcrank.limits import Limits
from firstcrank.model.judgement import Border
from firstcrank.thresholds import KeyThresholds
from firstcrank.thresholds.edges import EDGES
from firstcrank.trace import FloatArray, Trace


@dataclass(frozen=True, slots=True)
class OffTime:
    """The key was off: from the fall's begin to the next rise (the recording's end where there is none)."""

    off: Border
    on: Border


@dataclass(frozen=True, slots=True)
class Key:
    """`on`: the feed's first live sample after it was dead. `off`: the key went off at the end. None where not seen.

    `between`: off between two cranks. `dead_from_s`: the feed went dead and never came back, whatever the reason, None where
    it is live at the end. `key_off_reported` is True where `off` rests on the person's word that the key was turned off.
    `fed_back_until_s`: the feed stood below its source, and not dead, from the start until then; None where it did not.
    """

    on: Border | None
    off: Border | None
    between: tuple[OffTime, ...] = ()
    dead_from_s: float | None = None
    key_off_reported: bool = False
    fed_back_until_s: float | None = None


def read_key(
    trace: Trace, feed: Feed, limits: Limits, cranks: tuple[CrankInterval, ...], th: KeyThresholds, key_off_reported: bool
) -> Key:
    """Reads the key's positions. `key_off_reported`: the user says that the key was turned off at the end of the recording."""
    dead = feed.mean_v < limits["feed_off_v"]
    on = _on(trace, feed, limits, dead, th)
    between = tuple(
        gone
        for before, after in pairwise(cranks)
        if (gone := _off_between(trace, feed, limits, dead, before, after, th)) is not None
    )
    first_crank_s = cranks[0].start.early_s if cranks else float(trace.end_s[-1])
    fed_back = fed_back_until_s(trace, feed, limits, first_crank_s) if on is None else None
    dead_from = _dead_to_the_end(trace, dead, feed, limits)
    if dead_from is None:
        step = _step_at_end(trace, feed, limits, cranks, th) if key_off_reported else None
        return Key(on, step, between, None, key_off_reported=step is not None, fed_back_until_s=fed_back)
    off = _fall_to(trace, feed, dead_from, th)
    return Key(on, off, between, float(trace.start_s[dead_from]), fed_back_until_s=fed_back)


def _on(trace: Trace, feed: Feed, limits: Limits, dead: BoolArray, th: KeyThresholds) -> Border | None:
    """The first live sample after the feed was dead for long enough; a lone pulse while off is none."""
    live = feed.highest_v > limits["feed_live_v"]
    off = dead & ~live
    firsts, pasts = runs_of(off)
    span_s = trace.end_s[pasts - 1] - trace.start_s[firsts] if len(firsts) else np.zeros(0)
    long = [(int(a), int(b)) for a, b, s in zip(firsts, pasts, span_s, strict=True) if s >= th.dead_least_s]
    live_indices = np.flatnonzero(live)
    if not long or not len(live_indices):
        return None
    first_live = int(live_indices[0])
    if not any(past <= first_live for _, past in long):
        return None
    while True:
        later = next((d for d in long if d[0] > first_live), None)
        if later is None:
            break
        pulse_s = float((trace.end_s - trace.start_s)[first_live : later[0]].sum())
        if pulse_s >= limits["dropout_min_s"] * 2 or trace.end_s[later[1] - 1] - trace.start_s[later[0]] < th.blip_dead_s:
            break
        following = live_indices[live_indices >= later[1]]
        if not len(following):
            break
        first_live = int(following[0])
    before = np.flatnonzero(off[:first_live])
    early_s = float(trace.end_s[before[-1]]) if len(before) else float(trace.start_s[first_live])
    return Border(
        min(early_s, float(trace.start_s[first_live])), float(trace.end_s[first_live]), "the feed's first live sample"
    )


def _dead_to_the_end(trace: Trace, dead: BoolArray, feed: Feed, limits: Limits) -> int | None:
    """Index of the first bin from which the feed is dead to the end; None where it is not."""
    if not len(dead) or not dead[-1] or not (feed.highest_v > limits["feed_live_v"]).any():
        return None
    alive = np.flatnonzero(~dead)
    return int(alive[-1]) + 1


def _fall_to(trace: Trace, feed: Feed, dead_from: int, th: KeyThresholds) -> Border | None:
    """The begin of the unbroken fall that ends dead at index `dead_from`; None where the fall is none of a key."""
    dead_s = float(trace.start_s[dead_from])
    usual = (trace.start_s >= dead_s - EDGES.usual_from_s) & (trace.end_s <= dead_s - EDGES.usual_to_s)
    if not usual.any():
        usual = trace.end_s <= dead_s - th.fall_bounce_s
        if not usual.any():
            return None
    usual_v = float(np.median(feed.drop_v[usual]))
    good = feed.drop_v[:dead_from] <= usual_v + th.fall_step_v
    last_good = np.flatnonzero(good)
    if not len(last_good):
        return None
    fall = int(last_good[-1]) + 1
    fall_s = float(trace.end_s[last_good[-1]])
    settled = fall + int(np.searchsorted(trace.start_s[fall:dead_from], fall_s + th.fall_bounce_s))
    if dead_s - fall_s > th.fall_most_s or not _unbroken(feed.mean_v[settled:dead_from], th):
        return None
    bounce = (trace.start_s[:dead_from] >= fall_s - th.fall_bounce_s) & (
        feed.lowest_v[:dead_from] < feed.source_v[:dead_from] - usual_v - 2 * th.fall_step_v
    )
    first = np.flatnonzero(bounce)
    early_s = float(trace.start_s[first[0]]) if len(first) else fall_s
    return Border(min(early_s, fall_s), dead_s, "the feed falls unbroken to dead and stays there")


def _unbroken(fall_v: FloatArray, th: KeyThresholds) -> bool:
    if len(fall_v) < 2:
        return True
    return bool((fall_v - np.minimum.accumulate(fall_v)).max() <= th.fall_rise_v)


def _off_between(
    trace: Trace, feed: Feed, limits: Limits, dead: BoolArray, before: CrankInterval, after: CrankInterval, th: KeyThresholds
) -> OffTime | None:
    """The longest dead time between two cranks, where it is that of a key."""
    inside = (trace.start_s >= before.end.late_s) & (trace.end_s <= after.start.early_s)
    firsts, pasts = runs_of(dead & inside)
    if not len(firsts):
        return None
    span_s = trace.end_s[pasts - 1] - trace.start_s[firsts]
    k = int(np.argmax(span_s))
    if span_s[k] < th.off_between_s:
        return None
    off = _fall_to(trace, feed, int(firsts[k]), th)
    if off is None or off.early_s < before.end.late_s:
        return None
    live = np.flatnonzero(feed.highest_v[pasts[k] :] > limits["feed_live_v"])
    if not len(live):
        return None
    i = int(pasts[k]) + int(live[0])
    return OffTime(off, Border(float(trace.end_s[pasts[k] - 1]), float(trace.end_s[i]), "the feed's first live sample"))


def fed_back_until_s(trace: Trace, feed: Feed, limits: Limits, first_crank_s: float) -> float | None:
    """When a feed that stood well below its source from the start, and not dead, stepped up to it; None where it did not.

    The key was off and something fed the feed, or the lead is on another wire: either way the time before is no key ON.
    """
    before = int(np.searchsorted(trace.end_s, first_crank_s))
    if before < 8 or feed.mean_v[0] < limits["feed_off_v"]:
        return None
    drop_v = feed.drop_v[:before]
    usual_v, first_v = float(np.median(drop_v[-max(before // EDGES.usual_part, 4) :])), float(np.median(drop_v[:4]))
    if first_v - usual_v < EDGES.fed_back_share * limits.system_v:
        return None
    up = np.flatnonzero(drop_v < 0.5 * (first_v + usual_v))
    return float(trace.end_s[up[0]]) if len(up) else None


def _step_at_end(
    trace: Trace, feed: Feed, limits: Limits, cranks: tuple[CrankInterval, ...], th: KeyThresholds
) -> Border | None:
    """A lasting step down from the source, long enough after the last release: a feed that is fed back does not go dead."""
    if not cranks:
        return None
    from_s = cranks[-1].end.late_s + th.release_s
    after = trace.start_s >= from_s
    settled = after & (trace.end_s <= from_s + limits["after_release_s"])
    if not settled.any():
        return None
    down = feed.drop_v > float(np.median(feed.drop_v[settled])) + th.fall_step_v
    if not down[-1]:
        return None
    up = np.flatnonzero(~down)
    if not len(up):
        return None
    off_s = float(trace.end_s[up[-1]])
    if off_s < cranks[-1].end.late_s + limits["after_release_s"]:
        return None
    return Border(off_s, off_s, "the feed steps down for good, and the key was reported off")
