"""Charging, and a charger or jump pack that makes the battery's own readings mean nothing."""

from __future__ import annotations

import numpy as np

from firstcrank.analysis.crank_speed import spectrum
from firstcrank.analysis.findings import Finding
from firstcrank.analysis.view import View
from firstcrank.units import text_v

SETTLE_S = 3.0
LATE_S = 1.0
MAINS_HZ = (100.0, 120.0)  # a rectifier charger's ripple: twice the mains frequency


def check(view: View) -> list[Finding]:
    """Only where the user says that the engine runs: released is not running. Warns and never fails."""
    if view.context.engine_running is not True or not view.cranks:
        return []
    released_s = view.cranks[-1].end_s
    stop_s = view.key_off_s if view.key_off_s is not None else float(view.trace.end_s[-1])
    if stop_s < released_s + SETTLE_S + LATE_S:
        text = "charging: the engine must run for a minute at fast idle, heater off"
        return [Finding("charging", "not measured", text, blocks=False)]
    chosen = view.within(stop_s - LATE_S - 0.1, stop_s - 0.1)
    volts, u = view.mean("battery", chosen)
    low_v, high_v = view.limits["charge_low_v"], view.limits["charge_high_v"]
    good = low_v + 2 * u < volts < high_v - 2 * u
    text = f"battery {text_v(volts)} with the engine running"
    if volts < low_v:
        text += ": not charging (judge again after a minute at fast idle, heater off)"
    elif volts > high_v:
        text += ": charging too high"
    limit_v = low_v if volts < 0.5 * (low_v + high_v) else high_v
    return [
        Finding(
            "charging", "pass" if good else "warn", text, volts, 2 * u, limit_v, "V", stop_s - LATE_S, "after", blocks=False
        )
    ]


def check_charger(view: View) -> list[Finding]:
    """A charger or jump pack: told, or seen by the rest voltage or a mains ripple at rest."""
    if view.key_on_s is None:
        return []
    rest = view.within(float(view.trace.start_s[0]), view.key_on_s - 0.02)
    battery = view.trace.channels["battery"].mean_v[rest]
    seen = view.rest_v > view.limits["battery_rest_charger_v"] or _mains_ripple(view, rest, battery)
    if view.context.charger_connected or seen:
        how = "told" if view.context.charger_connected else "seen at rest"
        text = f"a charger or jump pack is connected ({how}): rest voltage and recovery say nothing about the battery"
        return [Finding("battery_charger", "warn", text, view.rest_v, unit="V", at_s=0.0, phase="key off", blocks=False)]
    return []


def _mains_ripple(view: View, rest: np.ndarray, battery: np.ndarray) -> bool:
    if rest.sum() < 400:
        return False
    step_s = float(np.median(np.diff(view.trace.start_s[rest])))
    if step_s > 0.002:
        return False
    even = np.arange(float(view.trace.mid_s[rest][0]), float(view.trace.mid_s[rest][-1]), 1.0 / 400.0)
    swing = np.interp(even, view.trace.mid_s[rest], battery)
    swing = swing - swing.mean()
    if np.std(swing) < 0.02 * view.scale:
        return False
    hz, power = spectrum(swing)
    whole = float(power[hz > 5].sum())
    near = sum(float(power[np.abs(hz - f) < 2.0].sum()) for f in MAINS_HZ)
    return bool(whole > 0 and near > 0.5 * whole)


def check_recovery(view: View) -> list[Finding]:
    """How far the battery comes back 2 s after the release; a hint on its state, meaningless with a charger."""
    if not view.cranks or view.key_on_s is None:
        return []
    if view.context.charger_connected or view.rest_v > view.limits["battery_rest_charger_v"] or view.cranks[-1].engine_ran_on:
        return []
    end_s = view.cranks[-1].end_s
    chosen = view.within(end_s + 1.5, end_s + 2.0)
    if not chosen.any():
        return []
    volts, u = view.mean("battery", chosen)
    text = f"battery back to {text_v(volts)} two seconds after the crank"
    low = volts < view.limits["battery_rest_warn_v"] - 0.4 * view.scale
    return [
        Finding(
            "battery_recovery", "warn" if low else "pass", text, volts, 2 * u, None, "V", end_s + 2.0, "after", blocks=False
        )
    ]
