"""The key feed worked out from its leads: what the module sees, and the source that supplies it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from firstcrank.analysis import uncertainty
from firstcrank.model.measured import COVERAGE
from firstcrank.trace import FloatArray, Trace


@dataclass(frozen=True, slots=True)
class Feed:
    """The key feed over all n bins, volts: against `module_ground` where that was recorded, else battery negative.

    `source_v` is the mean of what supplies it (`feed_source` where recorded, else `battery`), against battery negative,
    `source_lowest_v` its lowest conversion in each bin.
    """

    mean_v: FloatArray
    lowest_v: FloatArray
    highest_v: FloatArray
    source_v: FloatArray
    source_lowest_v: FloatArray
    source_role: str
    against: str

    @property
    def drop_v(self) -> FloatArray:
        """Source minus feed, shape (n,), volts."""
        return self.source_v - self.mean_v

    @property
    def by_ground(self) -> bool:
        """Judged against the module's own ground."""
        return self.against == "module ground"


def feed_of(trace: Trace) -> Feed:
    """The feed of a trace that has battery and key_switch."""
    key = trace.channels["key_switch"]
    source_role = "feed_source" if trace.has("feed_source") else "battery"
    source = trace.channels[source_role]
    if not trace.has("module_ground"):
        return Feed(key.mean_v, key.lowest_v, key.highest_v, source.mean_v, source.lowest_v, source_role, "battery negative")
    ground = trace.channels["module_ground"]
    return Feed(
        mean_v=key.mean_v - ground.mean_v,
        lowest_v=key.lowest_v - ground.highest_v,
        highest_v=key.highest_v - ground.lowest_v,
        source_v=source.mean_v,
        source_lowest_v=source.lowest_v,
        source_role=source_role,
        against="module ground",
    )


def expanded_of_feed(trace: Trace, feed: Feed, volts: float, conversions: float) -> float:
    """Expanded uncertainty (k = 2) of the feed at `volts`, a mean over `conversions` conversions."""
    own = uncertainty.of_voltage(volts, trace.channels["key_switch"].uncertainty, conversions)
    if feed.by_ground:
        own = math.hypot(own, uncertainty.of_voltage(0.0, trace.channels["module_ground"].uncertainty, conversions))
    return COVERAGE * own


def u_of_drop(trace: Trace, feed: Feed, source_v: float, feed_v: float, conversions: float) -> float:
    """Standard uncertainty of source less feed."""
    channels = trace.channels
    u = uncertainty.of_difference(
        source_v, channels[feed.source_role].uncertainty, feed_v, channels["key_switch"].uncertainty, conversions
    )
    if feed.by_ground:
        u = math.hypot(u, uncertainty.of_voltage(0.0, channels["module_ground"].uncertainty, conversions))
    return u
