"""Chatter: several losses of the feed close together. A hint for the cause: each loss is judged on its own."""

from __future__ import annotations

from firstcrank.analysis.view import View
from firstcrank.model.judgement import Dropout, Finding
from firstcrank.model.measured import Measured
from firstcrank.model.vocabulary import CheckId, Result
from firstcrank.units import format_duration

ID = CheckId.FEED_CHATTER


def check(view: View) -> list[Finding]:
    """One finding for the whole recording."""
    if not view.cranks and view.on_s is None:
        return []
    own = [d for d in view.dropouts if d.kind in ("counts", "undecided", "short")]
    need, window_s = int(view.limits["chatter_count"]), view.limits["chatter_window_s"]
    counting = _most_within([d for d in own if d.kind == "counts"], window_s)
    every = _most_within(own, window_s)
    group, more = (counting, "") if len(counting) >= need else (every, ", each too short to count alone")
    value = Measured(float(len(group)))
    if len(group) < need:
        return [Finding(ID, Result.PASS, "no chatter", value, float(need))]
    text = f"chatter: {len(group)} dropouts within {format_duration(group[-1].end_s - group[0].start_s)}{more}"
    result = Result.FAIL if group is counting else Result.WARN
    return [Finding(ID, result, text, value, float(need), group[0].start_s, group[0].phase)]


def _most_within(drops: list[Dropout], window_s: float) -> list[Dropout]:
    best: list[Dropout] = []
    for i, first in enumerate(drops):
        group = [d for d in drops[i : i + 10_000] if d.start_s - first.start_s <= window_s]
        if len(group) > len(best):
            best = group
        if len(drops) - i <= len(best):
            break
    return best
