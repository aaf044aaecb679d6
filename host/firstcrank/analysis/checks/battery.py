"""The battery: at rest before the key comes on, and while cranking. Only warnings: the supply's own obligation stands elsewhere.

The 9.6 V rule of load testers warns: published manuals for diesels call 8 to 10 V typical while cranking at 10 to 27 degC.
"""

from __future__ import annotations

import numpy as np

from firstcrank.analysis.finding import compared
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding
from firstcrank.model.vocabulary import CheckId, Phase, Result
from firstcrank.units import format_voltage


def check_rest(view: View) -> list[Finding]:
    """Mean before key on; warns below the rest limit and above what a resting battery can have."""
    check = CheckId.BATTERY_REST
    if view.key.on is None:
        return [Finding(check, Result.NOT_MEASURED, "battery at rest: the key was not seen off")]
    chosen = view.within(float(view.trace.start_s[0]), view.key.on.early_s - view.th.vehicle.rest_clear_s)
    if not chosen.any():
        return [Finding(check, Result.NOT_MEASURED, "battery at rest: too little time before the key came on")]
    rest = view.mean("battery", chosen)
    low_v, charger_v = view.limits["battery_rest_warn_v"], view.limits["battery_rest_charger_v"]
    text = f"battery at rest {format_voltage(rest.value)}"
    if rest.value > charger_v:
        text += ": a charger or jump pack seems to be connected"
        return [Finding(check, Result.WARN, text, rest, charger_v, 0.0, Phase.KEY_OFF)]
    finding = compared(check, rest, text, above=low_v, missed=Result.WARN, at_s=0.0, phase=Phase.KEY_OFF)
    more = {Result.WARN: ": charge the battery first", Result.UNDECIDED: f": too close to {format_voltage(low_v)} to tell"}
    text += more.get(finding.result, "")
    return [Finding(check, finding.result, text, rest, low_v, 0.0, Phase.KEY_OFF, conformance=finding.conformance)]


def check_crank(view: View) -> list[Finding]:
    """Mean battery voltage while cranking, the inrush left out."""
    chosen = np.zeros(len(view.trace), dtype=bool)
    for crank in view.cranks:
        chosen |= view.within(crank.start_s + view.th.vehicle.crank_settle_s, crank.end_s - view.th.vehicle.crank_leave_s)
    if not chosen.any():
        return []
    mean = view.mean("battery", chosen)
    limit_v = view.limits["battery_crank_warn_v"]
    text = f"battery while cranking {format_voltage(mean.value)}"
    at_s = view.cranks[0].start_s
    check = CheckId.BATTERY_CRANK
    finding = compared(check, mean, text, above=limit_v, missed=Result.WARN, at_s=at_s, phase=Phase.CRANK)
    if finding.result is Result.WARN:
        text += f", below {format_voltage(limit_v)}: a cold diesel may do that; charge and test the battery if it cranks slowly"
    return [Finding(check, finding.result, text, mean, limit_v, at_s, Phase.CRANK, conformance=finding.conformance)]
