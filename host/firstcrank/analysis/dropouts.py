"""Dropouts of the key feed: stretches below the module's minimum voltage, with bounds on how long they lasted.

A bin knows its lowest and highest conversion, and (from our own board) the runs of conversions below the trigger that
touch its ends. Those runs join over bin borders, so a duration is known to two conversions. Without runs the bounds
come from the bin's mean: with a share f of the bin below the limit L, low <= (part below) < L <= (part above) <= high
gives (L - mean) / (L - low) <= f <= (high - mean) / (high - L).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from firstcrank.analysis.close_up_edges import edge_near
from firstcrank.analysis.findings import Dropout, Phase
from firstcrank.analysis.phases import phase_at
from firstcrank.analysis.view import BoolArray, Feed
from firstcrank.limits import Limits
from firstcrank.trace import CloseUp, FloatArray, IntArray, KeyRuns, Trace

MERGED_SHARE = 0.5  # two dropouts are one only if the feed was below for at least this share of the whole
TRIGGER_NEAR_V = 0.01  # two codes; runs counted at another voltage than the limit say nothing about the limit


@dataclass(frozen=True, slots=True)
class Below:
    """One stretch below the limit before it is named: times in seconds, `below_s` the time spent below in it."""

    start_s: float
    low_s: float
    best_s: float
    high_s: float
    below_s: float
    lowest_v: float


def find_dropouts(
    trace: Trace, feed: Feed, limits: Limits, phases: tuple[Phase, ...], live_from_s: float, live_to_s: float
) -> tuple[Dropout, ...]:
    """Every dropout that begins between the feed's first rise and the key going off, in time order."""
    minimum_v = limits["module_minimum_v"]
    runs = usable_runs(trace, feed, minimum_v)
    belows = _from_runs(trace, feed, minimum_v, runs) if runs else _from_bins(trace, feed, minimum_v)
    inside = [b for b in belows if live_from_s < b.start_s < live_to_s - 1e-9]
    merged = _merge([_sharpened(b, trace.close_ups, minimum_v) for b in inside], limits["dropout_min_s"])
    return tuple(
        Dropout(
            role="key_switch",
            phase=phase_at(phases, b.start_s, b.start_s + b.best_s),
            start_s=b.start_s,
            duration_s=b.best_s,
            duration_low_s=b.low_s,
            duration_high_s=b.high_s,
            lowest_v=b.lowest_v,
            counts=b.best_s >= limits["dropout_min_s"],
        )
        for b in merged
    )


def usable_runs(trace: Trace, feed: Feed, minimum_v: float) -> KeyRuns | None:
    """The trace's runs where they speak of this limit; for single samples (a CSV) runs made here; else None."""
    if trace.runs is not None and abs(trace.runs.trigger_v - minimum_v) <= TRIGGER_NEAR_V:
        if feed.against == "battery negative":
            return trace.runs
    elif len(trace) and int(trace.conversions.max()) == 1:
        below = (feed.mean_v < minimum_v).astype(np.int64)
        return KeyRuns(minimum_v, below, below, below)
    return None


def _touched(trace: Trace, feed: Feed, minimum_v: float, runs: KeyRuns | None) -> BoolArray:
    touched = feed.lowest_v < minimum_v
    return touched if runs is None else touched | (runs.longest > 0)


def _from_runs(trace: Trace, feed: Feed, minimum_v: float, runs: KeyRuns) -> list[Below]:
    found: list[Below] = []
    open_run: _Run | None = None
    previous = -2
    for i in np.flatnonzero(_touched(trace, feed, minimum_v, runs)).tolist():
        step_s, grain_s = _grain(trace, i)
        begin_s, lowest_v = float(trace.start_s[i]), float(feed.lowest_v[i])
        head, tail, longest = (int(a[i]) for a in (runs.head, runs.tail, runs.longest))
        joined = previous == i - 1 and begin_s - float(trace.end_s[i - 1]) < grain_s
        if open_run is not None and not (joined and head > 0):
            found.append(_closed(open_run, grain_s))
            open_run = None
        if head >= trace.conversions[i]:
            span_s = float(trace.end_s[i]) - begin_s
            open_run = (open_run or _Run(begin_s, 0.0, 0.0, lowest_v)).with_more(span_s, span_s + grain_s - step_s, lowest_v)
        else:
            if head > 0:
                run = open_run or _Run(begin_s, 0.0, 0.0, lowest_v)
                found.append(_closed(run.with_more(head * step_s, head * grain_s, lowest_v), grain_s))
            open_run = None
            if longest > max(head, tail):
                middle_s = begin_s + (head + 1) * step_s
                found.append(_closed(_Run(middle_s, longest * step_s, longest * grain_s, lowest_v), grain_s))
            if tail > 0:
                open_run = _Run(float(trace.end_s[i]) - tail * step_s, tail * step_s, tail * grain_s, lowest_v)
        previous = i
    if open_run is not None:
        found.append(_closed(open_run, _grain(trace, previous)[1]))
    return sorted(found, key=lambda b: b.start_s)


@dataclass(frozen=True, slots=True)
class _Run:
    """Looks below the limit, one after another: `below_s` at the bins' usual step, `most_s` at their coarsest, seconds."""

    start_s: float
    below_s: float
    most_s: float
    lowest_v: float

    def with_more(self, below_s: float, most_s: float, lowest_v: float) -> _Run:
        return _Run(self.start_s, self.below_s + below_s, self.most_s + most_s, min(self.lowest_v, lowest_v))


