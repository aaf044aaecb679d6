"""Crank speed from ripples of a known frequency: rpm = 120 f / cylinders, and every reason to refuse a number, on both sides of it."""

from __future__ import annotations

import re

import numpy as np
import pytest

from firstcrank.analysis.crank_speed import Speed, _follow, _near, _speed, _strongest, crank_speed, detrended, spectrum
from firstcrank.trace import FloatArray, Trace

from .plain_trace import BIN_S, flat, plain_trace

BEGIN_S = 1.0
REFUSED = "crank speed refused: "


def cranking(
    hz: float = 6.0,
    *,
    to_hz: float | None = None,
    swing_v: float = 0.4,
    end_s: float = 4.0,
    half_v: float = 0.0,
    bin_s: float = BIN_S,
    helps_v: float = 0.0,
    helps_s: float = 3.0,
) -> Trace:
    """A ripple from 1 s to `end_s`, its frequency going from `hz` to `to_hz`; `half_v` of half the frequency beside it, top to bottom.

    `helps_v`: the battery's mean is that much higher from `helps_s` on.
    """
    battery_v = flat(end_s + 1.0, 12.5, bin_s)
    at_s = (np.arange(len(battery_v)) + 0.5) * bin_s
    inside = (at_s >= BEGIN_S) & (at_s < end_s)
    since_s = at_s[inside] - BEGIN_S
    rate = ((hz if to_hz is None else to_hz) - hz) / (end_s - BEGIN_S)
    turns = hz * since_s + 0.5 * rate * since_s**2
    ripple = 0.5 * swing_v * np.cos(2 * np.pi * turns) + 0.5 * half_v * np.cos(np.pi * turns + 0.7)
    battery_v[inside] = 10.5 + ripple + helps_v * (at_s[inside] >= helps_s)
    return plain_trace({"battery": battery_v}, bin_s=bin_s)


def speed(trace: Trace, end_s: float = 4.0, cylinders: int | None = 4) -> Speed:
    return crank_speed(trace, BEGIN_S, end_s, cylinders)


def rpm(found: Speed) -> float:
    assert found.rpm is not None, found.note
    assert found.note == ""
    return found.rpm


def why(found: Speed) -> str:
    assert (found.rpm, found.expanded_rpm, found.rhythm) == (None, None, None)
    return found.note


# --- a number


@pytest.mark.parametrize(
    ("cylinders", "hz", "expected_rpm"), [(4, 6.0, 180.0), (6, 7.5, 150.0), (3, 5.0, 200.0), (8, 12.0, 180.0), (4, 13.3, 399.0)]
)
def test_revolutions_from_compressions(cylinders: int, hz: float, expected_rpm: float) -> None:
    found = speed(cranking(hz), cylinders=cylinders)
    assert rpm(found) == pytest.approx(expected_rpm, rel=0.005)
    assert found.expanded_rpm is not None
    assert abs(rpm(found) - expected_rpm) < found.expanded_rpm


def test_its_uncertainty_is_a_tenth_of_a_compression_at_each_end() -> None:
    """Turned from 1.4 s to 3.7 s, less half a compression at each end: 6 x 2.3 - 1 = 12.8. k = 2."""
    found = speed(cranking(6.0))
    assert found.expanded_rpm == pytest.approx(180.0 * 0.1 * np.sqrt(2.0) / 12.8, rel=0.02)
    assert found.rhythm is not None
    assert found.rhythm.hz == pytest.approx(6.0, abs=0.06)
    assert found.rhythm.at_s[0] == pytest.approx(1.4, abs=0.004)
    assert found.rhythm.at_s[-1] == pytest.approx(3.7, abs=0.006)


def test_and_what_the_speed_changed_by() -> None:
    """From 6.0 to 6.6 Hz over 3 s: 6.31 Hz in the middle; halves of the 2.14 s turned differ by 0.214 Hz, 0.034 of it."""
    found = speed(cranking(6.0, to_hz=6.6))
    assert rpm(found) == pytest.approx(30.0 * 6.31, rel=0.005)
    turned, drift = 6.31 * 2.3 - 1.0, 0.034
    assert found.expanded_rpm == pytest.approx(
        2.0 * rpm(found) * np.hypot(0.1 * np.sqrt(2.0) / turned / 2.0, drift / 8.0), rel=0.05
    )


# --- no number


def test_without_the_number_of_cylinders_there_is_none() -> None:
    assert why(speed(cranking(), cylinders=None)) == "crank speed: give the number of cylinders (--cylinders)"


@pytest.mark.parametrize(("length_s", "shown"), [(1.39, "0.7"), (1.0, "0.3"), (0.5, "0.0")])
def test_steady_cranking_of_seven_tenths_of_a_second(length_s: float, shown: str) -> None:
    """Behind the first 0.4 s and before the last 0.3 s."""
    end_s = BEGIN_S + length_s
    assert why(speed(cranking(10.0, end_s=end_s), end_s)) == f"{REFUSED}only {shown} s of steady cranking"
    assert rpm(speed(cranking(10.0, end_s=2.41), 2.41)) == pytest.approx(300.0, rel=0.03)


