"""What every check receives: the trace with its account made, the feed worked out, the losses judged, the thresholds chosen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from firstcrank.analysis import uncertainty
from firstcrank.analysis.account import feed_account, holes_of, intervals_of
from firstcrank.analysis.crank_speed import crank_speed
from firstcrank.analysis.cranks import CrankInterval, Cranks, find_cranks
from firstcrank.analysis.feed import Feed, feed_of
from firstcrank.analysis.hidden_losses import hidden_losses
from firstcrank.analysis.intervals import BoolArray, Stretch
from firstcrank.analysis.key import Key, read_key
from firstcrank.analysis.losses import Losses, bins_of, judge_losses, tolerated_bins, undecided_bins
from firstcrank.analysis.low_intervals import LowInterval, find_low
from firstcrank.analysis.near_limit import near_minimum
from firstcrank.analysis.running import ran_on
from firstcrank.limits import Limits
from firstcrank.model.context import Context
from firstcrank.model.judgement import Crank, Dropout, FeedSpan, Interval
from firstcrank.model.measured import Measured
from firstcrank.model.vocabulary import LIVE_PHASES, Phase
from firstcrank.thresholds import Thresholds, thresholds_for
from firstcrank.thresholds.evidence import EVIDENCE
from firstcrank.trace import Trace


@dataclass(frozen=True, slots=True)
class View:
    """One trace, ready to be checked. `intervals` tile the recording; `cranks` and `dropouts` in time order."""

    trace: Trace
    limits: Limits
    context: Context
    th: Thresholds
    feed: Feed
    found: Cranks
    key: Key
    intervals: tuple[Interval, ...]
    losses: Losses
    near_limit: tuple[Stretch, ...]
    cranks: tuple[Crank, ...]
    rest_v: float

    @property
    def scale(self) -> float:
        """1 for a 12 V system, 2 for 24 V."""
        return self.limits.system_v / 12.0

    @property
    def dropouts(self) -> tuple[Dropout, ...]:
        """Losses of the feed, each with its kind."""
        return self.losses.dropouts

    @property
    def crank_intervals(self) -> tuple[CrankInterval, ...]:
        """Cranks with the widths of their edges."""
        return self.found.intervals

    @property
    def on_s(self) -> float | None:
        """When the key came on, at the latest; None where it was never seen dead and then live."""
        return None if self.key.on is None else self.key.on.late_s

    @property
    def off_s(self) -> float | None:
        """When the key went off at the end, at the earliest; None where it did not."""
        return None if self.key.off is None else self.key.off.early_s

    @property
    def live_from_s(self) -> float:
        """From here the feed has to be good: ON, or the first live sample where the key was never seen off."""
        if self.key.on is not None:
            return self.key.on.early_s
        if self.key.fed_back_until_s is not None:
            return self.key.fed_back_until_s
        live = np.flatnonzero(self.feed.highest_v > self.limits["feed_live_v"])
        return float(self.trace.start_s[live[0]]) if len(live) else float(self.trace.end_s[-1])

    @property
    def live_to_s(self) -> float:
        """Up to here."""
        return self.off_s if self.off_s is not None else float(self.trace.end_s[-1])

    def hidden_losses(self, shown: list[Dropout]) -> tuple[int, float]:
        """(how many losses more may lie in the bins of those `shown`, their time together at the most, seconds)."""
        bins = np.zeros(len(self.trace), dtype=bool)
        for drop in shown:
            bins[bins_of(self.trace, drop.start_s, drop.end_s)] = True
        return hidden_losses(self.trace, self.feed, self.limits["module_minimum_v"], bins, self.th.feed)

    def within(self, start_s: float, end_s: float) -> BoolArray:
        """Bins wholly inside a stretch, shape (n,)."""
        return np.asarray((self.trace.start_s >= start_s - 1e-9) & (self.trace.end_s <= end_s + 1e-9))

    def live(self) -> BoolArray:
        """Bins between ON and OFF, times between cranks with the key off left out, shape (n,)."""
        chosen = self.within(self.live_from_s, self.live_to_s)
        for off in self.key.between:
            chosen &= (self.trace.end_s <= off.off.early_s) | (self.trace.start_s >= off.on.early_s)
        return chosen

    def in_phase(self, *names: Phase) -> BoolArray:
        """Bins inside any interval of these names, shape (n,)."""
        chosen = np.zeros(len(self.trace), dtype=bool)
        for interval in self.named(*names):
            chosen |= self.within(interval.start_s, interval.end_s)
        return chosen

    def named(self, *names: Phase) -> Iterator[Interval]:
        """Intervals of these names, in time order."""
        return (interval for interval in self.intervals if interval.name in names)

    def live_intervals(self) -> tuple[Interval, ...]:
        """Intervals in which the feed has to be good."""
        return tuple(i for i in self.named(*LIVE_PHASES) if i.end_s > self.live_from_s and i.start_s < self.live_to_s)

    def tolerated_bins(self) -> BoolArray:
        """Bins of bounces that are tolerated, shape (n,)."""
        return tolerated_bins(self.trace, self.losses.bounces, self.limits["turn_bounce_max_s"])

    def undecided_bins(self) -> BoolArray:
        """Bins of losses of which it can't be told whether they count, shape (n,)."""
        return undecided_bins(self.trace, self.dropouts, self.losses.bounces, self.limits["turn_bounce_max_s"])

    def account(self) -> tuple[FeedSpan, ...]:
        """What was shown of the feed, from the first sample to the last."""
        return feed_account(self.trace, self.intervals, self.dropouts, list(self.near_limit), self.limits["dropout_min_s"])

    def holes(self) -> list[Stretch]:
        """Stretches not shown that are long enough to hide a dropout that counts."""
        return holes_of(self.trace, self.limits["dropout_min_s"])

    def mean(self, role: str, chosen: BoolArray) -> Measured:
        """Mean voltage of a lead over chosen bins, weighted by time."""
        channel = self.trace.channels[role]
        weight = np.maximum((self.trace.end_s - self.trace.start_s)[chosen], 1e-12)
        mean_v = float(np.average(channel.mean_v[chosen], weights=weight))
        u_v = uncertainty.of_voltage(mean_v, channel.uncertainty, float(self.trace.conversions[chosen].sum()))
        return Measured(mean_v, u_v, "V")

    def difference(self, role: str, other: str, chosen: BoolArray) -> Measured:
        """Mean of `role` less `other` over chosen bins."""
        a, b = self.mean(role, chosen), self.mean(other, chosen)
        channels = self.trace.channels
        count = float(self.trace.conversions[chosen].sum())
        u_v = uncertainty.of_difference(a.value, channels[role].uncertainty, b.value, channels[other].uncertainty, count)
        return Measured(a.value - b.value, u_v, "V")


