"""The module's own supply and ground, and the engine's ground: what reaches the module, drops and rises while cranking."""

from __future__ import annotations

import math

import numpy as np

from firstcrank.analysis import uncertainty
from firstcrank.analysis.finding import compared
from firstcrank.analysis.intervals import BoolArray, runs_of, window_means
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding
from firstcrank.model.measured import COVERAGE, Measured
from firstcrank.model.vocabulary import CheckId, Phase, Result
from firstcrank.trace import FloatArray
from firstcrank.units import format_duration, format_voltage


def _worst_half_second(view: View, volts: FloatArray) -> BoolArray | None:
    """Bins of the window in which `volts` (n,) is highest on the mean, cranks only, their inrush left out; None without one."""
    best: tuple[float, BoolArray] | None = None
    for crank in view.cranks:
        inside = np.flatnonzero(view.within(crank.start_s + view.th.vehicle.crank_settle_s, crank.end_s))
        if not len(inside):
            continue
        span_s = (view.trace.end_s - view.trace.start_s)[inside]
        means, past = window_means(
            volts[inside], span_s, min(view.th.feed.steady_s, view.th.vehicle.window_most * float(span_s.sum()))
        )
        if not np.isfinite(means).any():
            continue
        at = int(np.nanargmax(means))
        if best is None or float(means[at]) > best[0]:
            chosen = np.zeros(len(view.trace), dtype=bool)
            chosen[inside[at] : inside[past[at] - 1] + 1] = True
            best = (float(means[at]), chosen)
    return None if best is None else best[1]


def check_minimum(view: View) -> list[Finding]:
    """What the module itself gets in START: its supply less its ground, against its minimum, as long as an inrush may last."""
    if not view.trace.has("module_supply"):
        return []
    check = CheckId.MODULE_SUPPLY_MINIMUM
    supply = view.trace.channels["module_supply"]
    lowest, mean, u2 = supply.lowest_v, supply.mean_v, supply.uncertainty
    ground_u = 0.0
    if view.trace.has("module_ground"):
        ground = view.trace.channels["module_ground"]
        lowest, mean = lowest - ground.highest_v, mean - ground.mean_v
        ground_u = uncertainty.of_voltage(0.0, ground.uncertainty)
    minimum_v, allowed_s = view.limits["module_minimum_v"], view.limits["supply_dip_max_s"]
    inside = view.in_phase(Phase.TURN, Phase.CRANK, Phase.RELEASE)
    if not inside.any():
        return []
    lowest_v = float(lowest[inside].min())
    u_v = math.hypot(uncertainty.of_voltage(lowest_v, u2), ground_u)
    at_s = float(view.trace.start_s[np.flatnonzero(inside)[np.argmin(lowest[inside])]])
    surely_s = _longest_s(view, inside & (mean < minimum_v - COVERAGE * u_v))
    possibly_s = _longest_s(view, inside & (lowest < minimum_v + COVERAGE * u_v))
    text = f"the module gets {format_voltage(lowest_v)} at the lowest in START"
    result = Result.PASS
    if surely_s > allowed_s or lowest_v < view.limits["supply_dip_lowest_v"] - COVERAGE * u_v:
        result = Result.FAIL
        text += (
            f": below its minimum of {format_voltage(minimum_v)} for {format_duration(max(surely_s, 0.0))}, so it "
            "stops while the engine cranks"
        )
    elif possibly_s > allowed_s:
        result, text = Result.UNDECIDED, text + f": too close to its minimum of {format_voltage(minimum_v)}"
    return [Finding(check, result, text, Measured(lowest_v, u_v, "V"), minimum_v, at_s, Phase.CRANK)]


def _longest_s(view: View, chosen: BoolArray) -> float:
    firsts, pasts = runs_of(chosen)
    return max(
        (float(view.trace.end_s[b - 1] - view.trace.start_s[a]) for a, b in zip(firsts, pasts, strict=True)), default=0.0
    )


def check_supply(view: View) -> list[Finding]:
    """Battery less module supply, worst half second of a crank."""
    if not view.trace.has("module_supply"):
        return []
    channels = view.trace.channels
    chosen = _worst_half_second(view, channels["battery"].mean_v - channels["module_supply"].mean_v)
    if chosen is None:
        return []
    drop = view.difference("battery", "module_supply", chosen)
    at_s = float(view.trace.start_s[np.flatnonzero(chosen)[0]])
    text = f"module supply drops {format_voltage(drop.value)} while cranking"
    limit_v = view.limits["module_supply_drop_fail_v"]
    return [compared(CheckId.MODULE_SUPPLY_DROP, drop, text, below=limit_v, at_s=at_s, phase=Phase.CRANK)]


def check_loop(view: View) -> list[Finding]:
    """Loop resistance of the module's supply with a known load at its plug: R = RL * (Vbat - Vplug) / Vplug.

    Source of method and limit: a published engine maker's installation manual (2.2 ohm for 3 s, 50 mOhm at 12 V, 100 mOhm at 24 V).
    """
    check, load_ohm = CheckId.MODULE_SUPPLY_LOOP, view.context.known_load_ohm
    if not view.trace.has("module_supply"):
        return []
    if load_ohm is None:
        text = "module supply loop resistance: needs a known load at the plug (2.2 ohm for 3 s)"
        return [Finding(check, Result.NOT_MEASURED, text)]
    battery, supply = view.trace.channels["battery"], view.trace.channels["module_supply"]
    ground_v = view.trace.channels["module_ground"].mean_v if view.trace.has("module_ground") else 0.0
    plug_v = supply.mean_v - ground_v
    still = np.flatnonzero(~view.in_phase(Phase.TURN, Phase.CRANK, Phase.RELEASE))
    most = max(len(still) // view.th.vehicle.quiet_share, 8)
    quiet = still[np.argsort(plug_v[still] - battery.mean_v[still])[:most]]  # where the load pulls the plug down furthest
    v_plug = float(np.median(plug_v[quiet])) if len(quiet) else 0.0
    if len(quiet) < 4 or v_plug <= view.th.vehicle.plug_least_v:
        return [Finding(check, Result.NOT_MEASURED, "module supply loop resistance: no quiet interval")]
    v_battery = float(np.median(battery.mean_v[quiet]))
    u_v = uncertainty.of_difference(
        v_battery, battery.uncertainty, v_plug, supply.uncertainty, view.th.vehicle.loop_conversions
    )
    loop = Measured(load_ohm * (v_battery - v_plug) / v_plug, load_ohm * u_v / v_plug, "ohm")
    text = f"module supply loop resistance {loop.value * 1e3:.0f} mΩ (both sides)"
    return [compared(check, loop, text, below=view.limits["module_loop_fail_ohm"])]


def check_grounds(view: View) -> list[Finding]:
    """Rise of module ground and engine ground above the battery's negative post, worst half second of a crank."""
    findings = []
    for role, key, check in (
        ("module_ground", "module_ground_rise_fail_v", CheckId.GROUND_RISE_MODULE),
        ("engine_ground", "engine_ground_rise_fail_v", CheckId.GROUND_RISE_ENGINE),
    ):
        chosen = _worst_half_second(view, view.trace.channels[role].mean_v) if view.trace.has(role) else None
        if chosen is None:
            continue
        rise = view.mean(role, chosen)
        text = f"{role.replace('_', ' ')} rises {format_voltage(rise.value)} above the battery's negative post while cranking"
        at_s = float(view.trace.start_s[np.flatnonzero(chosen)[0]])
        findings.append(compared(check, rise, text, below=view.limits[key], at_s=at_s, phase=Phase.CRANK))
    return findings
