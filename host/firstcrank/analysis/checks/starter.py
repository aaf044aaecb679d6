"""The starter's control circuit: what reaches the solenoid's S terminal (50), and the drop on the way there and back."""

from __future__ import annotations

import math

from firstcrank.analysis.finding import compared
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding
from firstcrank.model.measured import Measured
from firstcrank.model.vocabulary import CheckId, Phase, Result
from firstcrank.units import text_v

ID = CheckId.STARTER_CONTROL_DROP


def check(view: View) -> list[Finding]:
    """Plus and minus sides summed, so it needs the engine's ground; without that lead it is not measured."""
    if not view.trace.has("starter_coil") or not view.cranks:
        return []
    if not view.trace.has("engine_ground"):
        text = "starter control circuit: needs the engine ground lead as well (plus and minus sides are summed)"
        return [Finding(ID, Result.NOT_MEASURED, text)]
    crank = view.cranks[0]
    # "First reading": the pull-in winding is still in, before the sag has settled.
    chosen = view.within(crank.start_s + 0.004, crank.start_s + view.th.vehicle.control_first_s)
    chosen &= view.trace.channels["starter_coil"].mean_v > 1.0
    if chosen.sum() < 3:
        chosen = view.within(crank.start_s + 0.1, crank.end_s - view.th.vehicle.crank_leave_s)
    if not chosen.any():
        return []
    plus, minus = view.difference("battery", "starter_coil", chosen), view.mean("engine_ground", chosen)
    drop = Measured(plus.value + minus.value, math.hypot(plus.u, minus.u), "V")
    limit_v = view.limits["starter_control_drop_fail_v"]
    text = f"starter control circuit drops {text_v(drop.value)}, both sides summed"
    finding = compared(ID, drop, text, below=limit_v, at_s=crank.start_s, phase=Phase.CRANK)
    if finding.result is Result.FAIL:
        text += f", more than {text_v(limit_v)}: the solenoid may not pull in"
    return [Finding(ID, finding.result, text, drop, limit_v, crank.start_s, Phase.CRANK, conformance=finding.conformance)]
