"""The account of a recording: a row of states that covers it without gap or overlap, and what was shown of the feed meanwhile."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firstcrank.analysis.cranks import CrankInterval
from firstcrank.analysis.feed import Feed
from firstcrank.analysis.intervals import Stretch, stretches_of
from firstcrank.analysis.key import Key
from firstcrank.limits import Limits
from firstcrank.model.judgement import Border, Dropout, FeedSpan, FeedState, Interval
from firstcrank.model.vocabulary import Phase
from firstcrank.thresholds import KeyThresholds
from firstcrank.trace import Trace


@dataclass(frozen=True, slots=True)
class _Transition:
    """From `at_s` on the state is `name`."""

    at_s: float
    name: Phase
    border: Border
    crank: int | None


def intervals_of(
    trace: Trace, feed: Feed, limits: Limits, cranks: tuple[CrankInterval, ...], key: Key, th: KeyThresholds
) -> tuple[Interval, ...]:
    """States in time order; the first begins with the recording, each ends where the next begins, the last with the recording."""
    begin_s, end_s = float(trace.start_s[0]), float(trace.end_s[-1])
    recording = Border(begin_s, begin_s, "the recording begins")
    live_first = key.on is None and bool(feed.highest_v[0] > limits["feed_off_v"])
    transitions = [_Transition(begin_s, Phase.KEY_ON if live_first else Phase.KEY_OFF, recording, None)]
    if key.on is not None:
        transitions.append(_Transition(key.on.early_s, Phase.KEY_ON, key.on, None))
    for i, crank in enumerate(cranks):
        transitions += _transitions_of_crank(crank, i, cranks, transitions[-1].at_s, th)
    for off in key.between:
        crank_number = sum(c.end.early_s < off.off.early_s for c in cranks)
        transitions.append(_Transition(off.off.early_s, Phase.KEY_OFF, off.off, crank_number))
        transitions.append(_Transition(off.on.early_s, Phase.KEY_ON, off.on, crank_number + 1))
    if key.off is not None:
        transitions.append(_Transition(key.off.early_s, Phase.KEY_OFF, key.off, len(cranks) or None))
    transitions.sort(key=lambda transition: transition.at_s)
    ends = [transition.at_s for transition in transitions[1:]] + [end_s]
    rows = []
    for transition, stop_s in zip(transitions, ends, strict=True):
        start_s, stop_s = min(max(transition.at_s, begin_s), end_s), min(max(stop_s, begin_s), end_s)
        if stop_s > start_s:
            rows.append(Interval(transition.name, start_s, stop_s, transition.border, transition.crank))
    return tuple(rows)


def _transitions_of_crank(
    crank: CrankInterval, i: int, cranks: tuple[CrankInterval, ...], from_s: float, th: KeyThresholds
) -> list[_Transition]:
    number = i + 1
    start_s = crank.sag_s if not crank.by_lead and crank.sag_s is not None else crank.start.late_s
    turn_s = max(start_s - th.turn_s, from_s)
    next_s = cranks[i + 1].start.early_s - th.turn_s if number < len(cranks) else float("inf")
    before = Border(turn_s - 0.0, crank.start.early_s, "the key travels to START")
    transitions = [
        _Transition(turn_s, Phase.TURN, before, number),
        _Transition(start_s, Phase.CRANK, crank.start, number),
        _Transition(crank.end_s, Phase.RELEASE, crank.end, number),
    ]
    after_s = crank.end.late_s + th.release_s
    if after_s < next_s:
        transitions.append(_Transition(after_s, Phase.AFTER, Border(after_s, after_s, "the key is back"), number))
    return transitions


def phases_of(intervals: tuple[Interval, ...], start_s: float, end_s: float) -> tuple[Phase, tuple[Phase, ...]]:
    """Phase that holds most of a stretch, and all that it crosses, in time order."""
    crossed: list[Phase] = []
    best, most_s = Phase.AFTER, -1.0
    for interval in intervals:
        shared_s = min(end_s, interval.end_s) - max(start_s, interval.start_s)
        if shared_s > most_s:
            best, most_s = interval.name, shared_s
        if shared_s > 0 and (not crossed or crossed[-1] is not interval.name):
            crossed.append(interval.name)
    return best, tuple(crossed) or (best,)


def holes_of(trace: Trace, shortest_s: float) -> list[Stretch]:
    """Stretches in which nothing was shown for `shortest_s` or longer: announced holes, jumps between bins, pauses within one."""
    found = [(h.start_s, h.end_s) for h in trace.holes if h.end_s - h.start_s >= shortest_s]
    jump = np.flatnonzero(trace.start_s[1:] - trace.end_s[:-1] >= shortest_s)
    found += [(float(trace.end_s[i]), float(trace.start_s[i + 1])) for i in jump.tolist()]
    found += stretches_of(trace.gap_s >= shortest_s, trace.start_s, trace.end_s)
    return _joined(found)


def feed_account(
    trace: Trace,
    intervals: tuple[Interval, ...],
    dropouts: tuple[Dropout, ...],
    near_limit: list[Stretch],
    shortest_s: float,
) -> tuple[FeedSpan, ...]:
    """What was shown of the feed, from the first sample to the last: spans that add up to the whole.

    Not shown wins over low, low over good. Time with the key off is low. `near_limit`: stretches too close to the minimum to tell.
    """
    begin_s, end_s = float(trace.start_s[0]), float(trace.end_s[-1])
    unshown = _joined([*holes_of(trace, shortest_s), *near_limit])
    low = _joined(
        [(d.start_s, d.end_s) for d in dropouts] + [(i.start_s, i.end_s) for i in intervals if i.name is Phase.KEY_OFF]
    )
    cuts = sorted({begin_s, end_s, *(t for s in (*unshown, *low) for t in s if begin_s < t < end_s)})
    spans: list[FeedSpan] = []
    for a, b in pairwise(cuts):
        middle_s = 0.5 * (a + b)
        state: FeedState = "not shown" if _holds(unshown, middle_s) else "low" if _holds(low, middle_s) else "good"
        if spans and spans[-1].state == state:
            spans[-1] = FeedSpan(state, spans[-1].start_s, b)
        else:
            spans.append(FeedSpan(state, a, b))
    return tuple(spans)


def _joined(stretches: list[Stretch]) -> list[Stretch]:
    joined: list[Stretch] = []
    for a, b in sorted(stretches):
        if joined and a <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], b))
        elif b > a:
            joined.append((a, b))
    return joined


def _holds(stretches: list[Stretch], at_s: float) -> bool:
    at = int(np.searchsorted([s[0] for s in stretches], at_s, side="right")) - 1
    return at >= 0 and stretches[at][1] > at_s