def _grain(trace: Trace, i: int) -> tuple[float, float]:
    """Time per conversion in bin i, and the coarsest step between two looks there, seconds."""
    step_s = float(trace.end_s[i] - trace.start_s[i]) / max(int(trace.conversions[i]), 1)
    return step_s, max(step_s, float(trace.gap_s[i]))


def _closed(run: _Run, grain_s: float) -> Below:
    """n looks below lie within less than n + 1 of the coarsest steps: looks may be spaced unevenly."""
    below_s = run.below_s
    return Below(run.start_s, max(below_s - grain_s, 0.0), below_s, run.most_s + grain_s, below_s, run.lowest_v)


def _from_bins(trace: Trace, feed: Feed, minimum_v: float) -> list[Below]:
    touched = np.flatnonzero(feed.lowest_v < minimum_v)
    if not len(touched):
        return []
    span_s = trace.end_s - trace.start_s
    least, most = _share_below(feed, minimum_v)
    found: list[Below] = []
    gap_after = np.concatenate((trace.start_s[touched[1:]] - trace.end_s[touched[:-1]] > 1e-9, [True]))
    first = 0
    for k in np.flatnonzero(gap_after).tolist():
        group = touched[first : k + 1]
        first = k + 1
        whole = feed.highest_v[group] < minimum_v
        found += _split_group(trace, feed, group, whole, least, most, span_s)
    return found


def _split_group(
    trace: Trace, feed: Feed, group: IntArray, whole: BoolArray, least: FloatArray, most: FloatArray, span_s: FloatArray
) -> list[Below]:
    """Touched neighbours as stretches: partial bins join only to bins that are wholly below."""
    found: list[Below] = []
    k = 0
    while k < len(group):
        members = [k]
        if whole[k] or (k + 1 < len(group) and whole[k + 1]):
            while k + 1 < len(group) and (whole[k + 1] or whole[k]):
                k += 1
                members.append(k)
        chosen = group[members]
        inside_s = float((span_s[chosen] * whole[members]).sum())
        edge = chosen[~whole[members]]
        below_low_s = inside_s + (float((span_s[edge] * least[edge]).sum()) if inside_s else 0.0)
        high_s = inside_s + float((span_s[edge] * most[edge]).sum()) + 2 * float(trace.gap_s[chosen].max())
        at = int(chosen[0])
        start_s = float(trace.start_s[at]) if whole[members[0]] else float(trace.end_s[at] - span_s[at] * most[at])
        best_s = 0.5 * (below_low_s + high_s)
        found.append(Below(start_s, below_low_s, best_s, high_s, best_s, float(feed.lowest_v[chosen].min())))
        k += 1
    return found


def _share_below(feed: Feed, minimum_v: float) -> tuple[FloatArray, FloatArray]:
    """Least and most share of each bin that can lie below the limit, shapes (n,), 0 to 1."""
    with np.errstate(divide="ignore", invalid="ignore"):
        least = (minimum_v - feed.mean_v) / (minimum_v - feed.lowest_v)
        most = (feed.highest_v - feed.mean_v) / (feed.highest_v - minimum_v)
    least = np.where(feed.lowest_v < minimum_v, np.clip(np.nan_to_num(least), 0.0, 1.0), 0.0)
    most = np.where(feed.highest_v > minimum_v, np.clip(np.nan_to_num(most, nan=1.0), 0.0, 1.0), 1.0)
    return least, np.where(feed.lowest_v < minimum_v, most, 0.0)


def _sharpened(below: Below, close_ups: tuple[CloseUp, ...], minimum_v: float) -> Below:
    """Start and end from close-ups of both edges where the board sent them."""
    fall = edge_near(close_ups, True, below.start_s, minimum_v)
    rise = edge_near(close_ups, False, below.start_s + below.best_s, minimum_v)
    if fall is None or rise is None or rise[0] <= fall[0]:
        return below
    duration_s = rise[0] - fall[0]
    grain_s = max(fall[1], rise[1])
    return replace(
        below,
        start_s=fall[0],
        low_s=max(duration_s - grain_s, 0.0),
        best_s=duration_s,
        high_s=duration_s + grain_s,
        below_s=min(below.below_s, duration_s),
    )


def _merge(belows: list[Below], shortest_s: float) -> list[Below]:
    """Recoveries shorter than the shortest dropout that counts make two dropouts one, unless the feed was mostly up."""
    merged: list[Below] = []
    for below in belows:
        if merged:
            last = merged[-1]
            recovery_s = below.start_s - (last.start_s + last.best_s)
            whole_s = below.start_s + below.best_s - last.start_s
            below_s = last.below_s + below.below_s
            if recovery_s < shortest_s and below_s >= MERGED_SHARE * whole_s:
                spread_s = (last.high_s - last.low_s + below.high_s - below.low_s) / 2
                beyond_s = max(last.high_s - last.best_s + below.high_s - below.best_s, spread_s)
                merged[-1] = Below(
                    last.start_s,
                    max(whole_s - spread_s, 0.0),
                    whole_s,
                    whole_s + beyond_s,
                    below_s,
                    min(last.lowest_v, below.lowest_v),
                )
                continue
        merged.append(below)
    return merged


def total_below_s(trace: Trace, feed: Feed, minimum_v: float, chosen: BoolArray) -> tuple[float, float]:
    """Least and most time in chosen bins spent below the limit, seconds: from the bins' means, whatever the order."""
    least, most = _share_below(feed, minimum_v)
    span_s = trace.end_s - trace.start_s
    return float((span_s * least)[chosen].sum()), float((span_s * most)[chosen].sum())
