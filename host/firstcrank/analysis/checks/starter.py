"""The starter's control circuit: what reaches the solenoid's S terminal (50), and the drop on the way there and back."""

from __future__ import annotations

import math

from firstcrank.analysis.finding import compared
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Crank, Finding
from firstcrank.model.measured import Measured
from firstcrank.model.vocabulary import CheckId, Phase, Result
from firstcrank.units import format_voltage

ID = CheckId.STARTER_CONTROL_DROP


def check(view: View) -> list[Finding]:
    """Plus and minus sides summed, the worst crank; without the engine's ground the plus side alone may be over the limit."""
    if not view.trace.has("starter_coil") or not view.cranks:
        return []
    both = view.trace.has("engine_ground")
    drops = [(drop, crank) for crank in view.cranks if crank.by_lead and (drop := _drop(view, crank, both)) is not None]
    if not drops:
        return []
    drop, crank = max(drops, key=lambda pair: pair[0].value)
    limit_v = view.limits["starter_control_drop_fail_v"]
    sides = "both sides summed" if both else "on its plus side alone"
    text = f"starter control circuit drops {format_voltage(drop.value)}, {sides}"
    finding = compared(ID, drop, text, below=limit_v, at_s=crank.start_s, phase=Phase.CRANK)
    if finding.result is Result.FAIL:
        text += f", more than {format_voltage(limit_v)}: the solenoid may not pull in"
    elif not both:
        text = "starter control circuit: needs the engine ground lead as well (plus and minus sides are summed)"
        return [Finding(ID, Result.NOT_MEASURED, text)]
    return [Finding(ID, finding.result, text, drop, limit_v, crank.start_s, Phase.CRANK, conformance=finding.conformance)]


def _drop(view: View, crank: Crank, both: bool) -> Measured | None:
    """First reading: the pull-in winding is still in, before the sag has settled."""
    chosen = view.within(crank.start_s + view.th.vehicle.control_from_s, crank.start_s + view.th.vehicle.control_first_s)
    chosen &= view.trace.channels["starter_coil"].mean_v > view.th.vehicle.coil_reads_v
    if chosen.sum() < 3:
        chosen = view.within(crank.start_s + view.th.vehicle.control_later_s, crank.end_s - view.th.vehicle.crank_leave_s)
    if not chosen.any():
        return None
    plus = view.difference("battery", "starter_coil", chosen)
    if not both:
        return plus
    minus = view.mean("engine_ground", chosen)
    return Measured(plus.value + minus.value, math.hypot(plus.u, minus.u), "V")
