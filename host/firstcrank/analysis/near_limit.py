"""Where the feed is so close to the module's minimum that the measurement can't tell on which side."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from firstcrank.analysis.feed import expanded_of_feed
from firstcrank.analysis.intervals import BoolArray, Stretch, runs_of
from firstcrank.analysis.low_intervals import share_below

if TYPE_CHECKING:
    from firstcrank.analysis.view import View


def near_minimum(view: View) -> tuple[Stretch, ...]:
    """Stretches of live time, losses left out, in which the feed may be below the minimum for as long as counts.

    Possibly low is each bin whose lowest reading does not clear the minimum by its expanded uncertainty, for at most the share
    of the bin that its mean and highest reading allow.
    """
    feed, trace, limits = view.feed, view.trace, view.limits
    level_v = limits["module_minimum_v"] + expanded_of_feed(trace, feed, limits["module_minimum_v"], 1.0)
    possible = (feed.lowest_v < level_v) & view.live() & ~_lost(view)
    possible &= trace.start_s >= (view.on_s if view.on_s is not None else -np.inf)
    if not possible.any():
        return ()
    _, most = share_below(feed, level_v)
    span_s = (trace.end_s - trace.start_s) * most
    found = []
    for first, past in zip(*runs_of(possible), strict=True):
        if float(span_s[first:past].sum()) >= limits["dropout_min_s"]:
            found.append((float(trace.start_s[first]), float(trace.end_s[past - 1])))
    return tuple(found)


def _lost(view: View) -> BoolArray:
    """Bins that a loss touches: it is judged as a loss."""
    chosen = np.zeros(len(view.trace), dtype=bool)
    for drop in view.dropouts:
        first = int(np.searchsorted(view.trace.end_s, drop.start_s - 1e-9, side="right"))
        last = int(np.searchsorted(view.trace.start_s, drop.end_s + 1e-9))
        chosen[max(first - 1, 0) : last + 1] = True
    return chosen
