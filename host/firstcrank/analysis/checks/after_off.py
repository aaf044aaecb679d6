"""Key off at the end: does the feed go dead within the module's own time, or does something keep it alive?"""

from __future__ import annotations

from firstcrank.analysis.finding import compared
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding
from firstcrank.model.vocabulary import CheckId, Result
from firstcrank.units import format_duration, format_voltage

ID = CheckId.KEY_OFF_DECAY


def check(view: View) -> list[Finding]:
    """Needs the key turned off at the end and the maker's power-down time; else not measured."""
    hold_s = view.context.hold_on_s
    if view.off_s is None:
        if hold_s is None:
            return []
        return [_not_measured("feed after key off: the key was not seen to go off")]
    if hold_s is None:
        return [_not_measured("feed after key off: give the module's power-down time (--hold-on, maker's figure)")]
    end_s = float(view.trace.end_s[-1])
    if end_s < view.off_s + hold_s + view.th.vehicle.off_quiet_s:
        seen_s = end_s - view.off_s
        return [
            _not_measured(
                f"feed after key off: recorded for {format_duration(seen_s)}, the module may stay on for {format_duration(hold_s)}"
            )
        ]
    chosen = view.within(view.off_s + hold_s, end_s)
    level = view.mean("key_switch", chosen)
    limit_v = view.limits["module_wake_v"]
    finding = compared(ID, level, "", below=limit_v, undecided=Result.WARN, at_s=view.off_s)
    if finding.result is not Result.PASS:
        text = f"the feed still reads {format_voltage(level.value)} after key off: something feeds it back and keeps the module awake"
    else:
        text = f"feed dead after key off ({format_voltage(level.value)})"
        if not any(c.engine_ran_on for c in view.cranks):
            text += "; back-feed from an alternator shows only after the engine has run"
    return [Finding(ID, finding.result, text, level, limit_v, view.off_s, conformance=finding.conformance)]


def _not_measured(text: str) -> Finding:
    return Finding(ID, Result.NOT_MEASURED, text)
