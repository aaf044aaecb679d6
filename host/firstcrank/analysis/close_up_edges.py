"""When the feed itself crossed the limit, from a close-up of its reading behind the input filter.

A first-order filter of time constant tau follows v_in = v + tau dv/dt, so the feed is got back from its reading; noise of the
reading grows by about tau over the time between two samples, 10 for 56 us and 6 us, which a crossing of several volts bears.
"""

from __future__ import annotations

import numpy as np

from firstcrank.thresholds.edges import EDGES
from firstcrank.trace import CloseUp, FloatArray


def edge_near(close_ups: tuple[CloseUp, ...], falling: bool, at_s: float, limit_v: float) -> tuple[float, float] | None:
    """(when the feed crossed `limit_v`, how far off that may be), seconds, of the close-up nearest to `at_s`; None: none within 2 ms."""
    near = [c for c in close_ups if c.falling == falling and abs(c.edge_s - at_s) < EDGES.same_edge_s]
    if not near:
        return None
    nearest = min(near, key=lambda c: abs(c.edge_s - at_s))
    return _crossing_s(nearest, limit_v), nearest.period_s + EDGES.left_over * nearest.filter_s


def _crossing_s(close_up: CloseUp, limit_v: float) -> float:
    volts = close_up.volts.get("key_switch")
    if close_up.filter_s <= 0.0 or volts is None or len(volts) < 2:
        return close_up.edge_s
    feed_v = unfiltered(volts, close_up.period_s, close_up.filter_s)
    first_s = close_up.start_s + close_up.offset_s["key_switch"]
    at = round((close_up.edge_s - first_s) / close_up.period_s)
    at = min(max(at, 0), len(volts) - 1)
    beyond = feed_v < limit_v if close_up.falling else feed_v >= limit_v
    if not beyond[at]:
        return close_up.edge_s
    earliest = max(at - int(EDGES.settled * close_up.filter_s / close_up.period_s) - 1, 0)
    back = np.flatnonzero(~beyond[earliest : at + 1])
    if not len(back):
        return close_up.edge_s
    last_before = earliest + int(back[-1])
    before_v, after_v = float(feed_v[last_before]), float(feed_v[last_before + 1])
    share = (limit_v - before_v) / (after_v - before_v) if after_v != before_v else 0.5
    # The slope between two samples belongs to their middle.
    return first_s + (last_before + share - 0.5) * close_up.period_s


def unfiltered(volts: FloatArray, period_s: float, filter_s: float) -> FloatArray:
    """The input of a first-order low-pass whose output is `volts` (m,), at the same times."""
    slope = np.diff(volts, prepend=volts[:1]) / period_s
    return np.asarray(volts + filter_s * slope, dtype=np.float64)
