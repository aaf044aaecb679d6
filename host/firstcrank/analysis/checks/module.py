"""The module's own supply and ground, and the engine's ground: drops and rises while cranking."""

from __future__ import annotations

import numpy as np

from firstcrank.analysis import uncertainty
from firstcrank.analysis.decision import decide, result_of
from firstcrank.analysis.findings import Finding
from firstcrank.analysis.view import BoolArray, View
from firstcrank.units import text_v


def _steady(view: View) -> BoolArray:
    chosen = np.zeros(len(view.trace), dtype=bool)
    for phase in view.named("crank"):
        chosen |= view.within(phase.start_s + 0.2, phase.end_s)
    return chosen if chosen.any() else view.in_phase("key on")


def check_supply(view: View) -> list[Finding]:
    """Battery less module supply, mean while cranking."""
    if not view.trace.has("module_supply"):
        return []
    chosen = _steady(view)
    if not chosen.any():
        return []
    battery, supply = view.trace.channels["battery"], view.trace.channels["module_supply"]
    battery_v, supply_v = float(battery.mean_v[chosen].mean()), float(supply.mean_v[chosen].mean())
    u = uncertainty.of_difference(
        battery_v, battery.uncertainty, supply_v, supply.uncertainty, float(view.trace.conversions[chosen].sum())
    )
    limit_v = view.limits["module_supply_drop_fail_v"]
    decision = decide(battery_v - supply_v, u, limit_v, "below")
    text = f"module supply drops {text_v(battery_v - supply_v)} while cranking"
    return [
        Finding(
            "module_supply_drop",
            result_of(decision),
            text,
            battery_v - supply_v,
            decision.expanded,
            limit_v,
            "V",
            float(view.trace.start_s[np.flatnonzero(chosen)[0]]),
            "crank",
            decision.conformance,
            blocks=False,
        )
    ]


def check_loop(view: View) -> list[Finding]:
    """Loop resistance of the module's supply with a known load at its plug: R = RL * (Vbat - Vplug) / Vplug.

    Source of method and limit: a published engine maker's installation manual (2.2 ohm for 3 s, 50 mOhm at 12 V, 100 mOhm at 24 V).
    """
    load_ohm = view.context.known_load_ohm
    if not view.trace.has("module_supply"):
        return []
    if load_ohm is None:
        text = "module supply loop resistance: needs a known load at the plug (2.2 ohm for 3 s)"
        return [Finding("module_supply_loop", "not measured", text, unit="ohm", blocks=False)]
    battery, supply = view.trace.channels["battery"], view.trace.channels["module_supply"]
    ground_v = view.trace.channels["module_ground"].mean_v if view.trace.has("module_ground") else 0.0
    plug_v = supply.mean_v - ground_v
    still = np.flatnonzero(~view.in_phase("key turn", "crank", "release"))
    most = max(len(still) // 50, 8)
    quiet = still[np.argsort(plug_v[still] - battery.mean_v[still])[:most]]  # where the load pulls the plug down furthest
    if len(quiet) < 4:
        return [Finding("module_supply_loop", "not measured", "module supply loop resistance: no quiet stretch", blocks=False)]
    v_plug, v_battery = float(np.median(plug_v[quiet])), float(np.median(battery.mean_v[quiet]))
    ohm = load_ohm * (v_battery - v_plug) / v_plug
    u_v = uncertainty.of_difference(v_battery, battery.uncertainty, v_plug, supply.uncertainty, 64)
    u = load_ohm * u_v / v_plug
    limit = view.limits["module_loop_fail_ohm"]
    decision = decide(ohm, u, limit, "below")
    text = f"module supply loop resistance {ohm * 1e3:.0f} mΩ (both sides)"
    return [
        Finding(
            "module_supply_loop",
            result_of(decision),
            text,
            ohm,
            decision.expanded,
            limit,
            "ohm",
            conformance=decision.conformance,
            blocks=False,
        )
    ]


def check_grounds(view: View) -> list[Finding]:
    """Rise of module ground and engine ground above the battery's negative post, mean while cranking."""
    findings = []
    chosen = _steady(view)
    for role, key in (("module_ground", "module_ground_rise_fail_v"), ("engine_ground", "engine_ground_rise_fail_v")):
        if not view.trace.has(role) or not chosen.any():
            continue
        rise_v, u = view.mean(role, chosen)
        limit_v = view.limits[key]
        decision = decide(rise_v, u, limit_v, "below")
        where = role.replace("_", " ")
        text = f"{where} rises {text_v(rise_v)} above the battery's negative post while cranking"
        findings.append(
            Finding(
                f"ground_rise.{role}",
                result_of(decision),
                text,
                rise_v,
                decision.expanded,
                limit_v,
                "V",
                float(view.trace.start_s[np.flatnonzero(chosen)[0]]),
                "crank",
                decision.conformance,
                blocks=False,
            )
        )
    return findings
