"""What a finished recording has shown of a start, for the question what evidence is missing."""

from __future__ import annotations

from firstcrank.analysis.missing import Missing, Seen, SeenCrank, missing_evidence
from firstcrank.analysis.view import View


def seen_of(view: View) -> Seen:
    """Dead time before ON, live time before START, cranks and how long each was watched."""
    trace, feed, limits = view.trace, view.feed, view.limits
    span_s = trace.end_s - trace.start_s
    on_s = view.key.on.early_s if view.key.on is not None else None
    dead = (feed.mean_v < limits["feed_off_v"]) & (trace.end_s <= (on_s if on_s is not None else -1.0) + 1e-9)
    first_s = view.crank_intervals[0].start.early_s if view.crank_intervals else float(trace.end_s[-1])
    live = (feed.mean_v > limits["feed_live_v"]) & (trace.end_s <= first_s) & (trace.start_s >= view.live_from_s)
    return Seen(
        dead_s=float(span_s[dead].sum()),
        came_on=view.key.on is not None,
        live_before_s=float(span_s[live].sum()),
        cranks=tuple(_seen_crank(view, i) for i in range(len(view.cranks))),
        asked_running=view.context.engine_running,
    )


def _seen_crank(view: View, index: int) -> SeenCrank:
    interval, crank = view.crank_intervals[index], view.cranks[index]
    later = [other.start.early_s for other in view.crank_intervals[index + 1 :]]
    ends_s = [off.off.early_s for off in view.key.between if off.off.early_s >= interval.end_s]
    stop_s = min([view.live_to_s, *ends_s, *later])
    if view.key.dead_from_s is not None and view.key.off is None:
        stop_s = min(stop_s, max(view.key.dead_from_s, interval.end.late_s))
    followed = bool(later) and stop_s == later[0]
    shortest_s = interval.end.early_s - interval.start.late_s
    return SeenCrank(shortest_s, crank.engine_ran_on, stop_s - interval.end.late_s, followed)


def still_missing(view: View) -> tuple[Missing, ...]:
    """What evidence a PASS of this recording lacks."""
    return missing_evidence(seen_of(view), view.limits, view.th.key, view.th.evidence)
