"""The intake heater's solenoid: polarity, voltage, chatter and on-time, from the difference of its two leads only.

A coil switched on its low side idles at battery voltage on both ends, so one lead alone says nothing.
"""

from __future__ import annotations

import numpy as np

from firstcrank.analysis import uncertainty
from firstcrank.analysis.crank_detection import stretches_of
from firstcrank.analysis.decision import decide, result_of
from firstcrank.analysis.findings import Finding
from firstcrank.analysis.view import View
from firstcrank.units import text_s, text_v

LIVE_V = 2.5  # at 12 V: the coil counts as energised
LONGEST_OPEN_S = 0.25  # shorter openings are chatter, longer ones the module's own switching
LEAST_S = 0.05
ROLES = ("heater_coil", "heater_return")
POLARITY_ADVICE = (
    "The proof of polarity is made unpowered, with a meter at the solenoid's marked studs; a reading taken while it is live may "
    "already be too late for its diode"
)


def check(view: View) -> list[Finding]:
    """All findings of the heater; "not measured" where one of its two leads is absent."""
    present = [role for role in ROLES if view.trace.has(role)]
    if not present:
        return []
    if len(present) < 2:
        return [
            Finding("heater_voltage", "not measured", "intake heater: needs both heater_coil and heater_return", blocks=False)
        ]
    plus, minus = (view.trace.channels[role] for role in ROLES)
    across_v = plus.mean_v - minus.mean_v
    live_v = LIVE_V * view.scale
    live = np.abs(across_v) > live_v
    stretches = [s for s in stretches_of(live, view.trace.start_s, view.trace.end_s, LONGEST_OPEN_S) if s[1] - s[0] > LEAST_S]
    if not stretches:
        text = "intake heater not commanded: a warm engine commands none, so this says nothing without the coolant temperature"
        return [Finding("heater_voltage", "not measured", text, blocks=False)]
    findings = [_polarity(view, across_v, live)]
    if findings[0].result != "fail":
        findings.append(_voltage(view, across_v, live))
    findings += [_chatter(view, live, stretches), _on_time(view, stretches)]
    return findings


def _polarity(view: View, across_v: np.ndarray, live: np.ndarray) -> Finding:
    at_s = float(view.trace.start_s[np.flatnonzero(live)[0]])
    mean_v = float(across_v[live].mean())
    if mean_v < 0:
        text = (
            f"intake heater solenoid is wired the wrong way round ({text_v(mean_v)} across it): KEY OFF NOW. {POLARITY_ADVICE}"
        )
        return Finding("heater_polarity", "fail", text, mean_v, limit=0.0, unit="V", at_s=at_s, blocks=False)
    text = f"intake heater solenoid sees plus on its plus lead. {POLARITY_ADVICE}"
    return Finding("heater_polarity", "pass", text, mean_v, limit=0.0, unit="V", at_s=at_s, blocks=False)


def _voltage(view: View, across_v: np.ndarray, live: np.ndarray) -> Finding:
    plus, minus = (view.trace.channels[role] for role in ROLES)
    battery = view.trace.channels["battery"]
    settled = live & np.roll(live, 3) & np.roll(live, -3)
    chosen = settled if settled.any() else live
    battery_v, plus_v, minus_v = (float(c.mean_v[chosen].mean()) for c in (battery, plus, minus))
    drop_v = battery_v - (plus_v - minus_v)
    count = float(view.trace.conversions[chosen].sum())
    u = float(
        np.hypot(
            uncertainty.of_difference(battery_v, battery.uncertainty, plus_v, plus.uncertainty, count),
            uncertainty.of_voltage(minus_v, minus.uncertainty, count),
        )
    )
    limit_v = view.limits["heater_drop_fail_v"]
    decision = decide(drop_v, u, limit_v, "below")
    text = f"intake heater solenoid gets {text_v(plus_v - minus_v)}, {text_v(drop_v)} less than the battery"
    at_s = float(view.trace.start_s[np.flatnonzero(live)[0]])
    return Finding(
        "heater_voltage",
        result_of(decision),
        text,
        drop_v,
        decision.expanded,
        limit_v,
        "V",
        at_s,
        None,
        decision.conformance,
        False,
    )


def _chatter(view: View, live: np.ndarray, stretches: list[tuple[float, float]]) -> Finding:
    opened = 0
    for begin_s, end_s in stretches:
        inside = (view.trace.start_s >= begin_s) & (view.trace.end_s <= end_s)
        opened += max(len(stretches_of(live & inside, view.trace.start_s, view.trace.end_s)) - 1, 0)
    need = int(view.limits["chatter_count"]) - 1
    if opened >= need:
        text = f"intake heater circuit opened {opened} times while commanded: a loose contact"
        return Finding("heater_chatter", "fail", text, float(opened), limit=float(need), at_s=stretches[0][0], blocks=False)
    return Finding(
        "heater_chatter", "pass", "intake heater held without chatter", float(opened), limit=float(need), blocks=False
    )


def _on_time(view: View, stretches: list[tuple[float, float]]) -> Finding:
    first_crank_s = view.cranks[0].start_s if view.cranks else float("inf")
    before_s = sum(max(min(b, first_crank_s) - a, 0.0) for a, b in stretches if a < first_crank_s)
    text = f"intake heater on for {text_s(before_s)} before the crank (10 to 30 s is common practice for a cold start)"
    result = "pass" if 10.0 <= before_s <= 30.0 else "warn"
    return Finding("heater_on_time", result, text, before_s, unit="s", at_s=stretches[0][0], blocks=False)  # type: ignore[arg-type]
