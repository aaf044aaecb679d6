"""Where the starter turned the engine: from the starter coil's lead, or from the battery's sag with compression ripple.

Never from the key feed: that is what is on trial. The sag of an intake heater has no ripple and is not a crank.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstcrank.analysis.view import BoolArray
from firstcrank.trace import FloatArray, Trace

COIL_JOIN_S = 0.2  # a coil that chatters is still one crank
COIL_SHORTEST_S = 0.05
FALL_V = 0.7  # at 12 V: the starter's inrush pulls any battery down by more within FALL_WITHIN_S
FALL_WITHIN_S = 0.06
RIPPLE_LOW_HZ, RIPPLE_HIGH_HZ = 1.5, 40.0
RIPPLE_SHARE = 0.35  # of the sag's fluctuation that one rhythm and its harmonics must explain
RIPPLE_PEAK_TO_PEAK_V = 0.04  # at 12 V
RESAMPLE_HZ = 400.0
COARSEST_S = 0.03


@dataclass(frozen=True, slots=True)
class Turning:
    """A stretch in which the starter worked.

    `start_s`: the coil went live, or the sag began. `sag_s`: the battery's sag began, None where it did not sag.
    `by_coil`: found by the coil's lead. `sag_v` is how far the battery fell, mean while turning, volts.
    """

    start_s: float
    end_s: float
    sag_s: float | None
    by_coil: bool
    sag_v: float


def find_turnings(trace: Trace, scale: float) -> tuple[Turning, ...]:
    """Every crank in time order. `scale` is 1 for a 12 V system and 2 for 24 V."""
    sags = _sags_with_ripple(trace, scale)
    coil = _coil_stretches(trace, scale)
    found = [_with_sag(trace, start_s, end_s, scale) for start_s, end_s in coil]
    for sag in sags:
        if not any(t.start_s - 0.3 <= sag.end_s and sag.start_s <= t.end_s + 0.3 for t in found):
            found.append(sag)
    return tuple(sorted(found, key=lambda turning: turning.start_s))


def _coil_stretches(trace: Trace, scale: float) -> list[tuple[float, float]]:
    """Stretches with the starter coil live; none where it is live from the first bin on (the lead sits elsewhere)."""
    if not trace.has("starter_coil") or len(trace) == 0:
        return []
    coil = trace.channels["starter_coil"].mean_v
    live = coil > np.maximum(3.0 * scale, 0.4 * np.minimum(trace.channels["battery"].mean_v, 12.0 * scale))
    stretches = stretches_of(live, trace.start_s, trace.end_s, join_s=COIL_JOIN_S)
    return [(a, b) for a, b in stretches if b - a >= COIL_SHORTEST_S and a > trace.start_s[0]]


def stretches_of(chosen: BoolArray, start_s: FloatArray, end_s: FloatArray, join_s: float = 0.0) -> list[tuple[float, float]]:
    """(start, end) of every run of chosen bins, runs closer than `join_s` joined."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], chosen.astype(np.int8), [0]))))
    joined: list[tuple[float, float]] = []
    for first, past in zip(edges[::2], edges[1::2], strict=True):
        begin, end = float(start_s[first]), float(end_s[past - 1])
        if joined and begin - joined[-1][1] < join_s:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((begin, end))
    return joined


def _with_sag(trace: Trace, start_s: float, end_s: float, scale: float) -> Turning:
    battery = trace.channels["battery"].mean_v
    before = (trace.end_s <= start_s) & (trace.end_s > start_s - 0.3)
    level_v = float(np.median(battery[before])) if before.any() else float(battery[0])
    inside = (trace.start_s >= start_s) & (trace.end_s <= end_s)
    fell = inside & (battery < level_v - 0.4 * scale)
    sag_s = float(trace.start_s[np.flatnonzero(fell)[0]]) if fell.any() else None
    sag_v = level_v - float(battery[inside].mean()) if inside.any() else 0.0
    return Turning(start_s, end_s, sag_s, by_coil=True, sag_v=sag_v)


