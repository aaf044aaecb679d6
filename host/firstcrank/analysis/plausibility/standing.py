"""Leads that stand still, or draw a line, while they should move or show noise."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from firstcrank.analysis.plausibility.examined import AT_REST, Examined, Implausible, still
from firstcrank.analysis.standstill import quietest_sigma, stand_still, stands_alone, straight_runs
from firstcrank.role_properties import role_label
from firstcrank.thresholds.plausible import PLAUSIBLE
from firstcrank.units import format_duration


def frozen(view: Examined) -> Iterator[Implausible]:
    """A live lead with one and the same reading while the battery it hangs on falls or rises. A dead lead may read a constant."""
    source = view.trace.channels.get("feed_source")
    least = view.rows(PLAUSIBLE.still_s, PLAUSIBLE.still_rows)
    for role, channel in view.leads():
        if role in ("battery", "feed_source"):
            continue
        moving_v = source.mean_v if source is not None and role == "key_switch" else view.battery_v
        volts = channel.mean_v
        need_v = max(PLAUSIBLE.moved_v * view.scale, PLAUSIBLE.moved_steps * view.steps_v[role])
        worst: tuple[float, int, int] | None = None
        for first, past in still(volts):
            if past - first < least or abs(volts[first]) < PLAUSIBLE.live_v * view.scale:
                continue
            inside = moving_v[first + 1 : past - 1]  # the edges of the run lie between two readings
            range_v = float(np.quantile(inside, 1.0 - PLAUSIBLE.range_quantile) - np.quantile(inside, PLAUSIBLE.range_quantile))
            if range_v > need_v and (worst is None or range_v > worst[0]):
                worst = (range_v, int(first), int(past))
        if worst is not None:
            range_v, first, past = worst
            yield view.found(
                role,
                first,
                past,
                "frozen",
                f"the {role_label(role)} reads {volts[first]:.2f} V without any change for "
                f"{view.trace.end_s[past - 1] - view.t_s[first]:.1f} s, while the battery moves by {range_v:.1f} V",
            )
    yield from _frozen_battery(view, least)


def _frozen_battery(view: Examined, least: int) -> Iterator[Implausible]:
    """The battery cannot stand still while the starter turns."""
    coil = view.trace.channels.get("starter_coil")
    if coil is None:
        return
    for first, past in still(view.battery_v):
        if (
            past - first >= max(least, view.rows(PLAUSIBLE.cranking_still_s, PLAUSIBLE.still_rows))
            and float((coil.mean_v[first:past] > PLAUSIBLE.starter_live_v * view.scale).mean()) > PLAUSIBLE.cranking_share
        ):
            volts = view.battery_v[first]
            yield view.found(
                "battery", first, past, "frozen", f"the battery reads {volts:.2f} V without any change while cranking"
            )
            return


def still_in_noise(view: Examined) -> Iterator[Implausible]:
    """A live lead that stands still for longer than its own noise allows: at its highest reading a ceiling, else it froze.

    The starter lead is live only while cranking. When the solenoid has pulled in and the motor does not turn yet, it is as quiet as
    battery and key feed are at rest.
    """
    at_rest_v = min(_quietest_v(view, role) for role in AT_REST)
    for role, channel in view.leads():
        most_v = math.inf if role in AT_REST else at_rest_v
        runs = stand_still(channel.mean_v, view.steps_v[role], view.scale, most_v)
        if not runs:
            continue
        first, past = max(runs, key=lambda run: run[1] - run[0])
        volts = float(channel.mean_v[first])
        if volts >= float(channel.mean_v.max()):
            line = f"the {role_label(role)} never reads more than {volts:.2f} V and stays exactly there: the logger's range ends there"
            yield view.found(role, first, past, "clipped", line)
        else:
            lasts = format_duration(float(view.trace.end_s[past - 1] - view.t_s[first]))
            line = f"the {role_label(role)} reads {volts:.2f} V for {lasts} without the noise that it has elsewhere: it froze"
            yield view.found(role, first, past, "frozen", line)


def straight(view: Examined) -> Iterator[Implausible]:
    """A live lead that draws a line without its noise: rows that were missing, filled in by a spreadsheet or a script."""
    for role in AT_REST:
        volts = view.trace.channels[role].mean_v
        sloping = [run for run in straight_runs(volts, view.steps_v[role], view.scale) if np.ptp(volts[slice(*run)]) > 0.0]
        if sloping:
            first, past = max(sloping, key=lambda run: run[1] - run[0])
            lasts = format_duration(float(view.trace.end_s[past - 1] - view.t_s[first]))
            line = f"the {role_label(role)} draws a straight line for {lasts} without the noise that it has elsewhere: it was filled in"
            yield view.found(role, first, past, "filled", line)


def _quietest_v(view: Examined, role: str) -> float:
    """Noise of a lead where it is quietest, volts; 0 where it shows none."""
    step_v = view.steps_v[role]
    return (
        quietest_sigma(view.trace.channels[role].mean_v / step_v, PLAUSIBLE.live_v * view.scale / step_v) * step_v
        if step_v
        else 0.0
    )


def still_alone(view: Examined) -> Iterator[Implausible]:
    """One of battery and key feed stands still while the other goes on with the noise that they shared."""
    for role, other in (("key_switch", "battery"), ("battery", "key_switch")):
        if "feed_source" in view.trace.channels:
            return
        volts, beside = view.trace.channels[role].mean_v, view.trace.channels[other].mean_v
        run = stands_alone(volts, view.steps_v[role], beside, view.steps_v[other])
        if run is not None:
            first, past = run
            lasts = format_duration(float(view.trace.end_s[past - 1] - view.t_s[first]))
            line = (
                f"the {role_label(role)} reads {volts[first]:.2f} V for {lasts} while the {role_label(other)} shows the noise that "
                "both had: it froze"
            )
            yield view.found(role, first, past, "frozen", line)
