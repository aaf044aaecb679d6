"""Starts made by hand, with every time exact: a battery, a starter, a key, drawn by formula and folded here.

Independent of the simulator, of the strangers' generator and of every product module but the trace type. All data here is
synthetic. Times in seconds from the first sample, volts against battery negative.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstcrank.trace import Channel, Hole, KeyRuns, Trace, Uncertainty

Volts = NDArray[np.float64]

STEP_S = 24e-6  # between two conversions of one lead
PER_BIN = 32
BIN_S = STEP_S * PER_BIN
FINE = Uncertainty(gain_rel=2e-4, offset_v=0.001, shared_gain_rel=1e-4, noise_v=0.006)  # far finer than any board's
FULL_SCALE_V = 18.3
PULL_IN_S = 0.02  # the solenoid's contact closes this long after its coil is live
DROP_OUT_S = 0.004  # and opens this long after it is dead
FEED_DROP_V = 0.12


@dataclass(frozen=True, slots=True)
class Crank:
    """One crank, from S terminal live to dead. `catch_s`: the engine takes over this long before the starter is let go."""

    start_s: float = 3.0
    length_s: float = 3.0
    catch_s: float = 0.0
    sag_v: float = 2.3
    inrush_v: float = 2.0
    swing_v: float = 0.35
    hz: float = 9.0

    @property
    def end_s(self) -> float:
        """LET GO."""
        return self.start_s + self.length_s


@dataclass(frozen=True, slots=True)
class Setup:
    """What happens. `offs`: (OFF, ON again) between cranks; `off_s`: OFF for good, None for never.

    `charges_s`: the alternator begins to charge this long after the last LET GO; None: the engine does not run.
    """

    on_s: float = 1.0
    cranks: tuple[Crank, ...] = (Crank(),)
    off_s: float | None = None
    offs: tuple[tuple[float, float], ...] = ()
    end_s: float = 8.4
    charges_s: float | None = None
    rest_v: float = 12.6
    lead: bool = True
    scale: float = 1.0
    step_s: float = STEP_S

    @property
    def last(self) -> Crank:
        """The last crank."""
        return self.cranks[-1]


@lru_cache(maxsize=24)
def _base(setup: Setup) -> tuple[Volts, dict[str, Volts]]:
    t = np.arange(round(setup.end_s / BIN_S) * round(BIN_S / setup.step_s), dtype=np.float64) * setup.step_s
    on = t >= setup.on_s
    for off_s, again_s in setup.offs:
        on &= (t < off_s) | (t >= again_s)
    if setup.off_s is not None:
        on &= t < setup.off_s
    battery = setup.rest_v - 0.1 * on
    coil = np.zeros_like(t, dtype=bool)
    for crank in setup.cranks:
        live = (t >= crank.start_s) & (t < crank.end_s)
        coil |= live
        battery = battery - 0.08 * live - _sag(crank, t)
    if setup.charges_s is not None:
        since = np.clip(t - setup.last.end_s - setup.charges_s, 0.0, None)
        battery = battery + (14.0 - setup.rest_v) * (1.0 - np.exp(-since / 0.7))
    volts = {"battery": battery, "key_switch": np.where(on, battery - FEED_DROP_V, 0.0)}
    if setup.lead:
        volts["starter_coil"] = np.where(coil, battery - 0.3, 0.0)
    volts = {role: np.asarray(v * setup.scale) for role, v in volts.items()}
    for values in (t, *volts.values()):
        values.setflags(write=False)
    return t, volts


def _sag(crank: Crank, t: Volts) -> Volts:
    """What the starter takes from the battery, and how the battery comes back."""
    closes, opens = crank.start_s + PULL_IN_S, crank.end_s + DROP_OUT_S
    since = np.clip(t - closes, 0.0, None)
    left = np.ones_like(t)
    if crank.catch_s > 0.0:
        left = np.clip((opens - t) / crank.catch_s, 0.25, 1.0)  # the engine takes the load off, gradually
    swing = crank.swing_v * np.where(left < 1.0, np.clip(2.0 * left - 1.0, 0.0, 1.0), 1.0)
    pulled = crank.sag_v * left + crank.inrush_v * np.exp(-since / 0.06) - swing * np.sin(2 * np.pi * crank.hz * since)
    pulled = pulled * (1.0 - np.exp(-since / 0.001))
    after = np.clip(t - opens, 0.0, None)
    came_back = 0.6 * np.exp(-after / 0.5) + 0.4 * np.exp(-after / 0.0008)
    return np.asarray(np.where(t < closes, 0.0, np.where(t < opens, pulled, 0.4 * crank.sag_v * came_back)))


@lru_cache(maxsize=8)
def _noise(seed: int, count: int) -> Volts:
    return np.random.default_rng(seed).normal(0.0, 1.0, count)


@dataclass
class Made:
    """A start to be changed by the test and then sampled. `t`: shape (n,); `volts[role]`: shape (n,)."""

    setup: Setup = field(default_factory=Setup)
    noise_v: float = 0.006
    uncertainty: Uncertainty = FINE
    seed: int = 1

    def __post_init__(self) -> None:
        self.t, base = _base(self.setup)
        self.volts = dict(base)

    # --- changing it

    def between(self, start_s: float, end_s: float) -> slice:
        """Samples from `start_s` to before `end_s`."""
        return slice(int(np.searchsorted(self.t, start_s - 1e-9)), int(np.searchsorted(self.t, end_s - 1e-9)))

    def put(self, role: str, volts: float | Volts, start_s: float, length_s: float) -> Made:
        """The lead is at `volts` (12 V figures, scaled) for a while."""
        return self.change(role, start_s, length_s, lambda t, v: np.broadcast_to(volts * self.setup.scale, v.shape))

    def feed(self, volts: float, start_s: float, length_s: float) -> Made:
        """The key feed is at `volts` for a while."""
        return self.put("key_switch", volts, start_s, length_s)

    def drop(self, volts: float, start_s: float, length_s: float, role: str = "key_switch") -> Made:
        """The lead is lower by `volts` for a while, where it is live."""
        return self.change(role, start_s, length_s, lambda t, v: np.where(v > 1.0, v - volts * self.setup.scale, v))

    def sink(self, volts: float, start_s: float, length_s: float) -> Made:
        """Battery, and every lead that it feeds, lower by `volts`."""
        for role in self.volts:
            self.drop(volts, start_s, length_s, role)
        return self

    def change(self, role: str, start_s: float, length_s: float, how: Callable[[Volts, Volts], Volts]) -> Made:
        """`how(t, volts) -> volts` for one lead and a while."""
        at = self.between(start_s, start_s + length_s)
        values = self.volts[role].copy()
        values[at] = how(self.t[at], values[at])
        self.volts[role] = values
        return self

    def lead(self, role: str, how: Callable[[Made], Volts]) -> Made:
        """Puts a lead on, with the volts that `how` makes of this start."""
        self.volts[role] = np.asarray(how(self), dtype=np.float64)
        return self

    def without(self, role: str) -> Made:
        """Takes a lead off."""
        del self.volts[role]
        return self

    def common(self, volts: float, start_s: float, length_s: float) -> Made:
        """All leads step alike: the common clip moved."""
        for role in self.volts:
            self.change(role, start_s, length_s, lambda t, v: v + volts * self.setup.scale)
        return self

    # --- sampling it

    def bins(
        self, *, holes: tuple[Hole, ...] = (), runs: bool = True, bin_s: float = BIN_S, full_scale_v: float | None = FULL_SCALE_V,
        **trace: Any,
    ) -> Trace:  # fmt: skip
        """As a board records it. `trace`: further fields of the Trace. `full_scale_v`: 12 V figure."""
        scale = self.setup.scale
        step_s = self.setup.step_s
        per_bin = round(bin_s / step_s)
        count = len(self.t) // per_bin
        used = count * per_bin
        top_v = None if full_scale_v is None else full_scale_v * scale
        trigger_v = 7.0 if scale == 1.0 else 7.0 * scale
        channels, below = {}, None
        for i, (role, volts) in enumerate(self.volts.items()):
            seen = volts[:used] + np.roll(_noise(self.seed, len(self.t)), 977 * i)[:used] * self.noise_v * scale
            seen = np.clip(seen, -np.inf, np.inf if top_v is None else top_v)
            rows = seen.reshape(count, per_bin)
            u = replace(self.uncertainty, offset_v=self.uncertainty.offset_v * scale, noise_v=self.uncertainty.noise_v * scale)
            channels[role] = Channel(role, rows.mean(1), rows.min(1), rows.max(1), u, top_v)
            if role == "key_switch":
                below = rows < trigger_v
        start = np.arange(count, dtype=np.float64) * (per_bin * step_s)
        end = start + per_bin * step_s
        kept = np.ones(count, dtype=bool)
        for hole in holes:
            kept &= (end <= hole.start_s + 1e-9) | (start >= hole.end_s - 1e-9)
        counted = None
        if runs and below is not None:
            longest, head, tail = count_runs(below)
            counted = KeyRuns(trigger_v, longest[kept], head[kept], tail[kept])
        return Trace(
            start_s=start[kept],
            end_s=end[kept],
            conversions=np.full(int(kept.sum()), per_bin, dtype=np.int64),
            gap_s=np.full(int(kept.sum()), step_s),
            channels={
                role: Channel(role, c.mean_v[kept], c.lowest_v[kept], c.highest_v[kept], c.uncertainty, c.full_scale_v)
                for role, c in channels.items()
            },
            runs=counted,
            holes=holes,
            **{"origin": {"synthetic": True}, **trace},
        )

    def rows(self, every: int = 4, *, uncertainty: Uncertainty | None = None, keep: NDArray[np.bool_] | None = None) -> Trace:
        """As another logger's CSV: single readings, one of `every` samples (4: 96 us). `keep`: rows that are there."""
        at = np.arange(0, len(self.t), every)
        if keep is not None:
            at = at[keep[: len(at)]]
        start = self.t[at]
        end = np.append(start[1:], start[-1] + every * self.setup.step_s)
        u = uncertainty or replace(self.uncertainty, noise_v=0.0)
        channels = {}
        for i, (role, volts) in enumerate(self.volts.items()):
            seen = volts[at] + np.roll(_noise(self.seed, len(self.t)), 977 * i)[at] * self.noise_v * self.setup.scale
            channels[role] = Channel(role, seen, seen, seen, u, None)
        return Trace(start, end, np.ones(len(at), dtype=np.int64), end - start, channels, origin={"format": "csv"})


