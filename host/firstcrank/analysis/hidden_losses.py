"""Losses too short to count that a bin can't show one by one: it tells the longest run below the limit and those at its ends.

A first-order input of time constant tau keeps the area that an opening cuts out of the feed, so what is missing of a bin's mean must be
explained by the openings that it shows. One run of length r down to `lowest` explains at most (highest - lowest) * (r + tau): the flanks of
an exponential fall and rise add less than tau (worked out for openings of 0.5 to 4 tau that end at 0 V). What is left needs at least one
opening more for each such area, since none is longer than the longest. A feed that follows its source down, or grazes the limit,
hides none.
"""

from __future__ import annotations

import numpy as np

from firstcrank.analysis.feed import Feed
from firstcrank.analysis.intervals import BoolArray
from firstcrank.analysis.low_intervals import usable_runs
from firstcrank.thresholds import FeedThresholds
from firstcrank.thresholds.edges import EDGES
from firstcrank.trace import FloatArray, Trace


def hidden_losses(trace: Trace, feed: Feed, minimum_v: float, bins: BoolArray, th: FeedThresholds) -> tuple[int, float]:
    """(how many openings more, their time together in seconds at the most) in `bins`, a mask of shape (n,); (0, 0.0) without runs."""
    runs = usable_runs(trace, feed, minimum_v, th) if bins.any() else None
    if runs is None:
        return 0, 0.0
    span_s = (trace.end_s - trace.start_s)[bins]
    conversions = trace.conversions[bins]
    step_s = span_s / np.maximum(conversions, 1)
    longest, head, tail = (np.asarray(a[bins]) for a in (runs.longest, runs.head, runs.tail))
    middle = np.where(longest > np.maximum(head, tail), longest, 0)
    flank_s = runs.filter_s or th.input_s
    depth_v = feed.highest_v[bins] - feed.lowest_v[bins]
    missing_vs = (
        np.minimum(feed.highest_v[bins] - feed.mean_v[bins], _left_its_source_v(feed, runs.longest == 0, bins)) * span_s
    )
    shown_s = sum(np.where(run > 0, run * step_s + flank_s, 0.0) for run in (head, middle, tail))
    one_vs = depth_v * (longest * step_s + flank_s)
    left_vs = missing_vs - depth_v * shown_s
    telling = (longest > 0) & (longest < conversions) & (depth_v > th.opening_v) & (left_vs > th.unexplained_share * one_vs)
    count = np.where(telling, np.ceil(left_vs / np.maximum(one_vs, 1e-12)), 0.0)
    return int(count.sum()), float((count * longest * step_s).sum())


def _left_its_source_v(feed: Feed, whole: BoolArray, bins: BoolArray) -> FloatArray:
    """By how much more than in the bins round it that have no loss (`whole`) the feed lies below its source, one for each of `bins`."""
    drop_v = feed.drop_v
    out = np.zeros(int(bins.sum()))
    for k, i in enumerate(np.flatnonzero(bins).tolist()):
        near = slice(max(i - EDGES.beside_bins, 0), i + EDGES.beside_bins + 1)
        beside_v = drop_v[near][whole[near]]
        usual_v = float(np.median(beside_v)) if len(beside_v) else float(drop_v[i])
        out[k] = drop_v[i] - usual_v
    return out
