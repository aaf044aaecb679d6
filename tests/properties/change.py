"""Changes to a trace whose effect on the truth is known."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from firstcrank.trace import Channel, Hole, KeyRuns, Trace, Uncertainty

Kept = NDArray[np.bool_] | NDArray[np.int64] | slice


def pick(trace: Trace, keep: Kept) -> Trace:
    """Only these bins; times stay."""
    channels = {
        role: replace(c, mean_v=c.mean_v[keep], lowest_v=c.lowest_v[keep], highest_v=c.highest_v[keep])
        for role, c in trace.channels.items()
    }
    runs = trace.runs and replace(
        trace.runs, longest=trace.runs.longest[keep], head=trace.runs.head[keep], tail=trace.runs.tail[keep]
    )
    return replace(
        trace,
        start_s=trace.start_s[keep],
        end_s=trace.end_s[keep],
        conversions=trace.conversions[keep],
        gap_s=trace.gap_s[keep],
        channels=channels,
        runs=runs,
    )


def with_channel(trace: Trace, channel: Channel) -> Trace:
    """One lead replaced."""
    return replace(trace, channels={**trace.channels, channel.role: channel})


def lowered(trace: Trace, first: int, count: int, volts: float) -> Trace:
    """`count` whole bins of the feed from `first` on at `volts` where they were higher, run counts with them."""
    c = trace.channels["key_switch"]
    at = slice(first, first + count)
    mean, low, high = (v.copy() for v in (c.mean_v, c.lowest_v, c.highest_v))
    for values in (mean, low, high):
        values[at] = np.minimum(values[at], volts)
    runs = trace.runs
    if runs is not None and volts < runs.trigger_v:
        longest, head, tail = (v.copy() for v in (runs.longest, runs.head, runs.tail))
        for counts in (longest, head, tail):
            counts[at] = trace.conversions[at]
        runs = KeyRuns(runs.trigger_v, longest, head, tail)
    return replace(with_channel(trace, replace(c, mean_v=mean, lowest_v=low, highest_v=high)), runs=runs)


def dipped(trace: Trace, index: int, conversions: int, volts: float) -> Trace:
    """A few conversions in the middle of one bin lowered; a bin that has runs already stays as it is."""
    c = trace.channels["key_switch"]
    n = int(trace.conversions[index])
    if c.lowest_v[index] <= volts or n < 3 or (trace.runs is not None and trace.runs.longest[index]):
        return trace
    k = min(conversions, n - 2)
    mean, low = c.mean_v.copy(), c.lowest_v.copy()
    mean[index] -= k / n * (mean[index] - volts)
    low[index] = volts
    runs = trace.runs
    if runs is not None and volts < runs.trigger_v:
        longest = runs.longest.copy()
        longest[index] = k
        runs = replace(runs, longest=longest)
    return replace(with_channel(trace, replace(c, mean_v=mean, lowest_v=low)), runs=runs)


def holed(trace: Trace, first: int, count: int) -> Trace:
    """`count` bins lost from `first` on, and told as a hole."""
    last = min(first + count, len(trace))
    lost = Hole(float(trace.start_s[first]), float(trace.end_s[last - 1]), "bytes were lost on the way")
    keep = np.ones(len(trace), dtype=bool)
    keep[first:last] = False
    holes = sorted((*trace.holes, lost), key=lambda h: h.start_s)
    return replace(pick(trace, keep), holes=tuple(holes))


def wider(trace: Trace, factor: float) -> Trace:
    """Every uncertainty times `factor`."""
    channels = {}
    for role, c in trace.channels.items():
        u = c.uncertainty
        wide = Uncertainty(u.gain_rel * factor, u.offset_v * factor, u.shared_gain_rel * factor, u.noise_v * factor)
        channels[role] = replace(c, uncertainty=wide)
    return replace(trace, channels=channels)


def coarser(trace: Trace, by: int) -> Trace:
    """`by` bins made one, extremes kept, run counts lost."""
    count = len(trace) // by
    shape = (count, by)

    def rows(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return values[: count * by].reshape(shape)

    n = trace.conversions[: count * by].reshape(shape)
    channels = {
        role: replace(
            c,
            mean_v=(rows(c.mean_v) * n).sum(1) / n.sum(1),
            lowest_v=rows(c.lowest_v).min(1),
            highest_v=rows(c.highest_v).max(1),
        )
        for role, c in trace.channels.items()
    }
    return replace(
        trace,
        start_s=rows(trace.start_s)[:, 0].copy(),
        end_s=rows(trace.end_s)[:, -1].copy(),
        conversions=n.sum(1),
        gap_s=rows(trace.gap_s).max(1),
        channels=channels,
        runs=None,
    )


def without(trace: Trace, role: str) -> Trace:
    """One lead less."""
    return replace(trace, channels={r: c for r, c in trace.channels.items() if r != role})


def later(trace: Trace, at: int, bins: int) -> Trace:
    """Bin `at` said `bins` times more, everything after it moved on by whole bins."""
    span_s = float(trace.end_s[at] - trace.start_s[at])
    order = np.concatenate((np.arange(at), np.full(bins, at), np.arange(at, len(trace))))
    moved = pick(trace, order)
    shift = np.concatenate((np.zeros(at), np.arange(bins) * span_s, np.full(len(trace) - at, bins * span_s)))
    holes = tuple(
        replace(h, start_s=h.start_s + bins * span_s, end_s=h.end_s + bins * span_s) if h.start_s >= trace.start_s[at] else h
        for h in trace.holes
    )
    return replace(moved, start_s=moved.start_s + shift, end_s=moved.end_s + shift, holes=holes)


def doubled(trace: Trace) -> Trace:
    """All volts twice, and all that is in volts."""
    channels = {}
    for role, c in trace.channels.items():
        u = c.uncertainty
        twice = replace(u, **{f.name: getattr(u, f.name) * 2 for f in fields(u) if f.name.endswith("_v")})
        full_v = None if c.full_scale_v is None else c.full_scale_v * 2
        channels[role] = Channel(role, c.mean_v * 2, c.lowest_v * 2, c.highest_v * 2, twice, full_v)
    runs = trace.runs and replace(trace.runs, trigger_v=trace.runs.trigger_v * 2)
    return replace(trace, channels=channels, runs=runs)


def spiked(trace: Trace, index: int, volts: float) -> Trace:
    """One conversion of one bin is off by `volts` on all leads alike: something in the air."""
    n = float(trace.conversions[index])
    channels = {}
    for role, c in trace.channels.items():
        mean, low, high = (v.copy() for v in (c.mean_v, c.lowest_v, c.highest_v))
        value = mean[index] + volts
        mean[index] += volts / n
        low[index], high[index] = min(low[index], value), max(high[index], value)
        channels[role] = replace(c, mean_v=mean, lowest_v=low, highest_v=high)
    changed = replace(trace, channels=channels)
    runs = trace.runs
    if runs is not None and channels["key_switch"].lowest_v[index] < runs.trigger_v and not runs.longest[index]:
        longest = runs.longest.copy()
        longest[index] = 1
        changed = replace(changed, runs=replace(runs, longest=longest))
    return changed
