"""Charging, and a charger or jump pack that makes the battery's own readings mean nothing."""

from __future__ import annotations

import numpy as np

from firstcrank.analysis.crank_speed import spectrum
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding
from firstcrank.model.vocabulary import CheckId, Phase, Result
from firstcrank.thresholds.charge import CHARGE
from firstcrank.thresholds.speed import SPEED
from firstcrank.trace import BoolArray, FloatArray
from firstcrank.units import format_voltage

MAINS_HZ = (CHARGE.mains_50_hz, CHARGE.mains_60_hz)


def check(view: View) -> list[Finding]:
    """Only where the user says that the engine runs. No charge is a fault only after the minute that a heater may cycle."""
    check_id = CheckId.CHARGING
    if view.context.engine_running is not True or not view.cranks:
        return []
    th, released_s = view.th.vehicle, view.cranks[-1].end_s
    stop_s = view.live_to_s
    late = view.within(stop_s - th.charging_late_s - CHARGE.end_clear_s, stop_s - CHARGE.end_clear_s)
    low_v, high_v = view.limits["charge_low_v"], view.limits["charge_high_v"]
    ask = "charging: keep recording for a minute at fast idle, heater off"
    if not late.any() or stop_s < released_s + view.limits["run_on_s"] - CHARGE.watch_slack_s:
        return [Finding(check_id, Result.NOT_MEASURED, ask)]
    volts = view.mean("battery", late)
    at_s = stop_s - th.charging_late_s
    text = f"battery {format_voltage(volts.value)} with the engine running"
    if low_v + volts.expanded < volts.value < high_v - volts.expanded:
        return [Finding(check_id, Result.PASS, text, volts, low_v, at_s, Phase.AFTER)]
    if volts.value >= high_v - volts.expanded:
        surely = volts.value - volts.expanded > high_v
        return [
            Finding(
                check_id, Result.FAIL if surely else Result.WARN, f"{text}: charging too high", volts, high_v, at_s, Phase.AFTER
            )
        ]
    if stop_s < released_s + th.charging_watch_s:
        return [Finding(check_id, Result.NOT_MEASURED, f"{ask} ({format_voltage(volts.value)} so far)", volts, low_v)]
    surely_low = volts.value + volts.expanded < low_v
    discharging = surely_low and volts.value + volts.expanded < view.rest_v + CHARGE.discharging_v * view.scale
    text += ": nothing charges it" if discharging else ": charging too little"
    failed = discharging or (surely_low and not _was_charged(view, released_s, stop_s, low_v - volts.expanded))
    return [Finding(check_id, Result.FAIL if failed else Result.WARN, text, volts, low_v, at_s, Phase.AFTER)]


def _was_charged(view: View, released_s: float, stop_s: float, least_v: float) -> bool:
    """Whether the battery stood above `least_v` for a while since the alternator had time to build up: an intake heater pulls it down."""
    watched = view.within(released_s + view.th.running.charged_within_s, stop_s)
    volts = view.trace.channels["battery"].mean_v[watched]
    return bool(len(volts) and float(np.quantile(volts, 1.0 - CHARGE.charged_share)) >= least_v)


def check_charger(view: View) -> list[Finding]:
    """A charger or jump pack: reported, or seen by the rest voltage or a mains ripple at rest."""
    if view.key.on is None:
        return []
    rest = view.within(float(view.trace.start_s[0]), view.key.on.early_s - CHARGE.rest_clear_s)
    battery = view.trace.channels["battery"].mean_v[rest]
    seen = view.rest_v > view.limits["battery_rest_charger_v"] or _mains_ripple(view, rest, battery)
    if not (view.context.charger_connected or seen):
        return []
    how = "reported" if view.context.charger_connected else "seen at rest"
    text = f"a charger or jump pack is connected ({how}): rest voltage and recovery say nothing about the battery"
    return [
        Finding(
            CheckId.BATTERY_CHARGER,
            Result.WARN,
            text,
            view.mean("battery", rest) if rest.any() else None,
            None,
            0.0,
            Phase.KEY_OFF,
        )
    ]


def _mains_ripple(view: View, rest: BoolArray, battery: FloatArray) -> bool:
    if rest.sum() < CHARGE.least_bins:
        return False
    step_s = float(np.median(np.diff(view.trace.start_s[rest])))
    if step_s > CHARGE.coarsest_s:
        return False
    even = np.arange(float(view.trace.mid_s[rest][0]), float(view.trace.mid_s[rest][-1]), 1.0 / SPEED.grid_hz)
    swing = np.interp(even, view.trace.mid_s[rest], battery)
    swing = swing - swing.mean()
    if np.std(swing) < CHARGE.least_ripple_v * view.scale:
        return False
    hz, power = spectrum(swing)
    whole = float(power[hz > CHARGE.slow_hz].sum())
    near = sum(float(power[np.abs(hz - f) < CHARGE.mains_width_hz].sum()) for f in MAINS_HZ)
    return bool(whole > 0 and near > 0.5 * whole)


def check_recovery(view: View) -> list[Finding]:
    """How far the battery comes back 2 s after the release; a hint on its state, meaningless with a charger."""
    if not view.cranks or view.key.on is None:
        return []
    charger = view.context.charger_connected or view.rest_v > view.limits["battery_rest_charger_v"]
    if charger or view.cranks[-1].engine_ran_on:
        return []
    th, end_s = view.th.vehicle, view.cranks[-1].end_s
    chosen = view.within(end_s + th.recovery_from_s, end_s + th.recovery_to_s)
    if not chosen.any():
        return []
    volts = view.mean("battery", chosen)
    text = f"battery back to {format_voltage(volts.value)} two seconds after the crank"
    low = volts.value < view.limits["battery_rest_warn_v"] - th.recovery_low_v
    result = Result.WARN if low else Result.PASS
    return [Finding(CheckId.BATTERY_RECOVERY, result, text, volts, None, end_s + th.recovery_to_s, Phase.AFTER)]
