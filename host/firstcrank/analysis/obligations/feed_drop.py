"""Obligations on the drop from the source to the module's plug: worst half second, worst 10 ms, never above its source."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from firstcrank.analysis.feed import u_of_drop
from firstcrank.analysis.finding import compared
from firstcrank.analysis.intervals import BoolArray, runs_of, window_means
from firstcrank.analysis.obligations.feed_losses import WHERE
from firstcrank.analysis.obligations.recording import lacking
from firstcrank.analysis.travel import Lies, windows_of
from firstcrank.analysis.view import View
from firstcrank.model.judgement import Finding, Interval
from firstcrank.model.measured import Measured
from firstcrank.model.vocabulary import CheckId, Result
from firstcrank.thresholds.edges import EDGES
from firstcrank.trace import FloatArray, IntArray
from firstcrank.units import format_duration, format_voltage

UP_TO_A_BIN = 1e-9


@dataclass(frozen=True, slots=True)
class DropWindows:
    """Sliding means of source less feed over one length, for windows wholly of live time.

    Arrays over the m chosen bins: `mean_v` (NaN where no whole window begins), `bins` their indices, `past` behind each
    window's last (into `bins`), `middle_s` of each window. `firm`: the same without the losses of which it can't be told whether
    they count, None where there are none.
    """

    mean_v: FloatArray
    bins: IntArray
    past: IntArray
    middle_s: FloatArray
    firm: DropWindows | None = None


def fail_limit_v(view: View) -> float:
    """The steady drop that fails, by the kind of feed."""
    return view.limits["feed_drop_loaded_fail_v" if view.context.feed_kind == "loaded" else "feed_drop_fail_v"]


def judged_bins(view: View) -> BoolArray:
    """Bins from ON + settle to OFF, tolerated bounces left out, shape (n,)."""
    chosen = view.live() & ~view.tolerated_bins()
    for on in [*([view.key.on] if view.key.on else []), *(off.on for off in view.key.between)]:
        chosen &= (view.trace.end_s <= on.early_s) | (view.trace.start_s >= on.late_s + view.th.key.settle_s)
    return chosen


def drop_windows(view: View, window_s: float) -> DropWindows:
    """Every window of `window_s` of live time; low samples are in it, holes are not bridged."""
    judged = judged_bins(view)
    doubtful = view.undecided_bins()
    all_of = _windows(view, np.flatnonzero(judged), window_s)
    if not (doubtful & judged).any():
        return all_of
    firm = _windows(view, np.flatnonzero(judged & ~doubtful), window_s)
    return replace(all_of, firm=firm)


def _windows(view: View, bins: IntArray, window_s: float) -> DropWindows:
    trace = view.trace
    span_s = (trace.end_s - trace.start_s)[bins]
    mean_v, past = window_means(view.feed.drop_v[bins], span_s, window_s)
    last = bins[np.maximum(past - 1, 0)] if len(bins) else bins
    taken_s = trace.end_s[last] - trace.start_s[bins]
    slack_s = view.limits["turn_bounce_max_s"] + 2 * view.limits["dropout_min_s"] + (span_s if len(bins) else 0.0)
    mean_v = np.where(taken_s <= window_s + slack_s, mean_v, np.nan)
    return DropWindows(mean_v, bins, past, trace.start_s[bins] + 0.5 * taken_s)


def _worst(windows: DropWindows, interval: Interval, sign: float = 1.0) -> int | None:
    inside = (windows.middle_s >= interval.start_s) & (windows.middle_s < interval.end_s) & np.isfinite(windows.mean_v)
    if not inside.any():
        return None
    candidates = np.flatnonzero(inside)
    return int(candidates[np.argmax(sign * windows.mean_v[candidates])])


def _measured(view: View, windows: DropWindows, at: int, sign: float = 1.0) -> Measured:
    bins = windows.bins[at : windows.past[at]]
    span_s = (view.trace.end_s - view.trace.start_s)[bins]
    source_v = float(np.average(view.feed.source_v[bins], weights=span_s))
    feed_v = float(np.average(view.feed.mean_v[bins], weights=span_s))
    u_v = u_of_drop(view.trace, view.feed, source_v, feed_v, float(view.trace.conversions[bins].sum()))
    return Measured(sign * (source_v - feed_v), u_v, "V")


def _clipped(view: View, windows: DropWindows, at: int) -> bool:
    bins = windows.bins[at : windows.past[at]]
    for role in (view.feed.source_role, "key_switch"):
        channel = view.trace.channels[role]
        if channel.full_scale_v is not None and bool(
            (channel.highest_v[bins] >= channel.full_scale_v * view.th.evidence.full_scale_share).any()
        ):
            return True
    return False


def steady(view: View, interval: Interval, windows: DropWindows) -> Finding:
    """Worst mean over half a second whose middle lies in this phase."""
    check = CheckId.FEED_DROP_STEADY
    at = _worst(windows, interval)
    if at is None:
        return _none(view, check, interval, windows, view.th.feed.steady_s)
    finding = _graded(view, check, interval, fail_limit_v(view), windows, at, "steady", view.limits["feed_drop_warn_v"])
    return _firm(view, finding, interval, fail_limit_v(view), windows, "steady")


def brief(view: View, interval: Interval, windows: DropWindows) -> Finding:
    """Worst mean over 10 ms in this phase; a bounce's worth of it is tolerated while the key travels."""
    check = CheckId.FEED_DROP_BRIEF
    at = _worst(windows, interval)
    if at is None:
        return _none(view, check, interval, windows, view.th.feed.brief_s)
    limit_v = view.limits["feed_drop_brief_fail_v"]
    finding = _graded(view, check, interval, limit_v, windows, at, "brief", None)
    finding = _firm(view, finding, interval, limit_v, windows, "brief")
    if finding.result in (Result.FAIL, Result.UNDECIDED):
        return _in_travel(view, interval, finding, limit_v)
    return _beyond_bounce(view, interval, finding, limit_v)


