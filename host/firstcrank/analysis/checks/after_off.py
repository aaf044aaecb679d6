"""Key off at the end: does the feed go dead within the module's own time, or does something keep it alive?"""

from __future__ import annotations

from firstcrank.analysis.findings import Finding
from firstcrank.analysis.view import View
from firstcrank.units import text_s, text_v

ID = "key_off_decay"
QUIET_S = 0.3


def check(view: View) -> list[Finding]:
    """Needs the key turned off at the end and the maker's hold-on time; else not measured."""
    if view.key_off_s is None:
        return []
    hold_s = view.context.hold_on_s
    end_s = float(view.trace.end_s[-1])
    if hold_s is None:
        text = "feed after key off: give how long the module holds itself on (--hold-on, maker's figure)"
        return [Finding(ID, "not measured", text, blocks=False)]
    if end_s < view.key_off_s + hold_s + QUIET_S:
        seen_s = end_s - view.key_off_s
        text = f"feed after key off: recorded for {text_s(seen_s)}, the module may hold itself on for {text_s(hold_s)}"
        return [Finding(ID, "not measured", text, blocks=False)]
    late = view.within(view.key_off_s + hold_s, end_s)
    level_v = float(view.feed.mean_v[late].mean())
    limit_v = view.limits["module_wake_v"]
    if level_v > limit_v:
        text = f"the feed still reads {text_v(level_v)} after key off: something feeds it back and keeps the module awake"
        return [Finding(ID, "fail", text, level_v, limit=limit_v, unit="V", at_s=view.key_off_s, blocks=False)]
    text = f"feed dead after key off ({text_v(level_v)})"
    if not any(c.engine_ran_on for c in view.cranks):
        text += "; back-feed from an alternator shows only after the engine has run"
    return [Finding(ID, "pass", text, level_v, limit=limit_v, unit="V", at_s=view.key_off_s, blocks=False)]