def build_view(trace: Trace, limits: Limits, context: Context) -> View:
    """Makes the account of a trace that has battery and key_switch."""
    th = thresholds_for(limits.system_v)
    feed = feed_of(trace)
    found = find_cranks(trace, th.crank)
    key = read_key(trace, feed, limits, found.intervals, th.key, key_off_reported=context.hold_on_s is not None)
    intervals = intervals_of(trace, feed, limits, found.intervals, key, th.key)
    rest_v = _rest_v(trace, key.on.early_s if key.on else None)
    empty = Losses((), (), {}, ())
    cranks = tuple(Crank(i.start_s, i.end_s, by_lead=i.by_lead) for i in found.intervals)
    view = View(trace, limits, context, th, feed, found, key, intervals, empty, (), cranks, rest_v)
    lows = _lows(view)
    losses = judge_losses(trace, feed, limits, lows, intervals, found.intervals, key, th)
    view = replace(view, losses=losses)
    view = replace(view, near_limit=near_minimum(view), cranks=tuple(_crank(view, i) for i in range(len(cranks))))
    return view


def _lows(view: View) -> tuple[LowInterval, ...]:
    minimum_v, shortest_s = view.limits["module_minimum_v"], view.limits["dropout_min_s"]
    # The rise itself is no loss: its bin lies partly below.
    from_s = view.key.on.late_s if view.key.on is not None else view.live_from_s
    cuts = [from_s, *(t for off in view.key.between for t in (off.off.early_s, off.on.late_s)), view.live_to_s]
    lows: list[LowInterval] = []
    for a, b in zip(cuts[::2], cuts[1::2], strict=True):
        if b > a:
            lows += find_low(view.trace, view.feed, minimum_v, shortest_s, a, b, view.th.feed)
    return tuple(lows)


def _crank(view: View, index: int) -> Crank:
    """One crank with its speed where the ripple supports a number, and whether the engine ran on."""
    interval, crank = view.found.intervals[index], view.cranks[index]
    begin_s = interval.sag_s if interval.sag_s is not None else interval.start_s
    speed = crank_speed(view.trace, begin_s, interval.end_s, view.context.cylinders)
    running = ran_on(view, index)
    return replace(
        crank,
        speed_rpm=speed.rpm,
        speed_uncertainty_rpm=speed.expanded_rpm,
        speed_note=speed.note,
        engine_ran_on=bool(running),
        ran_on_evidence=running,
    )


def _rest_v(trace: Trace, key_on_s: float | None) -> float:
    battery = trace.channels["battery"].mean_v
    early = trace.end_s <= (key_on_s if key_on_s is not None else trace.start_s[0] + EVIDENCE.rest_s)
    return float(np.median(battery[early])) if early.any() else float(np.median(battery[:10]))