def _beyond_bounce(view: View, interval: Interval, finding: Finding, limit_v: float) -> Finding:
    """A tolerated bounce is left out of the drop: only while the drop around it lasts no longer than a bounce may, either."""
    allowed_s = view.limits["turn_bounce_max_s"]
    tolerated = view.tolerated_bins()
    judged = judged_bins(view) | tolerated
    for first, past in zip(*runs_of(tolerated), strict=True):
        middle_s = 0.5 * float(view.trace.start_s[first] + view.trace.end_s[past - 1])
        if not interval.start_s <= middle_s < interval.end_s:
            continue
        least_s, likely_s = _excursion_s(view, int(first), int(past), limit_v, judged)
        if likely_s <= EDGES.nearly * allowed_s:
            continue
        text = f"a drop over {format_voltage(limit_v)} for {format_duration(likely_s)} around a bounce {WHERE[interval.name]}"
        if least_s > allowed_s:
            result, more = Result.FAIL, f": longer than the {format_duration(allowed_s)} allowed while the key travels"
        else:
            result, more = Result.UNDECIDED, ": it may or may not be a bounce of the key's travel"
        return replace(finding, result=result, reason=text + more, at_s=float(view.trace.start_s[first]), conformance=None)
    return finding


def _excursion_s(view: View, first: int, past: int, limit_v: float, judged: BoolArray) -> tuple[float, float]:
    """How long the drop stays over `limit_v` around bins `first` to `past`: at least, and likely, seconds.

    Of a bin whose drop has the mean m, the lowest lo and the highest hi at least (m - limit) / (hi - limit) lies over the limit,
    and likely (m - lo) / (hi - lo): two levels.
    """
    feed = view.feed
    hi_v, lo_v = feed.source_v - feed.lowest_v, np.maximum(feed.source_v - feed.highest_v, 0.0)
    may = (hi_v > limit_v) & judged
    while first > 0 and may[first - 1]:
        first -= 1
    while past < len(may) and may[past]:
        past += 1
    chosen = slice(first, past)
    span_s = (view.trace.end_s - view.trace.start_s)[chosen]
    mean_v, hi_v, lo_v = feed.drop_v[chosen], hi_v[chosen], lo_v[chosen]
    over, whole = hi_v > limit_v, lo_v >= limit_v
    least = np.where(whole, 1.0, np.clip((mean_v - limit_v) / np.maximum(hi_v - limit_v, 1e-9), 0.0, 1.0))
    likely = np.where(whole, 1.0, np.clip((mean_v - lo_v) / np.maximum(hi_v - lo_v, 1e-9), 0.0, 1.0))
    return float((span_s * least)[over].sum()), float((span_s * likely)[over].sum())


def _firm(view: View, finding: Finding, interval: Interval, limit_v: float, windows: DropWindows, kind: str) -> Finding:
    """A drop that fails only through a loss of which it can't be told whether it counts is undecided with it."""
    if finding.result is not Result.FAIL or windows.firm is None:
        return finding
    at = _worst(windows.firm, interval)
    firm = None if at is None else _graded(view, finding.check, interval, limit_v, windows.firm, at, kind, None)
    if firm is not None and firm.result is Result.FAIL:
        return firm
    return replace(finding, result=Result.UNDECIDED, reason=f"{finding.reason}, with a loss that may not count")


