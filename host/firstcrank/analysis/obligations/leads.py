"""Obligations of the leads and of the person: the right battery, leads in place and still, own key, module plugged in."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from firstcrank.analysis.intervals import BoolArray, runs_of
from firstcrank.analysis.obligations.recording import lacking, shown
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding
from firstcrank.model.vocabulary import CheckId
from firstcrank.thresholds.edges import EDGES
from firstcrank.thresholds.evidence import rest_range_v
from firstcrank.trace import FloatArray, IntArray
from firstcrank.units import format_voltage

MILLI = 1000.0  # mV in a volt


def system_voltage(view: View) -> Finding:
    """The limits must fit the vehicle."""
    check, rest_v, system_v = CheckId.SYSTEM_VOLTAGE, view.rest_v, view.limits.system_v
    if rest_v < view.th.evidence.rest_below_zero_v:
        why = "the battery lead reads below zero: leads reversed, or a positive-earth vehicle (not supported)"
        return lacking(check, why)
    low_v, high_v = rest_range_v(system_v)
    if low_v <= rest_v <= high_v:
        return shown(check, f"the battery rests at {format_voltage(rest_v)}, a {system_v} V vehicle")
    other = 24 if system_v == 12 else 12
    other_low_v, other_high_v = rest_range_v(other)
    if other_low_v <= rest_v <= other_high_v:
        why = (
            f"the battery rests at {format_voltage(rest_v)}, so this is a {other} V vehicle and the {system_v} V limits do not apply: "
            f"use --system {other}"
        )
    elif low_v <= rest_v / MILLI <= high_v or other_low_v <= rest_v / MILLI <= other_high_v:
        why = f"the battery lead reads {rest_v:.0f} V at rest: the file is in millivolts, and its columns must be in volts"
    elif view.th.evidence.rest_six_v <= rest_v < low_v and system_v == 12:
        why = (
            f"the battery rests at {format_voltage(rest_v)}: a 6 V vehicle (not supported), a flat battery, or the battery lead is not on "
            "the post"
        )
    else:
        why = f"the battery lead reads {format_voltage(rest_v)} at rest: it is not on the battery's post"
    return lacking(check, why)


def in_place(view: View) -> Finding:
    """The battery lead dead while the key lead is live at the start means that the two are exchanged."""
    first = view.trace.end_s <= view.trace.start_s[0] + view.th.evidence.rest_s
    first = first if first.any() else np.ones(len(view.trace), dtype=bool)
    battery_v = float(np.median(view.trace.channels["battery"].mean_v[first]))
    key_v = float(np.median(view.trace.channels["key_switch"].mean_v[first]))
    if battery_v < view.th.evidence.battery_gone_v and key_v > view.th.evidence.rest_low_v:
        why = "the battery lead is dead and the key lead is live with the key off: the two leads are exchanged"
        return lacking(CheckId.LEADS_IN_PLACE, why)
    return shown(CheckId.LEADS_IN_PLACE, "battery and key lead are not exchanged")


def apart(view: View) -> Finding:
    """Key and battery lead on one point show nothing of the feed."""
    drop_v = np.abs(view.trace.channels["battery"].mean_v - view.trace.channels["key_switch"].mean_v)
    if (
        view.key.on is None
        and float(np.percentile(drop_v, view.th.evidence.same_point_percent)) < view.th.evidence.same_point_v
    ):
        why = "the key lead reads the same as the battery lead throughout: both are on one point"
        return lacking(CheckId.LEADS_APART, why)
    why = _source_beside_battery(view) if view.trace.has("feed_source") else ""
    if why:
        return lacking(CheckId.LEADS_APART, why)
    return shown(CheckId.LEADS_APART, "key and battery lead are on two points")


def _source_beside_battery(view: View) -> str:
    """Why the feed source lead can't be what the feed's drop is counted from; empty where it can.

    A source is live with the key OFF. One that then stands at the battery's voltage is the battery's, and has no more drop of its own
    than a feed may have; a second battery stands above while the starter pulls the first one down.
    """
    battery_v, source_v = (view.trace.channels[role].mean_v for role in ("battery", "feed_source"))
    off = view.trace.end_s <= (view.key.on.early_s if view.key.on is not None else view.trace.start_s[0])
    if not off.any():
        return ""
    rest_v = float(np.median(source_v[off]))
    if rest_v < view.limits["feed_live_v"]:
        return f"the feed source lead reads {format_voltage(rest_v)} with the key OFF: it is behind the switch and no source of the feed"
    of_battery = abs(float(np.median(battery_v[off])) - rest_v) < view.th.evidence.same_battery_v
    cranking = np.zeros(len(battery_v), dtype=bool)
    for interval in view.crank_intervals:
        cranking |= view.within(interval.start_s, interval.end_s)
    below_v = float(np.median((battery_v - source_v)[cranking])) if cranking.any() else 0.0
    if of_battery and below_v > view.limits["feed_drop_fail_v"]:
        return (
            f"the feed source lead lies {format_voltage(below_v)} below the battery while cranking: a bad joint before it, which the "
            "feed's drop does not show"
        )
    return ""


def clips_still(view: View) -> Finding:
    """All leads stepping together, or the battery's reading gone, is a clip and not the vehicle."""
    ahead = _windows(view, view.th.evidence.step_lasts_s, ahead=True)
    at_s = _vanished_at(view, ahead) if view.rest_v > view.th.evidence.rest_low_v else None
    if at_s is not None:
        why = f"the battery reading vanished at {at_s:.2f} s: the battery or ground clip came off"
        return lacking(CheckId.CLIPS_STILL, why, at_s=at_s)
    step_s = _common_step(view, ahead)
    if step_s is None:
        return shown(CheckId.CLIPS_STILL, "no clip moved")
    why = f"all leads stepped together at {step_s:.2f} s: a clip, most likely the ground clip, moved"
    return lacking(CheckId.CLIPS_STILL, why, at_s=step_s)


