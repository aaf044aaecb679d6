"""Stretches of the key feed below the module's minimum, with bounds on how long they lasted.

A bin knows its lowest and highest conversion, and (from our own board) the runs of conversions below the trigger that
touch its ends. Those runs join over bin borders, so a duration is known to two conversions. Without runs the bounds
come from the bin's mean: with a share f of the bin below the limit L, low <= (part below) < L <= (part above) <= high
give (L - mean) / (L - low) <= f <= (high - mean) / (high - L).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from firstcrank.analysis.close_up_edges import edge_near
from firstcrank.analysis.feed import Feed
from firstcrank.analysis.intervals import BoolArray
from firstcrank.thresholds import FeedThresholds
from firstcrank.trace import CloseUp, FloatArray, IntArray, KeyRuns, Trace


@dataclass(frozen=True, slots=True)
class LowInterval:
    """One stretch below the limit: times in seconds, `below_s` the time spent below in it.

    `low_s` and `high_s` bound its duration, `best_s` is the estimate.
    """

    start_s: float
    low_s: float
    best_s: float
    high_s: float
    below_s: float
    lowest_v: float

    @property
    def end_s(self) -> float:
        """By the best estimate."""
        return self.start_s + self.best_s

    @property
    def slack_s(self) -> float:
        """How far either end may be off."""
        return max(self.high_s - self.best_s, 0.0)


def find_low(
    trace: Trace, feed: Feed, minimum_v: float, shortest_s: float, from_s: float, to_s: float, th: FeedThresholds
) -> tuple[LowInterval, ...]:
    """Every stretch below `minimum_v` that touches the time from `from_s` to `to_s`, in time order, cut to that time."""
    runs = usable_runs(trace, feed, minimum_v, th)
    first = max(int(np.searchsorted(trace.end_s, from_s)) - 1, 0)
    past = min(int(np.searchsorted(trace.start_s, to_s)) + 1, len(trace))
    near = slice(first, past)
    found = _from_runs(trace, feed, minimum_v, runs, near) if runs else _from_bins(trace, feed, minimum_v)
    inside = [_cut(b, from_s, to_s) for b in found if b.end_s > from_s and b.start_s < to_s]
    recovery_s = max(th.merged_s, th.merged_gaps * float(np.median(trace.gap_s[near])) if past > first else 0.0)
    return tuple(_merge([_sharpened(b, trace.close_ups, minimum_v) for b in inside], min(recovery_s, shortest_s), th))


def _cut(low: LowInterval, from_s: float, to_s: float) -> LowInterval:
    start_s, end_s = max(low.start_s, from_s), min(low.end_s, to_s)
    lost_s = low.best_s - (end_s - start_s)
    if lost_s <= 0:
        return low
    return LowInterval(
        start_s,
        max(low.low_s - lost_s, 0.0),
        low.best_s - lost_s,
        max(low.high_s - lost_s, 0.0),
        max(low.below_s - lost_s, 0.0),
        low.lowest_v,
    )


def usable_runs(trace: Trace, feed: Feed, minimum_v: float, th: FeedThresholds) -> KeyRuns | None:
    """The trace's runs where they speak of this limit; for single samples (a CSV) runs made here; else None."""
    if len(trace) and int(trace.conversions.max()) == 1:
        below = (feed.lowest_v < minimum_v).astype(np.int64)
        return KeyRuns(minimum_v, below, below, below)
    if trace.runs is not None and abs(trace.runs.trigger_v - minimum_v) <= th.trigger_near_v and not feed.by_ground:
        return trace.runs
    return None


def _touched(feed: Feed, minimum_v: float, runs: KeyRuns) -> BoolArray:
    return (feed.lowest_v < minimum_v) | (runs.longest > 0)


@dataclass(frozen=True, slots=True)
class _Run:
    """Consecutive samples below the limit: `below_s` at the bins' usual step, `most_s` at their longest pause, seconds.

    `before_s`: the longest time that may have passed between the last sample before it and its first.
    """

    start_s: float
    below_s: float
    most_s: float
    lowest_v: float
    before_s: float

    def with_more(self, below_s: float, most_s: float, lowest_v: float) -> _Run:
        return replace(self, below_s=self.below_s + below_s, most_s=self.most_s + most_s, lowest_v=min(self.lowest_v, lowest_v))


def _from_runs(trace: Trace, feed: Feed, minimum_v: float, runs: KeyRuns, near: slice[int, int, int]) -> list[LowInterval]:
    found: list[LowInterval] = []
    open_run: _Run | None = None
    previous = -2
    for i in (np.flatnonzero(_touched(feed, minimum_v, runs)[near]) + near.start).tolist():
        step_s, grain_s = _grain(trace, i)
        begin_s, lowest_v = float(trace.start_s[i]), float(feed.lowest_v[i])
        head, tail, longest = (int(a[i]) for a in (runs.head, runs.tail, runs.longest))
        joined = previous == i - 1 and begin_s - float(trace.end_s[i - 1]) < grain_s
        if open_run is not None and not (joined and head > 0):
            found.append(_closed(open_run, _pause_after(trace, previous)))
            open_run = None
        entering_s = _pause_before(trace, i)
        if head >= trace.conversions[i]:
            span_s = float(trace.end_s[i]) - begin_s
            open_run = (open_run or _Run(begin_s, 0.0, 0.0, lowest_v, entering_s)).with_more(
                span_s, span_s + grain_s - step_s, lowest_v
            )
        else:
            if head > 0:
                run = open_run or _Run(begin_s, 0.0, 0.0, lowest_v, entering_s)
                found.append(_closed(run.with_more(head * step_s, head * grain_s, lowest_v), grain_s))
            open_run = None
            if longest > max(head, tail):
                middle_s = begin_s + (head + 1) * step_s
                found.append(_closed(_Run(middle_s, longest * step_s, longest * grain_s, lowest_v, grain_s), grain_s))
            if tail > 0:
                open_run = _Run(float(trace.end_s[i]) - tail * step_s, tail * step_s, tail * grain_s, lowest_v, grain_s)
        previous = i
    if open_run is not None:
        found.append(_closed(open_run, _pause_after(trace, previous)))
    return sorted(found, key=lambda b: b.start_s)


