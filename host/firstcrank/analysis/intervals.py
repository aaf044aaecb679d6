"""Runs of chosen bins as stretches of time, and sums over sliding windows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firstcrank.trace import FloatArray, IntArray

BoolArray = NDArray[np.bool_]
Stretch = tuple[float, float]


def runs_of(chosen: BoolArray) -> tuple[IntArray, IntArray]:
    """First index and index behind the last of every run of chosen bins, shapes (m,)."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], chosen.astype(np.int8), [0]))))
    return edges[::2], edges[1::2]


def stretches_of(chosen: BoolArray, start_s: FloatArray, end_s: FloatArray, join_s: float = 0.0) -> list[Stretch]:
    """(start, end) of every run of chosen bins, runs closer than `join_s` joined."""
    joined: list[Stretch] = []
    for first, past in zip(*runs_of(chosen), strict=True):
        begin, end = float(start_s[first]), float(end_s[past - 1])
        if joined and begin - joined[-1][1] < join_s:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((begin, end))
    return joined


def window_means(value: FloatArray, span_s: FloatArray, window_s: float) -> tuple[FloatArray, IntArray]:
    """Mean of `value` over the first whole window of at least `window_s` of recorded time that begins at each bin.

    Returns the means, shape (n,), NaN where the recording ends before, and the index behind each window's last bin.
    """
    summed = np.concatenate(([0.0], np.cumsum(value * span_s)))
    time = np.concatenate(([0.0], np.cumsum(span_s)))
    past = np.searchsorted(time, time[:-1] + window_s - 1e-9)
    whole = past < len(time)
    past = np.minimum(past, len(time) - 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = (summed[past] - summed[:-1]) / (time[past] - time[:-1])
    return np.where(whole, mean, np.nan), past