def test_readings_near_enough_to_each_other() -> None:
    """A quarter of the fastest compression's time, 450 rpm and 4 cylinders: 16.7 ms."""
    assert rpm(speed(cranking(6.0, bin_s=1 / 62))) == pytest.approx(180.0, rel=0.01)
    apart = f"{REFUSED}the readings are too far apart, or some are missing"
    assert why(speed(cranking(6.0, bin_s=1 / 58))) == apart
    assert why(speed(cranking(6.0, bin_s=1 / 62), cylinders=5)) == apart


def test_a_ripple_of_20_millivolts_is_the_least() -> None:
    assert rpm(speed(cranking(6.0, swing_v=0.0215))) == pytest.approx(180.0, rel=0.01)
    assert why(speed(cranking(6.0, swing_v=0.0190))) == f"{REFUSED}the battery shows no compressions"


@pytest.mark.parametrize(
    ("true_rpm", "plausible"), [(80.0, False), (90.0, True), (440.0, True), (462.0, False), (800.0, False), (40.0, False)]
)
def test_speeds_of_85_to_450(true_rpm: float, plausible: bool) -> None:
    found = speed(cranking(true_rpm / 30.0, end_s=6.0), 6.0)
    if plausible:
        assert rpm(found) == pytest.approx(true_rpm, rel=0.01)
    else:
        assert "which is implausible" in why(found)
        figure = re.search(r"would be (\d+) rpm with 4 cylinders", why(found))
        assert figure is not None
        assert float(figure[1]) == pytest.approx(true_rpm, rel=0.02)
        assert f"{true_rpm / 30.0:.1f} Hz would be" in why(found)


def test_a_rhythm_half_as_fast_beside_it_makes_it_two() -> None:
    """From a quarter of its power on, a half of its swing; where it would be no crank it says nothing."""
    assert rpm(speed(cranking(10.0, half_v=0.17))) == pytest.approx(300.0, rel=0.01)
    assert why(speed(cranking(10.0, half_v=0.22))) == f"{REFUSED}two rhythms, one twice as fast as the other"
    assert rpm(speed(cranking(5.4, half_v=0.22))) == pytest.approx(162.0, rel=0.02)  # 2.7 Hz: 81 rpm


def test_harmonics_belong_to_the_rhythm_and_what_is_faster_does_not_matter() -> None:
    """Twice and three times as fast, nearly as strong: all of it is the rhythm's. Beyond 3.4 times nothing is asked."""
    trace = cranking(6.0)
    battery_v = trace.channels["battery"].mean_v
    inside = (trace.start_s >= BEGIN_S) & (trace.end_s <= 4.0)
    since_s = trace.mid_s[inside] - BEGIN_S
    harmonics = 0.18 * np.cos(2 * np.pi * 12.0 * since_s) + 0.16 * np.cos(2 * np.pi * 18.0 * since_s)
    battery_v[inside] += harmonics
    assert rpm(speed(trace)) == pytest.approx(180.0, rel=0.01)
    battery_v[inside] += 0.36 * np.cos(2 * np.pi * 33.0 * since_s) - harmonics
    assert rpm(speed(trace)) == pytest.approx(180.0, rel=0.01)


def test_a_rhythm_among_others_as_strong_is_not_clear() -> None:
    """Three beside it that are no harmonics, 0.9 of its swing each: 0.29 of the power is the rhythm's."""
    trace = cranking(6.0)
    inside = (trace.start_s >= BEGIN_S) & (trace.end_s <= 4.0)
    since_s = trace.mid_s[inside] - BEGIN_S
    for hz in (8.2, 9.9, 14.6):
        trace.channels["battery"].mean_v[inside] += 0.18 * np.cos(2 * np.pi * hz * since_s)
    assert why(speed(trace)) == f"{REFUSED}no clear rhythm of compressions"


def test_noise_has_no_rhythm() -> None:
    trace = cranking(6.0, swing_v=0.0)
    battery_v = trace.channels["battery"].mean_v
    battery_v += np.random.default_rng(3).normal(0.0, 0.1, len(battery_v))
    assert why(speed(trace)).startswith(REFUSED)


def test_a_speed_that_changes_too_much() -> None:
    assert why(speed(cranking(6.0, to_hz=9.0))) in (
        f"{REFUSED}the speed changes too much while cranking",
        f"{REFUSED}no clear rhythm of compressions",
    )


def test_an_engine_that_helps_ends_the_window() -> None:
    """A rise by more than a fifth of the sag of 2 V. Its begin is known to the mean's 0.35 s, the time of one compression at 85 rpm."""
    alone = speed(cranking(6.0, helps_v=0.3))
    helped = speed(cranking(6.0, helps_v=0.6))
    assert rpm(alone) == pytest.approx(180.0, rel=0.01)
    assert alone.rhythm is not None
    assert alone.rhythm.at_s[-1] == pytest.approx(3.7, abs=0.01)
    assert rpm(helped) == pytest.approx(180.0, rel=0.02)
    assert helped.rhythm is not None
    assert 2.5 < helped.rhythm.at_s[-1] < 3.0


