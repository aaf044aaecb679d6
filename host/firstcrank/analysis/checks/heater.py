"""The intake heater's solenoid: polarity, voltage, chatter and on-time, from the difference of its two leads only.

A coil switched on its low side idles at battery voltage on both ends, so one lead alone says nothing.
"""

from __future__ import annotations

import math

import numpy as np

from firstcrank.analysis.finding import compared
from firstcrank.analysis.intervals import Stretch, stretches_of
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding
from firstcrank.model.measured import Measured
from firstcrank.model.vocabulary import CheckId, Result
from firstcrank.trace import BoolArray, FloatArray
from firstcrank.units import format_duration, format_voltage

ROLES = ("heater_coil", "heater_return")
POLARITY_ADVICE = (
    "The proof of polarity is made unpowered, with both small wires off the solenoid; a reading taken while it is live may already be "
    "too late for its diode"
)


def check(view: View) -> list[Finding]:
    """All findings of the heater; "not measured" where one of its two leads is absent."""
    present = [role for role in ROLES if view.trace.has(role)]
    if not present:
        return []
    if len(present) < 2:
        text = "intake heater: needs both heater_coil and heater_return"
        return [Finding(CheckId.HEATER_VOLTAGE, Result.NOT_MEASURED, text)]
    th = view.th.vehicle
    plus, minus = (view.trace.channels[role] for role in ROLES)
    across_v = plus.mean_v - minus.mean_v
    live = np.abs(across_v) > th.heater_live_v
    stretches = [
        s for s in stretches_of(live, view.trace.start_s, view.trace.end_s, th.heater_open_s) if s[1] - s[0] > th.heater_least_s
    ]
    if not stretches:
        text = "intake heater not commanded: a warm engine commands none, so this says nothing without the coolant temperature"
        return [Finding(CheckId.HEATER_VOLTAGE, Result.NOT_MEASURED, text)]
    findings = [_polarity(view, across_v, live)]
    if findings[0].result is not Result.FAIL:
        findings.append(_voltage(view, live))
    findings += [_chatter(view, live, stretches), _on_time(view, stretches)]
    return findings


def _polarity(view: View, across_v: FloatArray, live: BoolArray) -> Finding:
    at_s = float(view.trace.start_s[np.flatnonzero(live)[0]])
    across = Measured(float(across_v[live].mean()), view.difference(*ROLES, live).u, "V")
    check_id = CheckId.HEATER_POLARITY
    if across.value < 0:
        text = (
            f"intake heater solenoid is wired the wrong way round ({format_voltage(across.value)} across it): KEY "
            f"OFF NOW. {POLARITY_ADVICE}"
        )
        return Finding(check_id, Result.FAIL, text, across, 0.0, at_s)
    text = f"intake heater solenoid sees plus on its plus lead. {POLARITY_ADVICE}"
    return Finding(check_id, Result.PASS, text, across, 0.0, at_s)


def _voltage(view: View, live: BoolArray) -> Finding:
    settled = live & np.roll(live, view.th.vehicle.heater_settle_bins) & np.roll(live, -view.th.vehicle.heater_settle_bins)
    chosen = settled if settled.any() else live
    plus, minus = view.difference("battery", "heater_coil", chosen), view.mean("heater_return", chosen)
    drop = Measured(plus.value + minus.value, math.hypot(plus.u, minus.u), "V")
    across_v = view.mean("heater_coil", chosen).value - minus.value
    text = f"intake heater solenoid gets {format_voltage(across_v)}, {format_voltage(drop.value)} less than the battery"
    at_s = float(view.trace.start_s[np.flatnonzero(live)[0]])
    return compared(CheckId.HEATER_VOLTAGE, drop, text, below=view.limits["heater_drop_fail_v"], at_s=at_s)


def _chatter(view: View, live: BoolArray, stretches: list[Stretch]) -> Finding:
    opened = 0
    for begin_s, end_s in stretches:
        inside = (view.trace.start_s >= begin_s) & (view.trace.end_s <= end_s)
        opened += max(len(stretches_of(live & inside, view.trace.start_s, view.trace.end_s)) - 1, 0)
    need = int(view.limits["chatter_count"]) - 1
    value = Measured(float(opened))
    if opened >= need:
        text = f"intake heater circuit opened {opened} times while commanded: a loose contact"
        return Finding(CheckId.HEATER_CHATTER, Result.FAIL, text, value, float(need), stretches[0][0])
    return Finding(CheckId.HEATER_CHATTER, Result.PASS, "intake heater held without chatter", value, float(need))


def _on_time(view: View, stretches: list[Stretch]) -> Finding:
    first_crank_s = view.cranks[0].start_s if view.cranks else float("inf")
    before_s = sum(max(min(b, first_crank_s) - a, 0.0) for a, b in stretches if a < first_crank_s)
    text = f"intake heater on for {format_duration(before_s)} before the crank (the wait lamp decides when to crank, not this time)"
    return Finding(CheckId.HEATER_ON_TIME, Result.PASS, text, Measured(before_s, 0.0, "s"), None, stretches[0][0])
