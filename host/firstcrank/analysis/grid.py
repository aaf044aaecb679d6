"""A curve on an even grid, for what looks at rhythms."""

from __future__ import annotations

import numpy as np

from firstcrank.thresholds.speed import SPEED
from firstcrank.trace import FloatArray


def resampled(at_s: FloatArray, volts: FloatArray, rate_hz: float = SPEED.grid_hz) -> tuple[FloatArray, FloatArray]:
    """The same curve on an even grid, by linear interpolation; times and volts, shapes (m,)."""
    if len(at_s) < 2:
        return np.zeros(0), np.zeros(0)
    grid = np.arange(float(at_s[0]), float(at_s[-1]), 1.0 / rate_hz)
    return grid, np.interp(grid, at_s, volts)


def smoothed(volts: FloatArray, width: int) -> FloatArray:
    """Moving mean over `width` points, ends held, shape kept."""
    if width < 2 or len(volts) < width:
        return volts
    before, after = (width - 1) // 2, width // 2
    padded = np.concatenate((np.full(before, volts[0]), volts, np.full(after, volts[-1])))
    summed = np.concatenate(([0.0], np.cumsum(padded)))
    return np.asarray((summed[width:] - summed[:-width]) / width, dtype=np.float64)


def averaged(at_s: FloatArray, volts: FloatArray, hz: float) -> tuple[FloatArray, FloatArray]:
    """Means over cells of the grid, shape (k,) each: noise of readings finer than the grid is averaged, coarser ones stay as they are."""
    if len(at_s) < 2:
        return at_s, volts
    cell = np.floor((at_s - at_s[0]) * hz).astype(np.int64)
    firsts = np.flatnonzero(np.diff(cell, prepend=-1))
    counts = np.diff(np.append(firsts, len(cell)))
    return np.add.reduceat(at_s, firsts) / counts, np.add.reduceat(volts, firsts) / counts
