"""Chatter: several dropouts of the feed close together. Bounce while the key travels is left out."""

from __future__ import annotations

from firstcrank.analysis.checks.key_feed_dropout import follows_source
from firstcrank.analysis.findings import Dropout, Finding, Result
from firstcrank.analysis.view import View
from firstcrank.units import text_s

ID = "key_feed_chatter"
STILL = ("key on", "crank", "after")


def check(view: View) -> list[Finding]:
    """One finding for the whole recording."""
    if not view.cranks and view.key_on_s is None:
        return []
    still = [d for d in view.dropouts if d.phase in STILL and not follows_source(view, d)]
    need, window_s = int(view.limits["chatter_count"]), view.limits["chatter_window_s"]
    counting = _most_within([d for d in still if d.counts], window_s)
    every = _most_within(still, window_s)
    if len(counting) >= need:
        return [_finding(view, "fail", counting, "")]
    if len(every) >= need:
        return [_finding(view, "warn", every, ", each too short to count alone")]
    return [Finding(ID, "pass", "no chatter", measured=float(len(every)), limit=float(need))]


def _most_within(drops: list[Dropout], window_s: float) -> list[Dropout]:
    best: list[Dropout] = []
    for i, first in enumerate(drops):
        group = [d for d in drops[i:] if d.start_s - first.start_s <= window_s]
        if len(group) > len(best):
            best = group
    return best


def _finding(view: View, result: Result, group: list[Dropout], more: str) -> Finding:
    span_s = group[-1].start_s + group[-1].duration_s - group[0].start_s
    return Finding(
        ID,
        result,
        f"chatter: {len(group)} dropouts within {text_s(span_s)}{more}",
        measured=float(len(group)),
        limit=float(view.limits["chatter_count"]),
        at_s=group[0].start_s,
        phase=group[0].phase,
    )
