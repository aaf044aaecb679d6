"""A start as a board records it: round robin over its leads, 2 us a conversion, folded into bins of 0.768 ms.

Bins in which nothing moves fast are filled from the grid's three points, noise and a bank of extreme values; bins with an edge in
them are converted one conversion after another, through the input's time constant.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from tests.strangers.converter import NOISE_CODE, TOP, Line, extremes, lines, staircase
from tests.strangers.world import FILTER_S

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
CONVERSION_S = 2e-6
BIN_S = 0.768e-3


def conversions_per_bin(leads: int) -> int:
    """Of each lead, in a bin of about 0.768 ms."""
    return max(int(BIN_S / CONVERSION_S) // leads, 1)


def bin_s(leads: int) -> float:
    """Length of a bin: whole rounds of the converter."""
    return conversions_per_bin(leads) * leads * CONVERSION_S


@dataclass(slots=True)
class Codes:
    """Bins in codes. `mean16` in sixteenths, all (n, leads); runs (n,) in conversions; `first_bin` (n,) numbers of the bins."""

    roles: tuple[str, ...]
    lines: dict[str, Line]
    count: int
    mean16: Ints
    lowest: Ints
    highest: Ints
    longest: Ints
    head: Ints
    tail: Ints
    trigger: int
    number: Ints

    @property
    def bin_s(self) -> float:
        """Length of a bin."""
        return self.count * len(self.roles) * CONVERSION_S


def filtered(t: Floats, v: Floats) -> Floats:
    """`v` behind the input's time constant, at the same points; exact for straight lines between points."""
    h = np.diff(t)
    slope = np.diff(v) / h
    out = v.copy()
    out[1:] -= slope * FILTER_S  # a slow input is followed with this lag
    fade = np.exp(-h / FILTER_S)
    busy = np.flatnonzero((h < 6 * FILTER_S) | (np.abs(slope) * FILTER_S > 0.02)) + 1
    # Where points lie close, step by step. A run of them begins at a settled value.
    ramp = slope * FILTER_S
    fl, rl, vl = fade[busy - 1].tolist(), ramp[busy - 1].tolist(), v[busy - 1].tolist()
    wl = v[busy].tolist()
    before = -2
    y = 0.0
    res = out[busy].tolist()
    prior = out[busy - 1].tolist()
    for k, i in enumerate(busy.tolist()):
        if i != before + 1:
            y = prior[k]
        y = wl[k] - rl[k] + (y - vl[k] + rl[k]) * fl[k]
        res[k] = y
        before = i
    out[busy] = res
    return out


def sample(
    rng: Generator,
    t: Floats,
    even: Ints,
    recorded: dict[str, Floats],
    trigger_v: float,
    system_v: int,
    full_scale_v: float | None = None,
    spikes: Floats | None = None,
) -> Codes:
    """Bins of all leads. `even` indexes two points a bin; `recorded[role]` volts at the clip, shape (m,) at times `t`.

    `spikes`: volts added to single conversions, the same on all leads, shape (k, 2) of (time, volts).
    """
    roles = tuple(recorded)
    leads = len(roles)
    count = conversions_per_bin(leads)
    n = (len(even) - 1) // 2
    made = lines(rng, roles, system_v, full_scale_v)
    lows, highs = extremes(count)
    shape = (n, leads)
    mean16, lowest, highest = (np.zeros(shape, dtype=np.int64) for _ in range(3))
    longest, head, tail = (np.zeros(n, dtype=np.int64) for _ in range(3))
    trigger = made["key_switch"].code(trigger_v) if "key_switch" in made else 0
    edges = even[: 2 * n + 1 : 2]
    t0 = t[edges[0]]
    has_extra = np.diff(edges) > 2
    width = count * leads * CONVERSION_S
    for c, role in enumerate(roles):
        line = made[role]
        x = line.ideal(filtered(t, recorded[role]))
        starts = edges[:-1]
        low_x = np.minimum(np.minimum.reduceat(x[: edges[-1]], starts), x[edges[1:]])
        high_x = np.maximum(np.maximum.reduceat(x[: edges[-1]], starts), x[edges[1:]])
        mid = x[even[1 : 2 * n : 2]]
        mean_x = (x[edges[:-1]] + 4 * mid + x[edges[1:]]) / 6.0
        busy = has_extra & (high_x - low_x > 2.0)
        if spikes is not None and len(spikes):
            hit = ((spikes[:, 0] - t0) / width).astype(int)
            busy[hit[(hit >= 0) & (hit < n)]] = True
        pick = rng.integers(0, len(lows), n)
        low_c = np.clip(np.rint(staircase(low_x + NOISE_CODE * lows[pick])), 0, TOP)
        high_c = np.clip(np.rint(staircase(high_x + NOISE_CODE * highs[pick])), 0, TOP)
        if role == "key_switch":
            busy |= (low_c < trigger) & (high_c >= trigger)
            longest[:] = head[:] = tail[:] = np.where(high_c < trigger, count, 0)
        mean_c = staircase(mean_x) + rng.standard_normal(n) * (math.hypot(NOISE_CODE, 0.3) / math.sqrt(count))
        mean16[:, c] = np.clip(np.rint(mean_c * 16), low_c * 16, high_c * 16)
        lowest[:, c], highest[:, c] = low_c, high_c
        which = np.flatnonzero(busy)
        if not len(which):
            continue
        codes = _convert(rng, t, x, t0 + which * width, count, leads, c, line, spikes)
        mean16[which, c] = np.rint(codes.mean(axis=1) * 16)
        lowest[which, c], highest[which, c] = codes.min(axis=1), codes.max(axis=1)
        if role == "key_switch":
            longest[which], head[which], tail[which] = runs(codes < trigger)
    return Codes(roles, made, count, mean16, lowest, highest, longest, head, tail, trigger, np.arange(n))


def _convert(
    rng: Generator,
    t: Floats,
    x: Floats,
    begin: Floats,
    count: int,
    leads: int,
    c: int,
    line: Line,
    spikes: Floats | None,
) -> Floats:
    """Codes of the bins that begin at `begin`, shape (bins, count)."""
    at = begin[:, None] + (np.arange(count) * leads + c) * CONVERSION_S
    ideal = np.interp(at.ravel(), t, x).reshape(at.shape)
    if spikes is not None and len(spikes):
        # the converter takes one lead after another: a spike of less than a round hits the conversion nearest on each lead
        for when, volts in spikes:
            k = int(np.searchsorted(begin, when, side="right")) - 1
            if 0 <= k < len(begin):
                j = int((when - begin[k]) / (leads * CONVERSION_S))
                if j < count:
                    ideal[k, j] += volts / line.true_gain_v
    ideal += rng.standard_normal(at.shape, dtype=np.float32) * NOISE_CODE
    return np.clip(np.rint(staircase(ideal)), 0, TOP)


def runs(below: NDArray[np.bool_]) -> tuple[Ints, Ints, Ints]:
    """Longest run of True in each row, the one that touches its start, the one that touches its end."""
    count = below.shape[1]
    place = np.arange(1, count + 1)
    last_clear = np.maximum.accumulate(np.where(below, 0, place), axis=1)
    length = place - last_clear
    longest = length.max(axis=1)
    tail = length[:, -1]
    clear = ~below
    head = np.where(clear.any(axis=1), clear.argmax(axis=1), count)
    return longest.astype(np.int64), head.astype(np.int64), tail.astype(np.int64)
