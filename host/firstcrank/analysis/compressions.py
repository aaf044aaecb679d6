"""The rhythm of compressions in the battery's voltage: turning points that come regularly and are no switching steps.

Every compression slows the starter, which then pulls more current. A heater that settles has no turning points, one that cycles
has steps. What the battery alone cannot tell from a crank is an inrush followed by a steady ripple of 2 to 40 Hz.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstcrank.analysis.grid import resampled, smoothed
from firstcrank.thresholds import CrankThresholds
from firstcrank.thresholds.sag import SAG
from firstcrank.trace import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Rhythm:
    """Compressions in a row: times of the battery's lows, shape (m,), seconds; `swing_v` their median size, volts.

    `until_s`: the last low that follows them, regular or not. `noise_v`: standard deviation of the noise left in the curve, volts.
    """

    lows_s: FloatArray
    swing_v: float
    until_s: float
    noise_v: float = 0.0

    @property
    def period_s(self) -> float:
        """Median interval."""
        return float(np.median(np.diff(self.lows_s)))

    @property
    def last_s(self) -> float:
        """The last low."""
        return float(self.lows_s[-1])


def find_rhythm(
    at_s: FloatArray, volts: FloatArray, sag_v: float, th: CrankThresholds, step_noise: float = 0.0
) -> Rhythm | None:
    """The longest row of compressions in a stretch of battery voltage (m,), or None where there is no such rhythm.

    `step_noise`: so many times the noise is no switching step. Above 0 a cycling heater with much noise may pass for compressions:
    only where something else says that the starter worked, or where a crank is suspected.
    """
    grid_s, raw_v = resampled(at_s, volts, th.grid_hz)
    if len(grid_s) < int(SAG.shortest_grid * th.interval_least_s * th.grid_hz) + SAG.least_grid:
        return None
    fine_v = smoothed(raw_v, round(th.smooth_s * th.grid_hz))
    swing = fine_v - smoothed(fine_v, min(round(SAG.trend_s * th.grid_hz), len(fine_v)))
    noise_v = float(np.median(np.abs(np.diff(raw_v, 2)))) / 1.65  # a second difference of white noise has sqrt(6) of it
    least_v = max(th.swing_least_v, th.swing_of_sag * sag_v, SAG.noise_times * noise_v / np.sqrt(3.0))
    points = turning_points(swing, least_v)
    if len(points) < 2 * int(th.swings_regular):
        return None
    sizes = np.abs(np.diff(swing[points]))
    points = turning_points(swing, max(least_v, th.swing_share * float(np.median(sizes))))
    if len(points) < 2 * int(th.swings_regular):
        return None
    lows = np.asarray([p for i, p in enumerate(points) if _is_low(swing, points, i)])
    chain = _longest_chain(grid_s[lows], th)
    if chain is None or _mostly_steps(raw_v, points, step_noise * noise_v, th):
        return None
    first, past = chain
    begins_s = _begins(grid_s[lows], first, th)
    if begins_s - float(grid_s[0]) > th.first_low_s:  # an engine turns at once: these are a later crank's, look before them
        past = int(np.searchsorted(at_s, begins_s - th.settle_s))
        return find_rhythm(at_s[:past], volts[:past], sag_v, th, step_noise) if past < len(at_s) else None
    inside = points[(grid_s[points] >= grid_s[lows[first]]) & (grid_s[points] <= grid_s[lows[past - 1]])]
    if past - first < th.swings_enough and _mostly_trend(fine_v, swing, inside, th):  # few lows may be what steps leave behind
        return None
    lows_s = grid_s[lows]
    last = past - 1
    while last + 1 < len(lows_s) and lows_s[last + 1] - lows_s[last] <= th.interval_most_s:
        last += 1
    swing_v = float(np.median(np.abs(np.diff(swing[inside]))))
    return Rhythm(lows_s[first:past], swing_v, float(lows_s[last]), noise_v / float(np.sqrt(3.0)))


def turning_points(volts: FloatArray, least_v: float) -> IntArray:
    """Indices at which the curve turns by at least `least_v`, lows and highs in turn."""
    points: list[int] = []
    low = high = 0
    going = 0
    for i, v in enumerate(volts.tolist()):
        if v < volts[low]:
            low = i
        if v > volts[high]:
            high = i
        if going <= 0 and v - volts[low] >= least_v:
            points.append(low)
            going, high, low = 1, i, i
        elif going >= 0 and volts[high] - v >= least_v:
            points.append(high)
            going, low, high = -1, i, i
        if going > 0:
            low = i
        elif going < 0:
            high = i
    if going > 0:
        points.append(high)
    elif going < 0:
        points.append(low)
    return np.asarray(points, dtype=np.int64)


def _is_low(volts: FloatArray, points: IntArray, i: int) -> bool:
    other = points[i + 1] if i + 1 < len(points) else points[i - 1]
    return bool(volts[points[i]] < volts[other])


def _longest_chain(lows_s: FloatArray, th: CrankThresholds) -> tuple[int, int] | None:
    """First and past index of the longest row of lows that come regularly; None where none is long enough."""
    best: tuple[int, int] | None = None
    first = 0
    while first < len(lows_s) - 1:
        past, odd = _chain_from(lows_s, first, th)
        count = past - first
        good = count >= th.swings_regular if odd == 0 else count - odd >= th.swings_enough
        if good and (best is None or count > best[1] - best[0]):
            best = (first, past)
        first = max(past - 1, first + 1)
    return best


def _chain_from(lows_s: FloatArray, first: int, th: CrankThresholds) -> tuple[int, int]:
    kept: list[float] = []
    past, odd, since_odd = first + 1, 0, 0
    while past < len(lows_s):
        step_s = float(lows_s[past] - lows_s[past - 1])
        if not th.interval_least_s <= step_s <= th.interval_most_s:
            break
        usual_s = float(np.median(kept[-SAG.history :])) if kept else step_s
        if th.interval_low * usual_s <= step_s <= th.interval_high * usual_s:
            kept.append(step_s)
            since_odd += 1
        elif since_odd >= SAG.history - 1:
            odd, since_odd = odd + 1, 0
        else:
            break
        past += 1
    return past, odd


def _begins(lows_s: FloatArray, first: int, th: CrankThresholds) -> float:
    """The first of the lows, regular or not, that lead up to the first of the chain, seconds."""
    while first > 0 and lows_s[first] - lows_s[first - 1] <= th.interval_most_s:
        first -= 1
    return float(lows_s[first])


def _mostly_trend(fine_v: FloatArray, swing: FloatArray, points: IntArray, th: CrankThresholds) -> bool:
    """True where the voltage itself makes few of the swings: the moving mean makes them on both sides of a step."""
    whole = np.diff(swing[points])
    made = np.diff(fine_v[points]) * np.sign(whole)
    return bool((made >= th.swing_raw_share * np.abs(whole)).mean() < th.swings_made_share)


def _mostly_steps(raw_v: FloatArray, points: IntArray, allowed_v: float, th: CrankThresholds) -> bool:
    """True where most swings come within one switching time. `allowed_v`: what noise adds to the fastest change."""
    width = max(round(th.step_s * th.grid_hz), 1)
    steps = 0
    for a, b in zip(points[:-1].tolist(), points[1:].tolist(), strict=True):
        piece = raw_v[a : b + 1]
        whole = abs(float(piece[-1] - piece[0]))
        if len(piece) <= width + 1:
            continue
        fastest = float(np.abs(piece[width:] - piece[:-width]).max())
        steps += fastest > th.step_share * max(whole, 1e-9) + allowed_v
    return steps > 0.5 * (len(points) - 1)
