"""A start drawn by hand: waveforms conversion by conversion, folded here and not by any code under test.

Independent of the simulator on purpose: the judge is held against two descriptions of a start that share nothing.
All data here is synthetic.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from firstcrank.trace import Channel, Hole, KeyRuns, Trace, Uncertainty

STEP_S = 24e-6  # between two conversions of one channel
PER_BIN = 32
BIN_S = STEP_S * PER_BIN
KEY_ON_S, TURN_S, CRANK_S, RELEASE_S, END_S = 2.0, 5.0, 5.08, 9.0, 12.6
Volts = np.ndarray


@dataclass
class Start:
    """A healthy 12 V start, changed by the test before `trace()`. Times in seconds, shapes (n,)."""

    end_s: float = END_S
    release_s: float = RELEASE_S
    scale: float = 1.0
    noise_v: float = 0.006
    t: Volts = field(init=False)
    volts: dict[str, Volts] = field(init=False)

    def __post_init__(self) -> None:
        self.t = np.arange(int(self.end_s / BIN_S) * PER_BIN) * STEP_S
        self.volts = {"battery": self.battery(), "key_switch": np.zeros(1), "starter_coil": np.zeros(1)}
        self.volts["key_switch"] = np.where(self.t >= KEY_ON_S, self.volts["battery"] - 0.12, 0.0)
        self.volts["starter_coil"] = np.where(self.cranking(), self.volts["battery"] - 0.35, 0.0)

    def cranking(self) -> Volts:
        return (self.t >= CRANK_S - 0.02) & (self.t < self.release_s)

    def battery(self) -> Volts:
        since = self.t - CRANK_S
        crank = 10.2 - 2.2 * np.exp(-since / 0.06) + 0.35 * np.sin(2 * np.pi * 10.0 * since)
        back = 12.4 - 1.2 * np.exp(-(self.t - self.release_s) / 0.5)
        rest = np.where(self.t < KEY_ON_S, 12.62, 12.5)
        started = np.where(since < 0, rest, np.where(self.t < self.release_s, crank, back))
        return np.asarray(started)

    def during(self, start_s: float, duration_s: float) -> Volts:
        return (self.t >= start_s) & (self.t < start_s + duration_s)

    def feed_to(self, volts: float | Volts, start_s: float, duration_s: float) -> Start:
        """The key feed is at `volts` for a while."""
        self.volts["key_switch"] = np.where(self.during(start_s, duration_s), volts, self.volts["key_switch"])
        return self

    def change(self, role: str, how: Callable[[Volts, Volts], Volts]) -> Start:
        """`how(t, volts) -> volts` for one lead."""
        self.volts[role] = how(self.t, self.volts[role])
        return self

    def trace(self, *, holes: tuple[Hole, ...] = (), complete: bool = True, trigger_v: float = 7.0) -> Trace:
        rng = np.random.default_rng(1)
        channels = {}
        for role, volts in self.volts.items():
            seen = (volts * self.scale + rng.normal(0, self.noise_v, self.t.shape)).reshape(-1, PER_BIN)
            seen = np.clip(seen, 0.0, 18.3 * self.scale)
            channels[role] = Channel(
                role, seen.mean(1), seen.min(1), seen.max(1), Uncertainty(0.002, 0.005, 0.001, 0.006), 18.3 * self.scale
            )
            if role == "key_switch":
                runs = key_runs(seen < trigger_v, trigger_v)
        bins = len(self.t) // PER_BIN
        start = np.arange(bins, dtype=np.float64) * BIN_S
        kept = np.ones(bins, dtype=bool)
        for hole in holes:
            kept &= (start + BIN_S <= hole.start_s) | (start >= hole.end_s)
        pick = {
            role: Channel(role, c.mean_v[kept], c.lowest_v[kept], c.highest_v[kept], c.uncertainty, c.full_scale_v)
            for role, c in channels.items()
        }
        return Trace(
            start_s=start[kept],
            end_s=start[kept] + BIN_S,
            conversions=np.full(int(kept.sum()), PER_BIN, dtype=np.int64),
            gap_s=np.full(int(kept.sum()), STEP_S),
            channels=pick,
            runs=KeyRuns(trigger_v, runs.longest[kept], runs.head[kept], runs.tail[kept]),
            holes=holes,
            complete=complete,
            origin={"synthetic": True},
        )


def key_runs(below: np.ndarray, trigger_v: float) -> KeyRuns:
    """Runs below the trigger, bin by bin, by the plainest loop there is."""
    longest, head, tail = (np.zeros(len(below), dtype=np.int64) for _ in range(3))
    for i in np.flatnonzero(below.any(axis=1)):
        best = run = 0
        first: int | None = None
        for value in below[i]:
            if value:
                run += 1
            else:
                first = run if first is None else first
                run = 0
            best = max(best, run)
        longest[i], tail[i] = best, run
        head[i] = len(below[i]) if first is None else first
    return KeyRuns(trigger_v, longest, head, tail)
