"""Each loss of the feed judged once, whole, from its start to its end: does it count, is it tolerated, or can't that be told?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstcrank.analysis.account import phases_of
from firstcrank.analysis.cranks import CrankInterval
from firstcrank.analysis.feed import Feed, expanded_of_feed
from firstcrank.analysis.intervals import BoolArray
from firstcrank.analysis.key import Key
from firstcrank.analysis.low_intervals import LowInterval
from firstcrank.analysis.travel import Bounce, Lies, bounces_of, windows_of
from firstcrank.limits import Limits
from firstcrank.model.judgement import Dropout, DropoutKind, Interval
from firstcrank.model.vocabulary import Phase
from firstcrank.thresholds import Thresholds
from firstcrank.thresholds.edges import EDGES
from firstcrank.trace import Trace


@dataclass(frozen=True, slots=True)
class Losses:
    """Every loss with its kind, in time order, and the bounces of the key's travel.

    `why_undecided`: start of an undecided loss -> why, in plain words. `tolerated`: lines for the headline.
    """

    dropouts: tuple[Dropout, ...]
    bounces: tuple[Bounce, ...]
    why_undecided: dict[float, str]
    tolerated: tuple[str, ...]


def judge_losses(
    trace: Trace,
    feed: Feed,
    limits: Limits,
    lows: tuple[LowInterval, ...],
    intervals: tuple[Interval, ...],
    cranks: tuple[CrankInterval, ...],
    key: Key,
    th: Thresholds,
) -> Losses:
    """Gives each low interval its kind."""
    supply = tuple(low for low in lows if follows_source(trace, feed, limits, low, th))
    own = tuple(low for low in lows if low not in supply)
    bounces = bounces_of(own, windows_of(cranks, key, th.key), limits["dropout_min_s"], limits["turn_bounce_max_s"])
    by_low = {low: bounce for bounce in bounces for low in bounce.members}
    why: dict[float, str] = {}
    made: list[Dropout] = []
    for low in lows:
        kind: DropoutKind = "with supply"
        reason = ""
        if low not in supply:
            kind, reason = _kind(trace, feed, limits, low, by_low.get(low), key, cranks, th)
        if reason:
            why[low.start_s] = reason
        made.append(_dropout(low, kind, intervals, limits["dropout_min_s"]))
    return Losses(tuple(made), bounces, why, ())


def follows_source(trace: Trace, feed: Feed, limits: Limits, low: LowInterval, th: Thresholds) -> bool:
    """True where the feed went low because its source did: within the steady limit of it for (nearly) all of the low time."""
    bins = bins_of(trace, low.start_s, low.end_s)
    lowest_v, allowed_v = feed.source_lowest_v[bins], limits["feed_drop_fail_v"]
    span_s = (trace.end_s - trace.start_s)[bins]
    leaves = feed.drop_v[bins] > allowed_v
    leaves |= feed.lowest_v[bins] < lowest_v - allowed_v  # a brief loss of its own within a bin
    leaves |= lowest_v >= limits["module_minimum_v"] + allowed_v
    apart_s = float(span_s[leaves].sum())  # a short loss of its own within a long one of the battery's, and never most of it
    return apart_s <= max(limits["dropout_min_s"], th.feed.follows_share * low.best_s) and apart_s < EDGES.apart_most * float(
        span_s.sum()
    )


def bins_of(trace: Trace, start_s: float, end_s: float) -> slice[int, int, int]:
    """Bins that a stretch touches, at least one."""
    first = int(np.searchsorted(trace.end_s, start_s, side="right"))
    last = int(np.searchsorted(trace.start_s, end_s))
    first = min(first, max(len(trace) - 1, 0))
    return slice(first, max(last, first + 1))


def _kind(
    trace: Trace,
    feed: Feed,
    limits: Limits,
    low: LowInterval,
    bounce: Bounce | None,
    key: Key,
    cranks: tuple[CrankInterval, ...],
    th: Thresholds,
) -> tuple[DropoutKind, str]:
    """What one loss of the feed's own is, and why it is undecided where it is."""
    shortest_s, allowed_s = limits["dropout_min_s"], limits["turn_bounce_max_s"]
    if low.high_s < shortest_s:
        return ("tolerated", "") if _is_tolerated(bounce, allowed_s) else ("short", "")
    if _is_tolerated(bounce, allowed_s):
        return "tolerated", ""
    if key.dead_from_s is not None and low.end_s > key.dead_from_s and low.end_s >= float(trace.end_s[-1]) - 1e-9:
        return "undecided", "it never came back: it was lost, the key was turned off too early, or the key lead came off"
    first_s = cranks[0].start.early_s if cranks else float("inf")
    if low.end_s < first_s and low.high_s >= th.key.off_before_s and low.lowest_v < limits["feed_off_v"] and key.on is not None:
        return "undecided", "if that was the key, record again and leave it ON; if it was not, the feed is lost with the key ON"
    u_v = expanded_of_feed(trace, feed, low.lowest_v, 1.0)
    if low.lowest_v > limits["module_minimum_v"] - u_v:
        return "undecided", "that is too close to the module's minimum to tell"
    if low.low_s <= shortest_s:
        return "undecided", "it may or may not be longer than the shortest that counts"
    if bounce is None or bounce.least_s > allowed_s:
        return "counts", ""
    if bounce.lies is Lies.INSIDE:
        return "undecided", "it may or may not be longer than the bounce allowed while the key travels"
    return "undecided", "it may or may not be a bounce of the key's travel"