# --- its parts


def test_a_slow_course_is_taken_off() -> None:
    index = np.linspace(0.0, 1.0, 200)
    course = np.asarray(10.0 + index - 3.0 * index**2 + 2.0 * index**3, dtype=np.float64)
    assert np.abs(detrended(course)).max() < 1e-9
    ripple = 0.2 * np.cos(2 * np.pi * 8.0 * index)
    assert detrended(course + ripple) == pytest.approx(detrended(ripple), abs=1e-9)


def test_a_spectrum_has_its_peak_at_the_frequency() -> None:
    at_s = np.arange(800) / 400.0
    hz, power = spectrum(np.cos(2 * np.pi * 12.0 * at_s))
    assert len(hz) == len(power) == 8 * 800 // 2 + 1
    assert np.diff(hz) == pytest.approx(400.0 / 6400.0)
    assert hz[np.argmax(power)] == pytest.approx(12.0, abs=0.04)
    assert power.max() == pytest.approx((0.5 * np.hanning(800).sum()) ** 2, rel=0.01)  # half of a cosine's amplitude


def test_the_strongest_within_a_band() -> None:
    hz = np.asarray([1.0, 2.0, 3.0, 4.0, 5.0])
    power = np.asarray([9.0, 2.0, 5.0, 3.0, 8.0])
    assert _strongest(hz, power, 2.0, 4.0) == 3.0
    assert _strongest(hz, power, 1.0, 4.0) == 1.0
    assert _strongest(hz, power, 2.0, 5.0) == 5.0
    assert _strongest(hz, power, 5.5, 9.0) == 0.0


def test_power_near_a_multiple() -> None:
    """1.5 times the resolution on either side: with 1200 points at 400 Hz 0.5 Hz."""
    hz: FloatArray = np.asarray(np.arange(0, 80) / 4.0)
    near = _near(hz, np.ones(80), 5.0, 1200)
    assert [near(m) for m in (1.0, 2.0, 3.0)] == [5.0, 5.0, 5.0]
    assert near(0.0) == 3.0
    assert near(5.0) == 0.0
    rising = _near(hz, hz, 5.0, 1200)
    assert rising(2.0) == pytest.approx(9.5 + 9.75 + 10.0 + 10.25 + 10.5)


def test_the_phase_turns_once_a_compression() -> None:
    at_s = np.arange(800) / 400.0
    rhythm = _follow(at_s, 0.3 * np.cos(2 * np.pi * 8.0 * at_s) + 0.3 * np.cos(2 * np.pi * 16.0 * at_s), 8.0)
    assert rhythm.phase - rhythm.phase[0] == pytest.approx(2 * np.pi * 8.0 * at_s, abs=1e-6)
    assert (rhythm.hz, rhythm.at_s is at_s) == (8.0, True)


@pytest.mark.parametrize(("compressions", "seen"), [(4.7, True), (4.4, False)])
def test_three_and_a_half_compressions_are_the_least(compressions: float, seen: bool) -> None:
    """And half of one at each end, which is left out."""
    at_s = np.arange(round(compressions * 40)) / 400.0
    rhythm = _follow(np.arange(400) / 400.0, np.zeros(400), 10.0)
    turned = type(rhythm)(10.0, at_s, np.zeros(len(at_s)), np.asarray(2 * np.pi * 10.0 * at_s))
    found = _speed(turned, 4)
    if seen:
        assert rpm(found) == pytest.approx(300.0)
    else:
        assert why(found) == f"{REFUSED}only 3 compressions in the steady part"


@pytest.mark.parametrize(("share", "steady"), [(0.35, True), (0.25, False), (-0.5, False)])
def test_a_rhythm_that_stands_for_a_moment_was_lost(share: float, steady: bool) -> None:
    """Slower than 0.3 of the usual step."""
    step = np.full(1200, 2 * np.pi * 10.0 / 400.0)
    step[600] *= share
    like = _follow(np.arange(400) / 400.0, np.zeros(400), 10.0)
    found = _speed(type(like)(10.0, np.arange(1200) / 400.0, np.zeros(1200), np.cumsum(step)), 4)
    if steady:
        assert rpm(found) == pytest.approx(300.0, rel=0.001)
    else:
        assert why(found) == f"{REFUSED}the rhythm of the compressions is not steady enough"


@pytest.mark.parametrize(("second_hz", "steady"), [(10.9, True), (11.15, False)])
def test_halves_that_differ_by_a_tenth(second_hz: float, steady: bool) -> None:
    """10 Hz and then more: of their mean 0.086 and 0.109."""
    step = np.repeat(2 * np.pi * np.asarray([10.0, second_hz]) / 400.0, 600)
    like = _follow(np.arange(400) / 400.0, np.zeros(400), 10.0)
    found = _speed(type(like)(10.0, np.arange(1200) / 400.0, np.zeros(1200), np.cumsum(step)), 4)
    changes = found.note == f"{REFUSED}the speed changes too much while cranking"
    assert changes is not steady
