"""Whether the engine ran by itself after a crank: by the person's answer, or by what the battery showed.

Seen, it takes all of this, with a starter lead, because an aborted crank with a charger joined looks much the same: the battery
rises gradually while the starter is still in (the engine takes over), the rhythm of compressions ends, and afterwards the battery
is charged above its rest for the whole time that running by itself must show. A charger reported or seen at rest voids it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from firstcrank.analysis.grid import resampled, smoothed

if TYPE_CHECKING:
    from firstcrank.analysis.view import View

REPORTED = "reported by the user"
SEEN = "seen: it took over while the starter was in, and the battery was charged afterwards"


def ran_on(view: View, index: int) -> str:
    """What shows that the engine ran after crank `index` (from 0); empty where nothing does."""
    answer = view.context.engine_running
    last = index == len(view.cranks) - 1
    if answer is False or view.context.charger_connected:
        return ""
    if answer is True and last:
        return REPORTED
    if not last or not view.found.intervals[index].by_lead or view.rest_v > view.limits["battery_rest_charger_v"]:
        return ""
    return SEEN if _took_over(view, index) and _charged(view, index) else ""


def _took_over(view: View, index: int) -> bool:
    """The battery's mean wins back a share of the sag before the release, in no step, and its swing dies away."""
    th, crank = view.th.running, view.found.intervals[index]
    begin_s = crank.sag_s if crank.sag_s is not None else crank.start_s
    inside = view.within(begin_s + view.th.crank.settle_s, crank.end_s - th.crank_end_s)
    before = view.within(begin_s - view.th.crank.level_s, begin_s)
    if inside.sum() < th.least_bins or not before.any():
        return False
    battery = view.trace.channels["battery"].mean_v
    at_s, raw_v = resampled(view.trace.mid_s[inside], battery[inside])
    late = at_s > at_s[-1] - th.takeover_s
    early = at_s < at_s[0] + 0.5 * (at_s[-1] - at_s[0])
    if late.sum() < 8 or early.sum() < 8:
        return False
    level_v, crank_v, end_v = (float(np.median(v)) for v in (battery[before], raw_v[early], raw_v[late]))
    sag_v = level_v - crank_v
    if sag_v <= 0 or end_v - crank_v < th.takeover_share * sag_v:
        return False
    width = max(round(view.th.crank.step_s * view.th.crank.grid_hz), 1)
    fastest_v = float((raw_v[width:] - raw_v[:-width]).max())
    if fastest_v > th.takeover_step * (end_v - crank_v):
        return False
    flat = raw_v - smoothed(raw_v, max(round(th.flat_s * view.th.crank.grid_hz), 3))
    return float(np.std(flat[late])) < th.quiet_share * float(np.std(flat[early]))


def _charged(view: View, index: int) -> bool:
    """Charged above its rest from soon after the release until the end of the watch that running must show."""
    th, crank = view.th.running, view.found.intervals[index]
    until_s = crank.end.late_s + view.limits["run_on_s"]
    stop_s = min(view.live_to_s, float(view.trace.end_s[-1]))
    if stop_s < until_s - view.th.evidence.hole_slack_s:
        return False
    volts = view.trace.channels["battery"].mean_v
    charged_v = max(view.rest_v + th.charged_above_rest_v, th.charged_v)
    from_s = min(crank.end.late_s + th.charged_within_s, stop_s - th.watch_end_s)
    late = view.within(from_s, stop_s)
    return bool(late.any() and (volts[late] > charged_v).mean() >= th.charged_share)