def _vanished_at(view: View, ahead: _Windows) -> float | None:
    """Time at which the battery's reading is gone, or blinks for half the shortest dropout that counts. No battery falls so low.

    How long a blink within a bin or two lasts is told by how much their means lack of the readings beside them.
    """
    battery, gone_v = view.trace.channels["battery"], view.th.evidence.battery_gone_v
    start_s, span_s = view.trace.start_s, view.trace.end_s - view.trace.start_s
    gone = np.flatnonzero(ahead.means(battery.mean_v) < gone_v)
    if len(gone):
        return float(start_s[gone[0]])
    for first, past in zip(*(edges.tolist() for edges in runs_of(battery.lowest_v < gone_v)), strict=True):
        beside_v = min((float(battery.mean_v[n]) for n in (first - 1, past) if 0 <= n < len(start_s)), default=0.0)
        if beside_v <= gone_v:
            continue
        lacking_s = float((np.clip(1.0 - battery.mean_v[first:past] / beside_v, 0.0, 1.0) * span_s[first:past]).sum())
        if lacking_s >= view.limits["dropout_min_s"] / 2.0:
            return float(start_s[first])
    return None


@dataclass(frozen=True, slots=True)
class _Windows:
    """Windows of bins, one for each bin: indices of the first and behind the last, shapes (n,); widths in seconds (n,)."""

    first: IntArray
    past: IntArray
    weight_s: FloatArray

    def means(self, volts: FloatArray) -> FloatArray:
        """Mean of `volts` (n,) over each window, weighted by time."""
        summed = np.concatenate(([0.0], np.cumsum(volts * self.weight_s)))
        time = np.concatenate(([0.0], np.cumsum(self.weight_s)))
        return np.asarray((summed[self.past] - summed[self.first]) / (time[self.past] - time[self.first]))


def _windows(view: View, span_s: float, *, ahead: bool) -> _Windows:
    """Of `span_s` from each bin on, or up to it (not included), cut at the recording's ends."""
    start_s, end_s = view.trace.start_s, view.trace.end_s
    here = np.arange(len(start_s))
    if ahead:
        first, past = here, np.maximum(np.searchsorted(start_s, start_s + span_s - 1e-9), here + 1)
    else:
        first = np.minimum(np.searchsorted(end_s, start_s - span_s + 1e-9, side="right"), np.maximum(here - 1, 0))
        past = np.maximum(here, first + 1)
    return _Windows(first, past, np.maximum(end_s - start_s, 1e-12))


def _common_step(view: View, ahead: _Windows) -> float | None:
    """Time at which all leads, one of them dead before, step by the same voltage and stay there."""
    th = view.th.evidence
    if len(view.trace.channels) < 2 or len(view.trace) < 3:
        return None
    volts = [c.mean_v for c in view.trace.channels.values()]
    back = _windows(view, th.step_lasts_s, ahead=False)
    first_step = np.abs(ahead.means(volts[0]) - back.means(volts[0])) > 0.5 * th.step_v
    candidates = np.flatnonzero(first_step & ~_busy(view))
    if not len(candidates):
        return None
    before, after = (np.vstack([window.means(v) for v in volts])[:, candidates] for window in (back, ahead))
    step = after - before
    parts = [_windows(view, k / EDGES.step_parts * th.step_lasts_s, ahead=True) for k in range(1, EDGES.step_parts)]
    means = [np.vstack([part.means(v) for v in volts])[:, candidates] for part in parts] + [after]
    ends = [np.zeros_like(after), *((k + 1) * mean for k, mean in enumerate(means))]
    quarters = [late - early - before for early, late in pairwise(ends)]  # a pulse shorter than the time is none
    big = np.min([np.abs(quarter) for quarter in quarters], axis=(0, 1)) > th.step_v
    alike = np.ptp(step, axis=0) < th.step_alike * np.abs(step).max(axis=0)
    moved = (np.abs(before).min(axis=0) < th.step_dead_v) & big & alike
    at = candidates[moved]
    return float(view.trace.start_s[at[0]]) if len(at) else None


def _busy(view: View) -> BoolArray:
    """Bins in which key and starter move several leads at once, shape (n,)."""
    busy = np.zeros(len(view.trace), dtype=bool)
    borders = [crank.start_s for crank in view.cranks] + [crank.end_s for crank in view.cranks]
    borders += [t for t in (view.on_s, view.off_s) if t is not None]
    for edge_s in borders:
        busy |= np.abs(view.trace.start_s - edge_s) < view.th.evidence.step_clear_s
    return busy


def own_key(view: View) -> Finding:
    """Only the vehicle's own key or start button tests the switch's START contacts."""
    if view.context.cranked_with_key is False:
        why = "cranked by a remote switch or jumper: the ignition switch's START contacts were not tested"
        return lacking(CheckId.OWN_KEY, why)
    return shown(
        CheckId.OWN_KEY, "cranked with the vehicle's own key" + ("" if view.context.cranked_with_key else " (not asked)")
    )


def module_plugged(view: View) -> Finding:
    """An unplugged module draws nothing, so a poor contact shows no drop."""
    if view.context.module_plugged_in is False:
        why = "the engine module was unplugged: a poor contact shows no drop without its load"
        return lacking(CheckId.MODULE_PLUGGED, why)
    return shown(CheckId.MODULE_PLUGGED, "module plugged in" + ("" if view.context.module_plugged_in else " (not asked)"))