def count_runs(below: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Longest, head and tail runs of True in each row, by the plainest loop there is."""
    longest, head, tail = (np.zeros(len(below), dtype=np.int64) for _ in range(3))
    full = below.all(axis=1)
    longest[full] = head[full] = tail[full] = below.shape[1]
    for i in np.flatnonzero(below.any(axis=1) & ~full):
        best = run = 0
        first: int | None = None
        for value in below[i]:
            if value:
                run += 1
            else:
                first = run if first is None else first
                run = 0
            best = max(best, run)
        longest[i], tail[i], head[i] = best, run, first or 0
    return longest, head, tail


def cut(trace: Trace, count: int) -> Trace:
    """The first `count` bins."""
    keep = slice(0, count)
    channels = {
        role: replace(c, mean_v=c.mean_v[keep], lowest_v=c.lowest_v[keep], highest_v=c.highest_v[keep])
        for role, c in trace.channels.items()
    }
    runs = trace.runs and replace(
        trace.runs, longest=trace.runs.longest[keep], head=trace.runs.head[keep], tail=trace.runs.tail[keep]
    )
    end_s = trace.end_s[count - 1] if count else 0.0
    return replace(
        trace,
        start_s=trace.start_s[keep],
        end_s=trace.end_s[keep],
        conversions=trace.conversions[keep],
        gap_s=trace.gap_s[keep],
        channels=channels,
        runs=runs,
        holes=tuple(h for h in trace.holes if h.start_s < end_s),
    )


def hole(start_s: float, end_s: float) -> Hole:
    """Bins lost, whole bins only."""
    first, last = round(start_s / BIN_S), round(end_s / BIN_S)
    return Hole(first * BIN_S, last * BIN_S, "bytes were lost on the way")