def _grain(trace: Trace, i: int) -> tuple[float, float]:
    """Time per conversion in bin i, and the longest pause between two samples there, seconds."""
    step_s = float(trace.end_s[i] - trace.start_s[i]) / max(int(trace.conversions[i]), 1)
    return step_s, max(step_s, float(trace.gap_s[i]))


def _pause_before(trace: Trace, i: int) -> float:
    """Longest time between the last sample of bin i - 1 and the first of bin i."""
    if i == 0:
        return _grain(trace, i)[1]
    return _grain(trace, i - 1)[1] + max(float(trace.start_s[i] - trace.end_s[i - 1]), 0.0)


def _pause_after(trace: Trace, i: int) -> float:
    """Longest time between the last sample of bin i and the first of bin i + 1."""
    after = i + 1 < len(trace)
    return _grain(trace, i)[1] + (max(float(trace.start_s[i + 1] - trace.end_s[i]), 0.0) if after else 0.0)


def _closed(run: _Run, after_s: float) -> LowInterval:
    """n samples below lie at least n - 1 steps apart; the feed may have been low through the pauses at both ends."""
    count_pause_s = max(run.before_s, after_s)
    least_s = max(run.below_s - count_pause_s, 0.0)
    return LowInterval(run.start_s, least_s, run.below_s, run.most_s + count_pause_s, run.below_s, run.lowest_v)


def _from_bins(trace: Trace, feed: Feed, minimum_v: float) -> list[LowInterval]:
    touched = np.flatnonzero(feed.lowest_v < minimum_v)
    if not len(touched):
        return []
    span_s = trace.end_s - trace.start_s
    least, most = share_below(feed, minimum_v)
    found: list[LowInterval] = []
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
) -> list[LowInterval]:
    """Touched neighbours as stretches: neighbours that are only partly low may be one stretch, so the upper bound joins them."""
    found: list[LowInterval] = []
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
        beside = [g for g in (group[members[0]] - 1, group[members[-1]] + 1) if g in group]
        high_s = inside_s + float((span_s[edge] * most[edge]).sum()) + 2 * float(trace.gap_s[chosen].max())
        high_s += float(sum(span_s[g] * most[g] for g in beside))  # a stretch across the border of two partly low bins
        at = int(chosen[0])
        start_s = float(trace.start_s[at]) if whole[members[0]] else float(trace.end_s[at] - span_s[at] * most[at])
        best_s = 0.5 * (below_low_s + high_s)
        found.append(LowInterval(start_s, below_low_s, best_s, high_s, best_s, float(feed.lowest_v[chosen].min())))
        k += 1
    return found


def share_below(feed: Feed, minimum_v: float) -> tuple[FloatArray, FloatArray]:
    """Least and most share of each bin that can lie below the limit, shapes (n,), 0 to 1."""
    with np.errstate(divide="ignore", invalid="ignore"):
        least = (minimum_v - feed.mean_v) / (minimum_v - feed.lowest_v)
        most = (feed.highest_v - feed.mean_v) / (feed.highest_v - minimum_v)
    least = np.where(feed.lowest_v < minimum_v, np.clip(np.nan_to_num(least), 0.0, 1.0), 0.0)
    most = np.where(feed.highest_v > minimum_v, np.clip(np.nan_to_num(most, nan=1.0), 0.0, 1.0), 1.0)
    return least, np.where(feed.lowest_v < minimum_v, most, 0.0)


def _sharpened(low: LowInterval, close_ups: tuple[CloseUp, ...], minimum_v: float) -> LowInterval:
    """Start and end from close-ups of both edges where the board sent them."""
    fall = edge_near(close_ups, True, low.start_s, minimum_v)
    rise = edge_near(close_ups, False, low.end_s, minimum_v)
    if fall is None or rise is None or rise[0] <= fall[0]:
        return low
    duration_s = rise[0] - fall[0]
    grain_s = max(fall[1], rise[1])
    return replace(
        low,
        start_s=fall[0],
        low_s=max(duration_s - grain_s, 0.0),
        best_s=duration_s,
        high_s=duration_s + grain_s,
        below_s=min(low.below_s, duration_s),
    )


def _merge(lows: list[LowInterval], longest_s: float, th: FeedThresholds) -> list[LowInterval]:
    """Recoveries of up to `longest_s` make two stretches one, unless the feed was mostly up."""
    merged: list[LowInterval] = []
    for low in lows:
        if merged:
            last = merged[-1]
            recovery_s = low.start_s - last.end_s
            whole_s = low.end_s - last.start_s
            below_s = last.below_s + low.below_s
            if recovery_s <= longest_s and below_s >= th.merged_share * whole_s:
                spread_s = (last.high_s - last.low_s + low.high_s - low.low_s) / 2
                beyond_s = max(last.high_s - last.best_s + low.high_s - low.best_s, spread_s)
                lowest_v = min(last.lowest_v, low.lowest_v)
                merged[-1] = LowInterval(
                    last.start_s, max(whole_s - spread_s, 0.0), whole_s, whole_s + beyond_s, below_s, lowest_v
                )
                continue
        merged.append(low)
    return merged
