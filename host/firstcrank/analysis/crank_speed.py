"""Crank speed from the battery's ripple: every compression slows the starter and pulls a little more current.

Four-stroke: f = rpm x cylinders / 120 (textbook). The mean speed is the turned phase of that rhythm over the steady window.
Where the window, the sampling or the rhythm cannot support a number it is refused with the reason: never wrong by a factor of two.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firstcrank.analysis.grid import resampled
from firstcrank.thresholds.speed import SPEED
from firstcrank.trace import FloatArray, Trace


@dataclass(frozen=True, slots=True)
class Rhythm:
    """The compressions' rhythm in a window. `phase`: radians on the grid `at_s`, shape (m,); `swing_v` the detrended battery."""

    hz: float
    at_s: FloatArray
    swing_v: FloatArray
    phase: FloatArray


@dataclass(frozen=True, slots=True)
class Speed:
    """`rpm` and its expanded uncertainty (k = 2), or None and why in plain words."""

    rpm: float | None
    expanded_rpm: float | None
    note: str
    rhythm: Rhythm | None = None


def _refused(why: str) -> Speed:
    return Speed(None, None, why)


def crank_speed(trace: Trace, begin_s: float, end_s: float, cylinders: int | None) -> Speed:
    """Mean speed between `begin_s` (the sag begins) and `end_s` (the starter lets go)."""
    if cylinders is None:
        return _refused("crank speed: give the number of cylinders (--cylinders)")
    from_s = begin_s + SPEED.settle_s
    to_s = min(end_s - SPEED.leave_s, _fires_s(trace, begin_s, from_s, end_s, cylinders))
    if to_s - from_s < SPEED.shortest_s:
        return _refused(f"crank speed refused: only {max(to_s - from_s, 0.0):.1f} s of steady cranking")
    low_hz, high_hz = (rpm * cylinders / 120.0 for rpm in (SPEED.lowest_rpm, SPEED.highest_rpm))
    inside = (trace.start_s >= from_s) & (trace.end_s <= to_s)
    if inside.sum() < 8 or float(np.diff(trace.start_s[inside]).max()) > SPEED.coarsest_share / high_hz:
        return _refused("crank speed refused: the readings are too far apart, or some are missing")
    at_s, battery_v = resampled(trace.mid_s[inside], trace.channels["battery"].mean_v[inside])
    swing_v = detrended(battery_v)
    hz, power = spectrum(swing_v)
    found = _strongest(
        hz, power, SPEED.search_below * low_hz, min(SPEED.search_above * high_hz, SPEED.search_grid * SPEED.grid_hz)
    )
    if (
        float(np.percentile(swing_v, SPEED.swing_percent) - np.percentile(swing_v, 100.0 - SPEED.swing_percent))
        < SPEED.least_swing_v
    ):
        return _refused("crank speed refused: the battery shows no compressions")
    if not low_hz <= found <= high_hz:
        rpm = 120.0 * found / cylinders
        return _refused(
            f"crank speed refused: a ripple of {found:.1f} Hz would be {rpm:.0f} rpm with {cylinders} cylinders, which is "
            "implausible (not a crank, or another number of cylinders)"
        )
    near = _near(hz, power, found, len(swing_v))
    whole = float(power[(hz > SPEED.whole_from * found) & (hz < SPEED.whole_to * found)].sum())
    rhythm_share = (near(1.0) + near(2.0) + near(3.0)) / whole if whole else 0.0
    if rhythm_share < SPEED.rhythm_share:
        return _refused("crank speed refused: no clear rhythm of compressions")
    if near(0.5) > SPEED.ambiguous_share * near(1.0) and found / 2.0 > low_hz:
        return _refused("crank speed refused: two rhythms, one twice as fast as the other")
    rhythm = _follow(at_s, swing_v, found)
    return _speed(rhythm, cylinders)


