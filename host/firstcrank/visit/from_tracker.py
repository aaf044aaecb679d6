"""The newest readings as an event, from the tracker that follows a recording."""

from __future__ import annotations

from firstcrank.analysis.live import LiveTracker
from firstcrank.limits import Limits
from firstcrank.model.vocabulary import CheckId
from firstcrank.visit.steps import NEVER_SEEN_OFF, NOT_UP_BEFORE
from firstcrank.visit.values import Bins

# No later crank of the same recording can bring them.
BEFORE_ANY_CRANK = {CheckId.KEY_SEEN_DEAD: NEVER_SEEN_OFF, CheckId.KEY_LIVE_BEFORE: NOT_UP_BEFORE}


def bins_event(tracker: LiveTracker, limits: Limits, battery_v: float, feed_v: float, lowest_v: float) -> Bins:
    """One event for a handful of bins: means over them, the feed's lowest, and what the tracker has found. Volts."""
    start_s, end_s = tracker.crank_start_s, tracker.crank_end_s
    crank_s = 0.0 if start_s is None else (end_s if end_s is not None else tracker.now_s) - start_s
    missing = tracker.missing() if tracker.state in ("cranking", "released") else ()
    unproved = next((BEFORE_ANY_CRANK[m.check] for m in missing if m.check in BEFORE_ANY_CRANK), "")
    missing = missing if tracker.state == "released" else ()
    return Bins(
        now_s=tracker.now_s,
        battery_v=battery_v,
        feed_v=feed_v,
        lowest_v=lowest_v,
        state=tracker.state,
        crank_s=crank_s,
        missing=tuple(m.reason for m in missing),
        wait_s=max((m.wait_s for m in missing), default=0.0),
        running=tracker.signs.runs_by_itself,
        bridged=tracker.signs.bridged,
        unproved=unproved,
        feed_good=tracker.signs.low_s <= limits["turn_bounce_max_s"],
    )