def _sags_with_ripple(trace: Trace, scale: float) -> list[Turning]:
    if len(trace) < 8 or float(np.median(np.diff(trace.start_s))) > COARSEST_S:
        return []  # too slow to tell an inrush from a heater
    grid_s, battery_v = resampled(trace.mid_s, trace.channels["battery"].mean_v)
    window = max(int(FALL_WITHIN_S * RESAMPLE_HZ), 2)
    if len(grid_s) < 3 * window:
        return []
    found: list[Turning] = []
    windows = np.lib.stride_tricks.sliding_window_view(battery_v, window)
    fell = windows[:-window].mean(axis=1) - windows[window:].min(axis=1) >= FALL_V * scale
    candidates = np.flatnonzero(fell) + window
    at = 0
    for candidate in candidates.tolist():
        if candidate < at:
            continue
        at = candidate
        level_v = float(battery_v[at - window : at].mean())
        past = _end_of_sag(battery_v, at, level_v, scale)
        if has_ripple(grid_s[at:past], battery_v[at:past], scale):
            fell = np.flatnonzero(battery_v[at:past] < level_v - 0.3 * scale)
            start_s = float(grid_s[at + (fell[0] if len(fell) else 0)])
            sag_v = level_v - float(battery_v[at:past].mean())
            found.append(Turning(start_s, float(grid_s[past - 1]), start_s, by_coil=False, sag_v=sag_v))
            at = max(past, at + 1)
        else:
            at += window
    return found


def _end_of_sag(battery_v: FloatArray, at: int, level_v: float, scale: float) -> int:
    """Index behind the last grid point before the battery steps back up above its own ripple."""
    settle = min(at + int(0.15 * RESAMPLE_HZ), len(battery_v) - 1)
    reach = min(settle + int(0.5 * RESAMPLE_HZ), len(battery_v))
    plateau = battery_v[settle:reach]
    top_v = float(np.percentile(plateau, 95)) if len(plateau) else level_v
    mean_v = float(np.median(plateau)) if len(plateau) else level_v
    threshold_v = top_v + 0.25 * max(level_v - mean_v, 0.4 * scale)
    above = np.flatnonzero(battery_v[settle:] > min(threshold_v, level_v - 0.15 * scale))
    return settle + int(above[0]) if len(above) else len(battery_v)


def has_ripple(at_s: FloatArray, volts: FloatArray, scale: float) -> bool:
    """True where a sag carries the rhythm of compressions, its first 0.15 s (the inrush) left out."""
    settled = at_s >= at_s[0] + 0.15 if len(at_s) else np.zeros(0, dtype=bool)
    if settled.sum() < 0.12 * RESAMPLE_HZ:
        return False
    swing = volts[settled]
    index = np.arange(len(swing))
    swing = swing - np.polyval(np.polyfit(index, swing, 2), index)
    if np.percentile(swing, 95) - np.percentile(swing, 5) < RIPPLE_PEAK_TO_PEAK_V * scale:
        return False
    power = np.abs(np.fft.rfft(swing * np.hanning(len(swing)), n=4 * len(swing))) ** 2
    hz = np.fft.rfftfreq(4 * len(swing), 1.0 / RESAMPLE_HZ)
    band = (hz >= RIPPLE_LOW_HZ) & (hz <= RIPPLE_HIGH_HZ)
    if not band.any() or power.sum() == 0:
        return False
    peak_hz = float(hz[band][np.argmax(power[band])])
    width_hz = 2.0 * RESAMPLE_HZ / len(swing)
    rhythm = np.zeros(len(hz), dtype=bool)
    for harmonic in (0.5, 1.0, 2.0, 3.0):  # half: one cylinder weaker than the others
        rhythm |= np.abs(hz - harmonic * peak_hz) <= width_hz
    return bool(power[rhythm].sum() >= RIPPLE_SHARE * power[hz > 0.5].sum())


def resampled(at_s: FloatArray, volts: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The same curve on an even grid of RESAMPLE_HZ, by linear interpolation; shapes (m,)."""
    if len(at_s) < 2:
        return np.zeros(0), np.zeros(0)
    grid = np.arange(float(at_s[0]), float(at_s[-1]), 1.0 / RESAMPLE_HZ)
    return grid, np.interp(grid, at_s, volts)