def _in_travel(view: View, interval: Interval, finding: Finding, limit_v: float) -> Finding:
    """One rule of duration while the key travels: an excursion as short as a bounce is one, however deep."""
    at_s = finding.at_s if finding.at_s is not None else interval.start_s
    near = view.within(at_s - EDGES.travel_reach_s, at_s + EDGES.travel_reach_s) & ~view.tolerated_bins()
    surely = near & (view.feed.drop_v > limit_v)
    maybe = near & (view.feed.lowest_v < view.feed.source_v - limit_v)
    least_s, most_s = (_span_s(view, chosen) for chosen in (surely, maybe | surely))
    allowed_s = view.limits["turn_bounce_max_s"]
    if not (maybe | surely).any() or least_s > allowed_s:
        return finding
    at = np.flatnonzero(maybe | surely)
    start_s, end_s = float(view.trace.start_s[at[0]]), float(view.trace.end_s[at[-1]])
    lies = [w.lies(start_s, end_s) for w in windows_of(view.crank_intervals, view.key, view.th.key)]
    if all(where is Lies.OUTSIDE for where in lies):
        return finding
    inside = Lies.INSIDE in lies and most_s <= allowed_s
    text = f"a drop over {format_voltage(limit_v)} for {format_duration(most_s)} {WHERE[interval.name]}"
    more = ": a bounce of the key's travel" if inside else ": it may or may not be a bounce of the key's travel"
    return replace(
        finding,
        result=Result.WARN if inside else Result.UNDECIDED,
        reason=text + more,
        at_s=start_s,
        tolerated=text if inside else "",
    )


def _span_s(view: View, chosen: BoolArray) -> float:
    at = np.flatnonzero(chosen)
    return float(view.trace.end_s[at[-1]] - view.trace.start_s[at[0]]) if len(at) else 0.0


def above_source(view: View, interval: Interval, windows: DropWindows) -> Finding:
    """A feed above its source has another one, or the leads are exchanged: its drop then means nothing."""
    check = CheckId.FEED_ABOVE_SOURCE
    at = _worst(windows, interval, -1.0)
    if at is None:
        return _none(view, check, interval, windows, view.th.feed.steady_s)
    above = _measured(view, windows, at, -1.0)
    text = f"the feed reads {format_voltage(above.value)} above its source {WHERE[interval.name]}"
    limit_v = view.th.feed.above_source_v + above.expanded
    if above.value <= limit_v:
        return Finding(
            check,
            Result.PASS,
            f"the feed is not above its source {WHERE[interval.name]}",
            above,
            limit_v,
            None,
            interval.name,
            interval.crank,
        )
    text += ": leads exchanged, or fed from another battery (clip a lead on that post and name it feed_source)"
    return Finding(check, Result.UNDECIDED, text, above, limit_v, interval.start_s, interval.name, interval.crank)


def _none(view: View, check: CheckId, interval: Interval, windows: DropWindows, window_s: float) -> Finding:
    """No whole window has its middle here: fine for a phase shorter than half a window, else the drop was not shown."""
    judged = judged_bins(view) & view.within(interval.start_s, interval.end_s)
    live_s = float((view.trace.end_s - view.trace.start_s)[judged].sum())
    if live_s <= 0.5 * window_s + view.limits["turn_bounce_max_s"] + UP_TO_A_BIN:
        text = f"{WHERE[interval.name]}: shorter than half of {window_s:g} s, the phases beside it cover it"
        return Finding(check, Result.PASS, text, phase=interval.name, crank=interval.crank)
    why = f"the drop was not shown for {window_s:g} s without a break {WHERE[interval.name]}"
    return lacking(check, why, at_s=interval.start_s, crank=interval.crank)


def _graded(
    view: View,
    check: CheckId,
    interval: Interval,
    fail_v: float,
    windows: DropWindows,
    at: int,
    kind: str,
    warn_v: float | None,
) -> Finding:
    drop = _measured(view, windows, at)
    at_s = float(view.trace.start_s[windows.bins[at]])
    text = f"{kind} drop {format_voltage(drop.value)} ± {format_voltage(drop.expanded)} {WHERE[interval.name]} at {at_s:.2f} s"
    finding = compared(check, drop, text, below=fail_v, at_s=at_s, phase=interval.name, crank=interval.crank)
    result = finding.result
    if result is not Result.PASS and _clipped(view, windows, at):
        result, text = Result.UNDECIDED, text + ": a lead stands at the top of its range there"
    elif result is Result.UNDECIDED:
        exact = "exactly at" if abs(drop.value - fail_v) < 5e-4 else "too close to"
        text += f": {exact} the limit of {format_voltage(fail_v)} to tell"
    elif result is Result.FAIL:
        text += f", limit {format_voltage(fail_v)}"
    elif warn_v is not None and drop.value + drop.expanded >= warn_v:
        result, text = Result.WARN, text + f", limit {format_voltage(warn_v)}"
    return Finding(check, result, text, drop, fail_v, at_s, interval.name, interval.crank, finding.conformance)
