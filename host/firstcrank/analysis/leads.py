"""Before the crank: are the leads where they should be? Looked at while the key is off and just after it came on."""

from __future__ import annotations

from firstcrank.limits import Limits
from firstcrank.thresholds import thresholds_for
from firstcrank.thresholds.evidence import rest_range_v


def check_leads(battery_v: float, key_v: float, limits: Limits, key_is_off: bool) -> tuple[str, ...]:
    """Plain lines about leads that look wrong, from means over a moment, volts; empty where nothing does.

    `key_is_off`: the user was asked for the key to be off. Two leads on one point show only then.
    """
    th = thresholds_for(limits.system_v).evidence
    rest_low_v, rest_high_v = rest_range_v(limits.system_v)
    lines: list[str] = []
    if battery_v < th.rest_below_zero_v or key_v < th.rest_below_zero_v:
        lines.append("a lead reads below zero: battery leads reversed, or a positive-earth vehicle (not supported)")
    elif battery_v < th.battery_gone_v and key_v > th.key_volts_v:
        lines.append("the battery lead is dead and the key lead is live: the two leads look exchanged")
    elif battery_v < th.battery_gone_v:
        lines.append("the battery lead reads nothing: is it on the positive post, and the ground clip on the negative post?")
    elif not rest_low_v <= battery_v <= rest_high_v:
        lines.append(
            f"the battery lead reads {battery_v:.1f} V: not at rest on a {limits.system_v} V battery; {_hint(battery_v, limits)}"
        )
    if key_is_off and key_v > limits["feed_off_v"] and battery_v > rest_low_v:
        if abs(battery_v - key_v) < th.same_lead_v:
            lines.append("the key lead reads the same as the battery: key not off, or both leads on one point")
        else:
            lines.append(f"the key lead reads {key_v:.1f} V: key not off, or something feeds it back")
    return tuple(lines)


def _hint(battery_v: float, limits: Limits) -> str:
    """Why a battery may read neither dead nor at rest."""
    other_v = 36 - limits.system_v
    other_low_v, other_high_v = rest_range_v(other_v)
    if other_low_v <= battery_v <= other_high_v:
        return f"for a {other_v} V vehicle use --system {other_v}"
    if battery_v > rest_range_v(limits.system_v)[1]:
        return "take a charger or booster off; without one the board's calibration is wrong"
    return "a flat battery" if limits.system_v == 24 else "a flat battery, or a 6 V vehicle (not supported)"
