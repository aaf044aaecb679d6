"""What every check receives: the trace with its phases and cranks found and the key feed worked out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstcrank.analysis import uncertainty
from firstcrank.analysis.findings import Context, Crank, Dropout, Phase
from firstcrank.limits import Limits
from firstcrank.trace import Channel, FloatArray, Trace

BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Feed:
    """The key feed over all n bins, volts: against `module_ground` where that was recorded, else battery negative.

    `source_v` is the mean of what supplies it (`feed_source` where recorded, else `battery`), against battery negative.
    """

    mean_v: FloatArray
    lowest_v: FloatArray
    highest_v: FloatArray
    source_v: FloatArray
    source_role: str
    against: str

    @property
    def drop_v(self) -> FloatArray:
        """Source minus feed, shape (n,), volts."""
        return self.source_v - self.mean_v


def feed_of(trace: Trace) -> Feed:
    """The feed of a trace that has battery and key_switch."""
    key = trace.channels["key_switch"]
    source_role = "feed_source" if trace.has("feed_source") else "battery"
    source = trace.channels[source_role].mean_v
    if not trace.has("module_ground"):
        return Feed(key.mean_v, key.lowest_v, key.highest_v, source, source_role, "battery negative")
    ground = trace.channels["module_ground"]
    return Feed(
        mean_v=key.mean_v - ground.mean_v,
        lowest_v=key.lowest_v - ground.highest_v,
        highest_v=key.highest_v - ground.lowest_v,
        source_v=source,
        source_role=source_role,
        against="module ground",
    )


@dataclass(frozen=True, slots=True)
class View:
    """One trace, ready to be checked. `phases` and `cranks` in time order, `dropouts` of the key feed likewise.

    `key_on_s` is when the feed first rose, None where it was never seen dead and then live. `key_off_s` is when the
    key was turned off at the end, None where it was not.
    """

    trace: Trace
    limits: Limits
    context: Context
    feed: Feed
    cranks: tuple[Crank, ...]
    phases: tuple[Phase, ...]
    dropouts: tuple[Dropout, ...]
    key_on_s: float | None
    key_off_s: float | None
    rest_v: float

    @property
    def scale(self) -> float:
        """1 for a 12 V system, 2 for 24 V: for thresholds that are a share of the system voltage."""
        return self.limits.system_v / 12.0

    def within(self, start_s: float, end_s: float) -> BoolArray:
        """Bins wholly inside a stretch, shape (n,)."""
        return np.asarray((self.trace.start_s >= start_s - 1e-9) & (self.trace.end_s <= end_s + 1e-9))

    def in_phase(self, *names: str) -> BoolArray:
        """Bins inside any phase of these names, shape (n,)."""
        chosen = np.zeros(len(self.trace), dtype=bool)
        for phase in self.named(*names):
            chosen |= self.within(phase.start_s, phase.end_s)
        return chosen

    def named(self, *names: str) -> Iterator[Phase]:
        """Phases of these names, in time order."""
        return (phase for phase in self.phases if phase.name in names)

    def outside_dropouts(self, margin_s: float = 0.001) -> BoolArray:
        """Bins that touch no dropout of the feed, nor lie within `margin_s` of one, shape (n,)."""
        clear = np.ones(len(self.trace), dtype=bool)
        for drop in self.dropouts:
            first = np.searchsorted(self.trace.end_s, drop.start_s - margin_s, side="right")
            last = np.searchsorted(self.trace.start_s, drop.start_s + drop.duration_high_s + margin_s, side="left")
            clear[first : last + 1] = False
        return clear

    def mean(self, role: str, chosen: BoolArray) -> tuple[float, float]:
        """Mean voltage of a lead over chosen bins, weighted by time, and its standard uncertainty."""
        channel: Channel = self.trace.channels[role]
        weight = (self.trace.end_s - self.trace.start_s)[chosen]
        mean_v = float(np.average(channel.mean_v[chosen], weights=weight))
        return mean_v, uncertainty.of_voltage(mean_v, channel.uncertainty, float(self.trace.conversions[chosen].sum()))
