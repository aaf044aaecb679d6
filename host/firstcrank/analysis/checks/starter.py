"""The starter's control circuit: what reaches the solenoid's terminal 50, and the drop on the way there and back."""

from __future__ import annotations

import numpy as np

from firstcrank.analysis import uncertainty
from firstcrank.analysis.decision import decide, result_of
from firstcrank.analysis.findings import Finding
from firstcrank.analysis.view import View
from firstcrank.units import text_v

ID = "starter_control_drop"
FIRST_S = 0.06  # "first reading": the pull-in winding is still in, before the sag has settled


def check(view: View) -> list[Finding]:
    """Plus and minus sides summed, so it needs the engine's ground; without that lead it is not measured."""
    if not view.trace.has("starter_coil") or not view.cranks:
        return []
    if not view.trace.has("engine_ground"):
        text = "starter control circuit: needs the engine ground lead as well (plus and minus sides are summed)"
        return [Finding(ID, "not measured", text, blocks=False)]
    crank = view.cranks[0]
    chosen = view.within(crank.start_s + 0.004, crank.start_s + FIRST_S)
    chosen &= view.trace.channels["starter_coil"].mean_v > 1.0
    if chosen.sum() < 3:
        chosen = view.within(crank.start_s + 0.1, crank.end_s - 0.05)
    if not chosen.any():
        return []
    channels = view.trace.channels
    battery_v, coil_v, ground_v = (
        float(channels[r].mean_v[chosen].mean()) for r in ("battery", "starter_coil", "engine_ground")
    )
    drop_v = battery_v - coil_v + ground_v
    count = float(view.trace.conversions[chosen].sum())
    u = float(
        np.hypot(
            uncertainty.of_difference(
                battery_v, channels["battery"].uncertainty, coil_v, channels["starter_coil"].uncertainty, count
            ),
            uncertainty.of_voltage(ground_v, channels["engine_ground"].uncertainty, count),
        )
    )
    limit_v = view.limits["starter_control_drop_fail_v"]
    decision = decide(drop_v, u, limit_v, "below")
    text = f"starter control circuit drops {text_v(drop_v)}, both sides summed"
    if decision.outcome == "missed":
        text += f", more than {text_v(limit_v)}: the solenoid may not pull in"
    return [
        Finding(
            ID,
            result_of(decision),
            text,
            drop_v,
            decision.expanded,
            limit_v,
            "V",
            crank.start_s,
            "crank",
            decision.conformance,
            False,
        )
    ]
