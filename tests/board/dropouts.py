"""Inputs for the emulated converter: steady codes with square dropouts at chosen times. Synthetic."""

from __future__ import annotations

import random
from bisect import bisect_right

STEADY = (2400, 2500, 2300, 900, 900)
DEAD = 300
TRIGGER = 1500


NOISE_RMS_CODES = 1.3  # what an RP2040's converter has on a quiet input, about; from memory


class Dropouts:
    """`add` a dropout on one channel; overlapping ones are not meant. With `noise` every conversion differs by some codes."""

    def __init__(self, noise: bool = False) -> None:
        dice = random.Random(1)
        self._noise = [round(dice.gauss(0, NOISE_RMS_CODES)) for _ in range(4093)] if noise else [0]
        self._turn = 0
        self._starts: list[list[float]] = [[] for _ in range(5)]
        self._ends: list[list[float]] = [[] for _ in range(5)]
        self.code = DEAD

    def add(self, channel: int, start_s: float, length_s: float) -> None:
        """In rising order of start for each channel."""
        self._starts[channel].append(start_s)
        self._ends[channel].append(start_s + length_s)

    def clear(self) -> None:
        """Steady from now on."""
        for times in (*self._starts, *self._ends):
            times.clear()

    def __call__(self, channel: int, t_s: float) -> int:
        starts = self._starts[channel]
        if starts:
            at = bisect_right(starts, t_s) - 1
            if at >= 0 and t_s < self._ends[channel][at]:
                return self.code
        self._turn = (self._turn + 1) % len(self._noise)
        return STEADY[channel] + self._noise[self._turn]