def _fires_s(trace: Trace, begin_s: float, from_s: float, end_s: float, cylinders: int) -> float:
    """When the engine begins to help the starter: the battery's mean rises well above its level so far; else `end_s`."""
    battery = trace.channels["battery"].mean_v
    before = (trace.end_s <= begin_s) & (trace.end_s > begin_s - SPEED.level_s)
    inside = (trace.start_s >= from_s) & (trace.end_s <= end_s - SPEED.end_s)
    if not before.any() or inside.sum() < SPEED.least_bins:
        return end_s
    at_s, volts = resampled(trace.mid_s[inside], battery[inside])
    width = int(
        max(SPEED.level_width_s, 120.0 / (SPEED.lowest_rpm * cylinders)) * SPEED.grid_hz
    )  # at least one whole compression
    if len(volts) < 4 * width:
        return end_s
    level = np.convolve(volts, np.ones(width) / width, mode="valid")
    usual_v = float(np.median(level[: max(len(level) // 2, 1)]))
    rest_v = float(np.median(battery[before]))
    risen = np.flatnonzero(level > usual_v + SPEED.firing_share * max(rest_v - usual_v, SPEED.least_sag_v))
    late = risen[risen > SPEED.firing_from * len(level)]
    return float(at_s[late[0]]) - SPEED.fires_before_s if len(late) else end_s


def _speed(rhythm: Rhythm, cylinders: int) -> Speed:
    edge = max(int(0.5 / rhythm.hz * SPEED.grid_hz), 4)  # the filter's ends
    phase, at_s = rhythm.phase[edge:-edge], rhythm.at_s[edge:-edge]
    turned = (phase[-1] - phase[0]) / (2.0 * np.pi)
    if turned < SPEED.least_compressions:
        return _refused(f"crank speed refused: only {max(turned, 0.0):.0f} compressions in the steady part")
    middle = len(phase) // 2
    halves = [(phase[b] - phase[a]) / (at_s[b] - at_s[a]) for a, b in ((0, middle), (middle, len(phase) - 1))]
    drift = abs(halves[1] - halves[0]) / abs(halves[0] + halves[1]) * 2.0
    if drift > SPEED.drift_rel:
        return _refused("crank speed refused: the speed changes too much while cranking")
    mean_hz = (phase[-1] - phase[0]) / (2.0 * np.pi * (at_s[-1] - at_s[0]))
    inner_hz = (phase[-1 - edge] - phase[edge]) / (2.0 * np.pi * (at_s[-1 - edge] - at_s[edge]))
    step = np.diff(phase)
    line_hz = float(np.polyfit(at_s - at_s[0], phase, 1)[0]) / (2.0 * np.pi)
    agree = abs(line_hz / mean_hz - 1.0) <= SPEED.two_ways_rel and abs(inner_hz / mean_hz - 1.0) <= SPEED.inner_rel
    if not agree or float(step.min()) < SPEED.slowest_step * float(np.median(step)):
        return _refused("crank speed refused: the rhythm of the compressions is not steady enough")
    # A tenth of a compression at each end, and what the speed changed over the window.
    relative = float(np.hypot(SPEED.end_compressions * np.sqrt(2.0) / turned / 2.0, drift * SPEED.drift_share))
    rpm = float(120.0 * mean_hz / cylinders)
    return Speed(rpm, 2.0 * relative * rpm, "", rhythm)


def detrended(volts: FloatArray) -> FloatArray:
    """Less its slow course (cubic), shape kept."""
    index = np.linspace(-1.0, 1.0, len(volts))
    return np.asarray(volts - np.polyval(np.polyfit(index, volts, 3), index), dtype=np.float64)


def spectrum(swing_v: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Frequencies and power, window Hann, eightfold zero padding."""
    size = 8 * len(swing_v)
    power = np.abs(np.fft.rfft(swing_v * np.hanning(len(swing_v)), n=size)) ** 2
    return np.asarray(np.fft.rfftfreq(size, 1.0 / SPEED.grid_hz), dtype=np.float64), np.asarray(power, dtype=np.float64)


def _strongest(hz: FloatArray, power: FloatArray, low_hz: float, high_hz: float) -> float:
    band = (hz >= low_hz) & (hz <= high_hz)
    return float(hz[band][np.argmax(power[band])]) if band.any() else 0.0


def _near(hz: FloatArray, power: FloatArray, found_hz: float, count: int):  # type: ignore[no-untyped-def]
    width_hz = 1.5 * SPEED.grid_hz / count

    def share(multiple: float) -> float:
        return float(power[np.abs(hz - multiple * found_hz) <= width_hz].sum())

    return share


def _follow(at_s: FloatArray, swing_v: FloatArray, hz: float) -> Rhythm:
    """Phase of the rhythm by the analytic signal of a band of 0.55 to 1.45 times its frequency."""
    size = len(swing_v)
    frequencies = np.fft.fftfreq(size, 1.0 / SPEED.grid_hz)
    bent = np.fft.fft(swing_v)
    keep = (frequencies > SPEED.band_low * hz) & (frequencies < SPEED.band_high * hz)
    analytic = np.fft.ifft(np.where(keep, 2.0 * bent, 0.0))
    return Rhythm(hz, at_s, swing_v, np.unwrap(np.angle(analytic)))
