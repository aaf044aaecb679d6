"""The firmware's fold for a whole start at once, with NumPy. Proven equal to the firmware's plain fold by a test."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstcrank.trace import IntArray


@dataclass(frozen=True, slots=True)
class Bins:
    """Folded bins: `mean` in 1/16 code, `lowest`, `highest` in codes, shape (bins, channels); runs shape (bins,)."""

    mean: IntArray
    lowest: IntArray
    highest: IntArray
    longest: IntArray
    head: IntArray
    tail: IntArray


def fold_many(codes: NDArray[np.uint16], samples_per_bin: int, key_channel: int, trigger_code: int) -> Bins:
    """Bins of `codes`, shape (conversions per channel, channels); what does not fill the last bin is left out.

    `key_channel` -1: all runs 0.
    """
    bins = len(codes) // samples_per_bin
    cube = codes[: bins * samples_per_bin].reshape(bins, samples_per_bin, codes.shape[1]).astype(np.int64)
    total = cube.sum(axis=1)
    mean = (total * 16 + samples_per_bin // 2) // samples_per_bin
    zero = np.zeros(bins, dtype=np.int64)
    if key_channel < 0:
        return Bins(mean, cube.min(axis=1), cube.max(axis=1), zero, zero.copy(), zero.copy())
    longest, head, tail = runs_below(cube[:, :, key_channel] < trigger_code)
    return Bins(mean, cube.min(axis=1), cube.max(axis=1), longest, head, tail)


def runs_below(below: NDArray[np.bool_]) -> tuple[IntArray, IntArray, IntArray]:
    """Longest run of True anywhere in each row, and the runs at its start and its end; shapes (rows,)."""
    rows, samples_per_bin = below.shape
    longest, head, tail = (np.zeros(rows, dtype=np.int64) for _ in range(3))
    all_low = below.all(axis=1)
    longest[all_low] = head[all_low] = tail[all_low] = samples_per_bin
    for row in np.flatnonzero(below.any(axis=1) & ~all_low):
        edges = np.flatnonzero(np.diff(np.concatenate(([0], below[row].astype(np.int8), [0]))))
        lengths = edges[1::2] - edges[::2]
        longest[row] = lengths.max()
        head[row] = lengths[0] if below[row, 0] else 0
        tail[row] = lengths[-1] if below[row, -1] else 0
    return longest, head, tail
