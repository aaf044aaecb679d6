"""A voltage over time as straight pieces: exact means and exact times below a limit, with no sampling in between."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from firstcrank.trace import FloatArray

STEP_S = 1e-7  # how long a sudden step takes: far below the shortest time between two conversions


@dataclass(frozen=True, slots=True)
class Waveform:
    """Volts `value` at times `at_s`, both shape (n,), straight in between and level beyond the ends."""

    at_s: FloatArray
    value: FloatArray

    def __call__(self, at_s: ArrayLike) -> FloatArray:
        """Volts at `at_s`, any shape."""
        return np.asarray(np.interp(np.asarray(at_s, dtype=np.float64), self.at_s, self.value))

    def cut(self, start_s: float, end_s: float) -> Waveform:
        """The stretch from `start_s` to `end_s`, both ends included as nodes."""
        first = int(np.searchsorted(self.at_s, start_s, side="right"))
        last = int(np.searchsorted(self.at_s, end_s, side="left"))
        at_s = np.concatenate(([start_s], self.at_s[first:last], [end_s]))
        ends = self(np.array([start_s, end_s]))
        return Waveform(at_s, np.concatenate((ends[:1], self.value[first:last], ends[1:])))

    def mean(self, start_s: float, end_s: float) -> float:
        """Mean over a stretch, exact for straight pieces (trapezium rule)."""
        part = self.cut(start_s, end_s)
        return float(np.trapezoid(part.value, part.at_s) / max(end_s - start_s, 1e-15))

    def lowest(self, start_s: float, end_s: float) -> float:
        """Lowest voltage in a stretch."""
        return float(self.cut(start_s, end_s).value.min())

    def highest(self, start_s: float, end_s: float) -> float:
        """Highest voltage in a stretch."""
        return float(self.cut(start_s, end_s).value.max())

    def worst_mean(self, window_s: float, start_s: float, end_s: float) -> float:
        """Largest mean over any `window_s` in a stretch; the mean of the whole where it is shorter than that."""
        if end_s - start_s <= window_s:
            return self.mean(start_s, end_s)
        part = self.cut(start_s, end_s)
        area = np.concatenate(([0.0], np.cumsum(np.diff(part.at_s) * (part.value[1:] + part.value[:-1]) / 2)))

        def until(at_s: FloatArray) -> FloatArray:
            index = np.clip(np.searchsorted(part.at_s, at_s, side="right") - 1, 0, len(part.at_s) - 2)
            passed_s = at_s - part.at_s[index]
            return np.asarray(area[index] + passed_s * (part.value[index] + part(at_s)) / 2)

        begins = np.concatenate((part.at_s, part.at_s - window_s))
        begins = begins[(begins >= start_s) & (begins <= end_s - window_s)]
        return float(((until(begins + window_s) - until(begins)) / window_s).max())

    def below(self, limit_v: float, start_s: float, end_s: float) -> list[tuple[float, float]]:
        """(start, end) of every stretch below `limit_v`, with the crossings found on the straight pieces."""
        part = self.cut(start_s, end_s)
        under = part.value < limit_v
        change = np.flatnonzero(np.diff(under.astype(np.int8)))
        rise = part.value[change + 1] - part.value[change]
        cross_s = part.at_s[change] + (limit_v - part.value[change]) / rise * (part.at_s[change + 1] - part.at_s[change])
        edges: list[float] = cross_s.tolist()
        if under[0]:
            edges.insert(0, start_s)
        if under[-1]:
            edges.append(end_s)
        return list(zip(edges[::2], edges[1::2], strict=True))


def combine(first: Waveform, second: Waveform, second_share: float) -> Waveform:
    """first + second_share * second, exact."""
    at_s = np.union1d(first.at_s, second.at_s)
    return Waveform(at_s, first(at_s) + second_share * second(at_s))
