"""The newest readings as an event, from the tracker that follows a recording."""

from __future__ import annotations

from firstcrank.analysis.live import LiveTracker
from firstcrank.limits import Limits
from firstcrank.visit.values import Bins

BRIDGED_S = 0.5  # a starter's sag for so long, and the starter lead dead


def bins_event(tracker: LiveTracker, limits: Limits, battery_v: float, feed_v: float, lowest_v: float) -> Bins:
    """One event for a handful of bins: means over them, the feed's lowest, and what the tracker has found. Volts."""
    start_s, end_s = tracker.crank_start_s, tracker.crank_end_s
    crank_s = 0.0 if start_s is None else (end_s if end_s is not None else tracker.now_s) - start_s
    return Bins(
        now_s=tracker.now_s,
        battery_v=battery_v,
        feed_v=feed_v,
        lowest_v=lowest_v,
        state=tracker.state,
        crank_s=crank_s,
        missing=tuple(m.reason for m in tracker.missing()) if tracker.state == "released" else (),
        running=tracker.runs_by_itself,
        bridged=tracker.sagged_s > BRIDGED_S,
        feed_good=tracker.low_s <= limits["turn_bounce_max_s"],
    )
