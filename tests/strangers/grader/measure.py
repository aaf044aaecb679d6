"""Measuring on the truth's uneven grid: stretches below a level, means of moving windows, and how well a recorder can know."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.strangers.board import CONVERSION_S
from tests.strangers.logger import stated
from tests.strangers.start import StrangeStart
from tests.strangers.world import FILTER_S

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stretch:
    """From `begin_s` to `end_s`, lowest value within."""

    begin_s: float
    end_s: float
    lowest: float

    @property
    def length_s(self) -> float:
        """Its length."""
        return self.end_s - self.begin_s


def below(t: Floats, v: Floats, level: float, from_s: float = -math.inf, to_s: float = math.inf) -> list[Stretch]:
    """Stretches with v < level from `from_s` to `to_s`, ends found on the straight lines between points."""
    from_s, to_s = max(from_s, float(t[0])), min(to_s, float(t[-1]))
    if to_s <= from_s:
        return []
    i, j = np.searchsorted(t, [from_s, to_s], side="right")
    j -= int(t[j - 1] == to_s)
    x = np.concatenate(([from_s], t[i:j], [to_s]))
    y = np.concatenate(([np.interp(from_s, t, v)], v[i:j], [np.interp(to_s, t, v)]))
    low = y < level
    change = np.flatnonzero(low[1:] != low[:-1])
    if not len(change):
        return [Stretch(float(x[0]), float(x[-1]), float(y.min()))] if low[0] else []
    share = (level - y[change]) / (y[change + 1] - y[change])
    at = x[change] + share * (x[change + 1] - x[change])
    edges = at.tolist()
    index = change.tolist()
    if low[0]:
        edges.insert(0, float(x[0]))
        index.insert(0, -1)
    if low[-1]:
        edges.append(float(x[-1]))
        index.append(len(x) - 1)
    out = []
    for k in range(0, len(edges) - 1, 2):
        a, b = index[k] + 1, max(index[k + 1] + 1, index[k] + 2)
        out.append(Stretch(edges[k], edges[k + 1], float(y[a:b].min())))
    return out


def time_above(t: Floats, v: Floats, level: float, from_s: float, to_s: float) -> float:
    """Seconds with v > level."""
    return sum(s.length_s for s in below(t, -v, -level, from_s, to_s))


def worst_mean(t: Floats, v: Floats, window_s: float, spans: list[tuple[float, float]]) -> tuple[float, float]:
    """Highest mean of `v` over a window of `window_s` that lies wholly in one of `spans`, and the middle of that window.

    (-inf, 0) where no span is long enough.
    """
    area = np.concatenate(([0.0], np.cumsum(np.diff(t) * (v[1:] + v[:-1]) / 2.0)))
    best, where = -math.inf, 0.0
    step = window_s / 40.0
    for a, b in spans:
        if b - a < window_s:
            continue
        begin = np.arange(a, b - window_s + step / 2, step)
        begin[-1] = min(begin[-1], b - window_s)
        means = (np.interp(begin + window_s, t, area) - np.interp(begin, t, area)) / window_s
        k = int(means.argmax())
        if means[k] > best:
            best, where = float(means[k]), float(begin[k] + window_s / 2)
    return best, where


@dataclass(frozen=True, slots=True)
class Known:
    """How well the recorder of a start can know: standard uncertainties of volts and times."""

    start: StrangeStart

    def volts(self, role: str, v: float) -> float:
        """Of a reading of `v` volts on one lead."""
        s = self.start
        if s.codes is not None:
            line = s.codes.lines.get(role) or s.codes.lines["battery"]
            return math.hypot(line.u_gain_rel * v, line.u_shared_rel * v, line.u_offset_v, line.noise_v)
        return math.hypot(self._csv(v), self._step() / math.sqrt(12.0), 0.012 * s.plan.scale)

    def difference(self, a: str, va: float, b: str, vb: float) -> float:
        """Of a mean of lead a less lead b."""
        s = self.start
        if s.codes is not None:
            la = s.codes.lines.get(a) or s.codes.lines["battery"]
            lb = s.codes.lines.get(b) or s.codes.lines["battery"]
            own = math.hypot(la.u_gain_rel * va, lb.u_gain_rel * vb, la.u_offset_v, lb.u_offset_v)
            return math.hypot(own, la.u_shared_rel * (va - vb))
        return math.hypot(self._csv(va), self._csv(vb), self._step() / 3.0)

    @property
    def spacing_s(self) -> float:
        """Time between two samples of a lead."""
        s = self.start
        return len(s.codes.roles) * CONVERSION_S if s.codes is not None else 1.0 / s.plan.record.rate_hz

    @property
    def time_s(self) -> float:
        """Of a stretch's length: half a spacing, and the board's input network."""
        spacing = max(self.spacing_s, self.blur_s)
        return math.hypot(spacing / 2.0, FILTER_S / math.sqrt(3.0) if self.start.codes is not None else 0.0)

    @property
    def join_s(self) -> float:
        """Two openings closer than this may lie in one bin, or between two rows."""
        s = self.start
        return s.codes.bin_s if s.codes is not None else 1.5 * self.spacing_s

    @property
    def blur_s(self) -> float:
        """A board counts runs of one lead; judged against another lead (module ground) only its bins are left."""
        s = self.start
        return s.codes.bin_s if s.codes is not None and "module_ground" in s.codes.roles else 0.0

    def _csv(self, v: float) -> float:
        rel, off = stated(self.start.plan)
        return math.hypot(rel * v, off) / math.sqrt(3.0)

    def _step(self) -> float:
        tricks = self.start.plan.record.tricks
        if tricks.get("bits") == 8:
            return float(tricks["range_v"]) / 256.0
        return 50.0 * self.start.plan.scale / 4096.0
