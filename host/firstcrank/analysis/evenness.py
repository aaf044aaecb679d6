"""Evenness of the compressions: does one cylinder's sag stand out, turn after turn? A hint and nothing more."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstcrank.analysis.crank_speed import Rhythm
from firstcrank.thresholds.speed import SPEED
from firstcrank.trace import FloatArray


@dataclass(frozen=True, slots=True)
class Uneven:
    """One compression in `cylinders` sags less: `deficit` of the others' mean, 0 to 1, with its standard uncertainty."""

    cylinders: int
    deficit: float
    u: float

    @property
    def sentence(self) -> str:
        """In plain words."""
        return f"one compression in {self.cylinders} sags {self.deficit:.0%} less than the others"


def unevenness(rhythm: Rhythm, cylinders: int) -> Uneven | None:
    """The compression that stands out, or None where none does clearly."""
    if cylinders < 2:
        return None
    depths = _depths(rhythm)
    cycles = len(depths) // cylinders
    if cycles < SPEED.least_cycles:
        return None
    table = depths[: cycles * cylinders].reshape(cycles, cylinders)
    mean = table.mean(axis=0)
    scatter = np.sqrt(table.var(axis=0, ddof=1).mean() / cycles)
    weakest = int(np.argmin(mean))
    others = np.delete(mean, weakest)
    level = float(others.mean())
    if level <= 0:
        return None
    deficit = 1.0 - float(mean[weakest]) / level
    u = float(np.hypot(scatter, np.std(others, ddof=1) / np.sqrt(len(others)) if len(others) > 1 else 0.0)) / level
    if deficit < SPEED.least_deficit or deficit < SPEED.significant * u:
        return None
    return Uneven(cylinders, deficit, u)


def _depths(rhythm: Rhythm) -> FloatArray:
    """How far each compression pulls the battery down from the tops beside it, volts, in time order."""
    turns = rhythm.phase / (2.0 * np.pi)
    first, last = int(np.ceil(turns[0])) + 1, int(np.floor(turns[-1])) - 1
    depths = []
    for k in range(first, last):
        inside = (turns >= k) & (turns < k + 1)
        if inside.sum() < 3:
            continue
        swing = rhythm.swing_v[inside]
        tops = 0.5 * (swing[: len(swing) // 2].max() + swing[len(swing) // 2 :].max())
        depths.append(tops - swing.min())
    return np.asarray(depths)