def _is_tolerated(bounce: Bounce | None, allowed_s: float) -> bool:
    return bounce is not None and bounce.lies is Lies.INSIDE and bounce.most_s <= allowed_s


def _dropout(low: LowInterval, kind: DropoutKind, intervals: tuple[Interval, ...], shortest_s: float) -> Dropout:
    phase, crossed = phases_of(intervals, low.start_s, low.end_s)
    return Dropout(
        role="key_switch",
        phase=phase,
        start_s=low.start_s,
        duration_s=low.best_s,
        duration_low_s=low.low_s,
        duration_high_s=low.high_s,
        lowest_v=low.lowest_v,
        counts=low.best_s >= shortest_s,
        kind=kind,
        phases=tuple(p for p in crossed if p is not Phase.KEY_OFF) or (phase,),
    )


def undecided_bins(trace: Trace, dropouts: tuple[Dropout, ...], bounces: tuple[Bounce, ...], allowed_s: float) -> BoolArray:
    """Bins that a loss touches of which it can't be told whether it counts, shape (n,).

    Losses too short to count are tolerated one by one where the key travels; whether all of them are one bounce can't be told.
    """
    chosen = np.zeros(len(trace), dtype=bool)
    short_s = {drop.start_s for drop in dropouts if drop.kind == "short"}
    for bounce in bounces:
        if not _is_tolerated(bounce, allowed_s):
            for low in bounce.members:
                if low.start_s in short_s:
                    chosen[bins_of(trace, low.start_s - EDGES.smear_s, low.end_s + EDGES.smear_s)] = True
    for drop in dropouts:
        if drop.kind == "undecided":
            chosen[bins_of(trace, drop.start_s - EDGES.smear_s, drop.end_s + EDGES.smear_s)] = True
    return chosen


def tolerated_bins(trace: Trace, bounces: tuple[Bounce, ...], allowed_s: float) -> BoolArray:
    """Bins that a tolerated bounce touches, shape (n,)."""
    chosen = np.zeros(len(trace), dtype=bool)
    for bounce in bounces:
        if _is_tolerated(bounce, allowed_s):
            chosen[bins_of(trace, bounce.start_s - EDGES.smear_s, bounce.end_s + EDGES.smear_s)] = True
    return chosen
