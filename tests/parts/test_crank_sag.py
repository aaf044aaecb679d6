"""Cranks from the battery alone, part by part at the borders, on curves without noise. A bin is 1/512 s where nothing else is said."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from firstcrank.analysis.compressions import Rhythm
from firstcrank.analysis.crank_sag import (
    SagCrank,
    _deepest_first,
    _end,
    _is_starters,
    _level_v,
    _next_rise,
    _reach,
    _ripples,
    _turns_on,
    find_sag_cranks,
    sag_falls,
    suspected_cranks,
)
from firstcrank.model.judgement import Border
from firstcrank.thresholds import thresholds_for
from firstcrank.trace import FloatArray, Trace

from .plain_trace import BIN_S, flat, plain_trace, put

TH = thresholds_for(12).crank
FALL, BACK = 512, 1536  # bins: the sag begins at 1 s, the starter lets go at 3 s
LEVEL_V = 12.5


def volts_of(*values: float) -> FloatArray:
    return np.asarray(values, dtype=np.float64)


def on(battery_v: FloatArray, bin_s: float = BIN_S) -> Trace:
    return plain_trace({"battery": battery_v}, bin_s=bin_s)


def rhythm_of(last_s: float = 2.9, swing_v: float = 0.4, first_s: float = 1.2, until_s: float | None = None) -> Rhythm:
    """Ten compressions a second."""
    lows_s = np.asarray(first_s + 0.1 * np.arange(round((last_s - first_s) * 10) + 1), dtype=np.float64)
    return Rhythm(lows_s, swing_v, last_s if until_s is None else until_s)


def wave(battery_v: FloatArray, swing_v: float, first: int, past: int, hz: float = 10.0) -> FloatArray:
    """A copy that swings by `swing_v`, top to bottom, from bin `first` to before bin `past`."""
    changed = battery_v.copy()
    changed[first:past] += 0.5 * swing_v * np.cos(2 * np.pi * hz * BIN_S * np.arange(past - first))
    return changed


# --- does a starter's current explain the sag


@pytest.mark.parametrize(
    ("sag_v", "inrush_v", "sure", "yes"),
    [
        (1.31, 2.0, True, True),
        (1.29, 2.0, True, False),
        (1.01, 2.0, False, True),
        (0.99, 2.0, False, False),
        (1.4, 1.51, True, True),
        (1.4, 1.49, True, False),
        (1.5, 3.44, True, True),  # 2.3 times 1.5 V
        (1.5, 3.46, True, False),
    ],
)
def test_sag_and_inrush_of_a_starter(sag_v: float, inrush_v: float, sure: bool, yes: bool) -> None:
    early = np.full(11, LEVEL_V - inrush_v)
    assert _is_starters(np.zeros(0), early, LEVEL_V, sag_v, TH, sure=sure) is yes
    assert (
        _is_starters(np.full(11, LEVEL_V - 1.0), early, LEVEL_V, sag_v, TH, sure=sure) is yes
    )  # it was lower before: no matter


def test_a_heater_on_until_now_is_added_to_both() -> None:
    early = np.full(11, LEVEL_V - 1.31)
    heated = volts_of(*[LEVEL_V] * 9, LEVEL_V + 0.2, LEVEL_V + 0.2)  # nine tenths of it below, the rest without the heater
    assert _is_starters(heated, early, LEVEL_V, 1.11, TH, sure=True)
    assert not _is_starters(heated, early, LEVEL_V, 1.09, TH, sure=True)
    assert not _is_starters(heated, early + 0.02, LEVEL_V, 1.11, TH, sure=True)
    assert not _is_starters(volts_of(*[LEVEL_V] * 10, LEVEL_V + 0.2), early, LEVEL_V, 1.11, TH, sure=True)


def test_the_inrush_is_no_dip_of_a_moment() -> None:
    """The fifth lowest of the first readings: of eleven the third."""
    for dips, yes in ((2, False), (3, True)):
        early = volts_of(*[LEVEL_V - 2.0] * dips, *[LEVEL_V - 1.0] * (11 - dips))
        assert _is_starters(np.zeros(0), early, LEVEL_V, 1.5, TH, sure=True) is yes
    assert not _is_starters(np.zeros(0), np.zeros(0), LEVEL_V, 1.5, TH, sure=True)


# --- ripple


@pytest.mark.parametrize(
    ("swing_v", "sag_v", "yes"), [(0.034, 1.0, True), (0.026, 1.0, False), (0.068, 4.0, True), (0.052, 4.0, False)]
)
def test_a_ripple_as_of_compressions(swing_v: float, sag_v: float, yes: bool) -> None:
    """30 mV, or 0.015 of the sag, beside the battery's slow course."""
    at_s = np.arange(400, dtype=np.float64) / 400.0 + 7.0
    since_s = at_s - 7.0
    course = 10.0 - 2.0 * since_s + 3.0 * since_s**2 - 1.0 * since_s**3
    assert _ripples(at_s, course + 0.5 * swing_v * np.cos(2 * np.pi * 10.0 * since_s), sag_v, TH) is yes
    assert _ripples(at_s, course, sag_v, TH) is False


def test_noise_is_no_ripple() -> None:
    """Readings that alternate by 0.05 V: a third of it is left by a mean of three."""
    at_s = np.arange(400, dtype=np.float64) / 400.0
    noise = np.asarray(10.0 + 0.05 * np.where(np.arange(400) % 2, 1.0, -1.0), dtype=np.float64)
    assert _ripples(at_s, noise, 4.0, TH) is False  # 0.033 V, 0.06 V are asked for
    assert _ripples(at_s, noise, 2.0, TH) is True


def test_eight_points_are_the_least_that_can_ripple() -> None:
    for count, yes in ((8, True), (7, False)):
        at_s = np.append(np.arange(count - 1), count - 1.1) / 400.0 + np.append(np.zeros(count - 1), 0.5 / 400.0)
        assert _ripples(at_s, 10.0 + np.cos(np.pi / 2.5 * np.arange(count)), 1.0, TH) is yes


# --- the battery's level before a fall


def test_the_level_is_the_median_of_the_last_300_or_60_ms_whichever_is_higher() -> None:
    """153 bins or 30."""
    calm = flat(2.0, LEVEL_V)
    fall_s = FALL * BIN_S

    def level_v(battery_v: FloatArray) -> float:
        return _level_v(on(battery_v), battery_v, fall_s, TH)

    assert level_v(put(calm, 8.0, FALL, 1024)) == LEVEL_V
    assert level_v(put(calm, 14.0, 0, FALL - 153)) == LEVEL_V  # earlier than that is no matter
    assert level_v(put(calm, 12.0, FALL - 60, FALL)) == LEVEL_V  # longer than 60 ms, yet the longer median is higher
    assert level_v(put(calm, 11.0, 0, FALL - 16)) == LEVEL_V  # a heater has gone off
    assert level_v(put(calm, 11.0, 0, FALL - 15)) == 0.5 * (11.0 + LEVEL_V)  # half of 30
    assert level_v(put(calm, 11.0, 0, FALL - 14)) == 11.0
    assert level_v(put(calm, 11.0, FALL - 76, FALL)) == LEVEL_V
    assert level_v(put(calm, 11.0, FALL - 77, FALL)) == 11.0


# --- up to where: the battery is back within 0.08 of its depth, for 30 ms (15 bins)


def reach(battery_v: FloatArray, level_v: float = LEVEL_V, first: int = FALL, bin_s: float = BIN_S) -> int:
    return _reach(on(battery_v, bin_s), battery_v, first, level_v, TH)


def test_the_battery_is_back() -> None:
    sag = put(flat(4.0, LEVEL_V), 10.0, FALL, BACK)  # 2.5 V deep: back above 12.3 V
    assert reach(sag) == BACK + 15
    assert reach(put(sag, 12.31, BACK, 2048)) == BACK + 15
    assert reach(put(sag, 12.29, BACK, 2048)) == 2048  # never
    assert reach(put(sag, LEVEL_V, 1000, 1014)) == BACK + 15
    assert reach(put(sag, LEVEL_V, 1000, 1015)) == 1015


def test_the_depth_is_that_of_the_first_half_second_after_settling() -> None:
    """From 0.12 s on: 62 bins; to 0.5 s: 256 bins."""
    sag = put(put(flat(4.0, LEVEL_V), 11.5, FALL, BACK), 12.3, BACK, 2048)
    deep_first = put(sag, 9.0, FALL, FALL + 62)  # the inrush, left out: 1 V deep, back above 12.42 V
    assert reach(deep_first) == 2048
    deep_early = put(sag, 9.0, FALL + 62, FALL + 62 + 98)  # most of it: 3.5 V deep, back above 12.22 V
    assert reach(deep_early) == BACK + 15
    assert reach(put(sag, 9.0, FALL + 62, FALL + 62 + 96)) == 2048
    assert reach(put(sag, 9.0, FALL + 160, FALL + 256 + 40)) == 2048  # 96 of it; what comes later is no matter


def test_back_before_it_settled_is_not_back() -> None:
    sag = put(flat(4.0, 10.0), LEVEL_V, 0, FALL)
    assert reach(put(sag, LEVEL_V, FALL + 20, FALL + 62)) == 2048


def test_a_crank_is_looked_at_for_a_minute() -> None:
    coarse_s = 0.0625
    long = put(flat(70.0, 10.0, coarse_s), LEVEL_V, 0, 16)
    assert reach(long, first=16, bin_s=coarse_s) == 16 + 960
    assert reach(put(long, LEVEL_V, 500, 501), first=16, bin_s=coarse_s) == 501  # one bin is more than 30 ms
    assert reach(put(flat(1.0, LEVEL_V), 10.0, 500, 512), first=500) == 512  # the recording ends


# --- the inrush is deepest


@pytest.mark.parametrize(("later_v", "yes"), [(9.18, True), (9.15, False)])  # 2.5 V are 0.75 of 3.33 V
def test_the_first_moments_are_deepest_or_nearly(later_v: float, yes: bool) -> None:
    battery_v = put(put(flat(4.0, LEVEL_V), 11.0, FALL, BACK), 10.0, FALL + 61, FALL + 62)  # just within 0.12 s
    trace, rhythm = on(put(battery_v, later_v, 1400, 1410)), rhythm_of()
    assert _deepest_first(trace, trace.channels["battery"].mean_v, FALL, LEVEL_V, rhythm, TH) is yes
    late = put(put(battery_v, 11.0, FALL + 61, FALL + 62), 10.0, FALL + 62, FALL + 63)
    assert _deepest_first(on(late), late, FALL, LEVEL_V, rhythm, TH) is False


def test_what_is_deeper_behind_the_last_compression_is_no_matter() -> None:
    battery_v = put(put(flat(4.0, LEVEL_V), 11.0, FALL, BACK), 10.0, FALL, FALL + 20)
    rhythm = rhythm_of(2.5)  # bin 1280
    for first, yes in ((1280, False), (1282, True)):
        deep = put(battery_v, 8.0, first, first + 10)
        assert _deepest_first(on(deep), deep, FALL, LEVEL_V, rhythm, TH) is yes


# --- the end: the battery steps up


def end(battery_v: FloatArray, sag_v: float = 2.5, swing_v: float = 0.1, reach_at: int = BACK + 15) -> Border:
    return _end(on(battery_v), battery_v, rhythm_of(swing_v=swing_v), reach_at, LEVEL_V, sag_v, TH)


def released(*steps: tuple[int, float]) -> FloatArray:
    """10 V from 1 s on, with a compression of 0.1 V ten times a second to 3 s, and steps up at bins."""
    battery_v = wave(put(flat(4.0, LEVEL_V), 10.0, FALL, 2048), 0.1, FALL, BACK)
    battery_v[BACK:] = 10.0
    for at, volts in steps:
        battery_v[at:] += volts
    return battery_v


STEPS_UP = Border((BACK - 3) * BIN_S - 0.002, (BACK + 1) * BIN_S, "the battery steps up")
GRADUAL = Border(2.9, (BACK + 15) * BIN_S + 0.03, "the battery is back")


def test_the_release_lies_between_its_borders() -> None:
    """A change over 5 ms is looked at: 3 bins, and 2 ms more for the coil to let go before the contact."""
    found = end(released((BACK, 1.5)))
    assert found == STEPS_UP
    assert found.early_s < BACK * BIN_S < found.late_s


@pytest.mark.parametrize(
    ("step_v", "sag_v", "seen"),
    [(0.30, 2.0, True), (0.21, 2.6, False), (0.30, 3.3, False), (0.24, 1.0, True), (0.12, 1.0, False)],
)
def test_the_least_step(step_v: float, sag_v: float, seen: bool) -> None:
    """0.18 V, or a tenth of the sag. The wave's 0.05 V from its middle to its top are beside it."""
    battery_v = released((BACK, step_v))
    battery_v[BACK - 26 : BACK] = 10.0
    assert (end(battery_v, sag_v).evidence == "the battery steps up") is seen


def test_most_of_the_rise_comes_at_once() -> None:
    for first, second, seen in ((0.9, 0.6, True), (0.75, 0.75, False), (0.6, 0.9, True)):
        assert (end(released((BACK, first), (BACK + 5, second))).evidence == "the battery steps up") is seen


def test_a_gradual_end_is_known_between_the_last_low_and_the_return() -> None:
    slow = released()
    slow[BACK:] = np.minimum(10.0 + 0.01 * np.arange(512), LEVEL_V)
    assert end(slow) == GRADUAL
    battery_v = released()
    later = _end(on(battery_v), battery_v, rhythm_of(until_s=9.0), BACK + 15, LEVEL_V, 2.5, TH)
    assert (later.early_s, later.late_s) == (GRADUAL.late_s, GRADUAL.late_s)
    assert end(battery_v, reach_at=5000).late_s == 4.0 + 0.03  # the recording ends first


def test_where_the_recording_ends_with_the_compressions_the_end_is_gradual() -> None:
    battery_v = released()
    rhythm = Rhythm(volts_of(3.8, 3.9), 0.1, 3.9)
    stop_s = 1980 * BIN_S + 0.03
    assert _end(on(battery_v), battery_v, rhythm, 1980, LEVEL_V, 2.5, TH) == Border(stop_s, stop_s, "the battery is back")


def test_a_step_up_before_the_second_compression_is_no_end() -> None:
    """The first low at 1.2 s, the second at 1.3 s: bin 665.6."""
    smooth = flat(4.0, 10.0)
    smooth[BACK:] += 1.5
    assert end(put(smooth, 9.0, FALL, 666)) == STEPS_UP
    assert end(put(smooth, 9.0, FALL, 667)).late_s < 671 * BIN_S
    assert end(put(smooth, 9.0, FALL, 700)) == Border(697 * BIN_S - 0.002, 701 * BIN_S, "the battery steps up")


def test_a_heater_that_goes_off_while_the_engine_turns_on_is_no_end() -> None:
    assert end(released((1100, 1.0), (BACK, 1.0))) == STEPS_UP
    alone = end(released((1100, 1.0)), swing_v=0.1)
    assert alone == GRADUAL


# --- do compressions go on


def goes_on(battery_v: FloatArray, first: int = FALL, swing_v: float = 0.4) -> bool:
    return _turns_on(on(battery_v), battery_v, first, rhythm_of(swing_v=swing_v), TH)


@pytest.mark.parametrize(("swing_v", "yes"), [(0.23, True), (0.17, False)])  # half of 0.4 V
def test_compressions_go_on_with_half_their_swing(swing_v: float, yes: bool) -> None:
    assert goes_on(wave(flat(4.0, 11.0), swing_v, FALL, 2048)) is yes


def test_four_turning_points_within_three_and_a_half_periods_make_them_go_on() -> None:
    """0.35 s: 179 bins."""
    calm = flat(4.0, 11.0)
    assert goes_on(calm) is False
    assert goes_on(wave(calm, 0.8, FALL, FALL + 103)) is True  # two periods
    assert goes_on(wave(calm, 0.8, FALL, FALL + 26)) is False  # half of one
    assert goes_on(wave(calm, 0.8, FALL + 170, 2048)) is False  # too late
    one = calm.copy()
    one[FALL + 64 : FALL + 115] -= 0.4 * np.sin(2 * np.pi * np.arange(51) / 51.0)  # begin, low, high, end: four
    assert goes_on(one) is True
    rising = 11.0 + 0.002 * np.arange(2048.0) - 4e-7 * np.arange(2048.0) ** 2
    assert goes_on(np.asarray(rising, dtype=np.float64)) is False


@pytest.mark.parametrize("later", [20, 60, 100, 150])
def test_a_charger_clipped_on_behind_the_release_is_no_compression(later: int) -> None:
    """It steps up within 3.5 periods, 179 bins, and settles: turning points beside a parabola."""
    battery_v = released((BACK, 1.5))
    battery_v[BACK + later :] += 1.2 * (1.0 - 0.5 * np.exp(-BIN_S * np.arange(2048 - BACK - later) / 0.05))
    assert end(battery_v) == STEPS_UP


@pytest.mark.parametrize(("step_v", "first"), [(0.55, 30), (0.53, 100)])
def test_the_next_abrupt_rise(step_v: float, first: int) -> None:
    """Three times 0.18 V within 5 ms, three bins."""
    battery_v = flat(2.0, 11.0)
    battery_v[30:] += step_v
    at = _next_rise(on(battery_v), battery_v, 5, 100, TH)
    assert at in ((first,) if first == 100 else range(first - 3, first + 1))


def test_of_fewer_than_eight_points_nothing_is_told() -> None:
    ends = wave(flat(2.0, 11.0), 0.4, 0, 1024, hz=100.0)
    assert goes_on(ends, 1024 - 8, 0.1) is False
    assert goes_on(ends, 1024 - 40, 0.1) is True


# --- falls


def test_a_fall_is_seen_from_60_ms_before_it_to_half_of_that_behind() -> None:
    """On the grid of 2.5 ms: 24 points look ahead, and the median of 24 before still stands while 11 of them are low."""
    for depth_v, seen in ((0.71, True), (0.69, False)):
        trace = on(put(flat(1.0, LEVEL_V, 0.0025), LEVEL_V - depth_v, 200, 400), 0.0025)
        falls_s = sag_falls(trace, TH)
        assert len(falls_s) == (35 if seen else 0)
        if seen:
            assert falls_s[[0, -1]] == pytest.approx(trace.mid_s[[200 - 23, 200 + 11]])


def test_a_fall_needs_samples_near_each_other_and_enough_of_them() -> None:
    for bin_s, seen in ((0.029, True), (0.031, False)):
        assert (len(sag_falls(on(put(flat(3.0, LEVEL_V, bin_s), 10.0, 50, 100), bin_s), TH)) > 0) is seen
    for count, seen in ((8, True), (7, False)):
        few = on(np.where(np.arange(count) < 4, LEVEL_V, 10.0), 0.028)
        assert (len(sag_falls(few, TH)) > 0) is seen
    assert len(sag_falls(on(flat(0.0, 0.0)), TH)) == 0
    short = on(np.where(np.arange(72) < 36, LEVEL_V, 10.0), 0.0025)  # 71 points of the grid: less than three times 24
    assert len(sag_falls(short, TH)) == 0
    assert len(sag_falls(on(np.where(np.arange(74) < 37, LEVEL_V, 10.0), 0.0025), TH)) > 0


# --- the whole


def crank_curve(
    sag_v: float = 2.0,
    inrush_v: float = 1.5,
    swing_v: float = 0.3,
    *,
    first: int = FALL,
    past: int = BACK,
    seconds: float = 5.0,
) -> FloatArray:
    """Rest, a sag with an inrush that is over in 60 ms, compressions from there on, the release to 12.3 V, the rest again."""
    battery_v = flat(seconds, LEVEL_V)
    since_s = BIN_S * np.arange(past - first)
    battery_v[first:past] = (
        LEVEL_V - sag_v - inrush_v * np.exp(-since_s / 0.03) - 0.5 * swing_v * np.sin(2 * np.pi * 8.0 * since_s)
    )
    battery_v[past : past + 200] = LEVEL_V - 0.2
    return battery_v


def cranks(battery_v: FloatArray, known: tuple[tuple[float, float], ...] = ()) -> list[SagCrank]:
    trace = on(battery_v)
    return find_sag_cranks(trace, sag_falls(trace, TH), TH, known)


def unsure_s(battery_v: FloatArray) -> tuple[float, ...]:
    trace = on(battery_v)
    falls_s = sag_falls(trace, TH)
    begun = [(c.start.early_s, c.end.late_s) for c in find_sag_cranks(trace, falls_s, TH)]
    return suspected_cranks(trace, falls_s, begun, TH)


def test_a_plain_crank() -> None:
    (crank,) = cranks(crank_curve())
    assert crank.sag_s == 1.0
    assert crank.start == Border(1.0 - 0.06, 1.0 + BIN_S, "the battery's sag begins")
    assert crank.end.evidence == "the battery steps up"
    assert 2.99 < crank.end.early_s < 3.0 < crank.end.late_s < 3.01
    assert crank.sag_v == pytest.approx(2.0 + 1.5 * 0.03 / 2.0, abs=0.02)  # the inrush's part of the mean over 2 s
    assert unsure_s(crank_curve()) == ()


def test_a_crank_cut_off_soon_is_none() -> None:
    for length, count in ((60, 0), (100, 0), (512, 1)):  # bins behind the fall
        assert len(cranks(crank_curve()[: FALL + length])) == count


def test_compressions_before_they_are_looked_for_are_no_crank() -> None:
    """Three lows, of which the first lies within the 0.12 s of settling."""
    battery_v = put(flat(3.0, LEVEL_V), 10.5, FALL, FALL + 256)
    battery_v[FALL : FALL + 20] = 8.5
    for first, count in ((FALL + 30, 0), (FALL + 90, 1)):
        dented = battery_v.copy()
        for low in range(3):
            at = first + 51 * low
            dented[at - 12 : at + 13] -= 0.3 * (0.5 + 0.5 * np.cos(np.pi * np.arange(-12, 13) / 12.5))
        assert len(cranks(dented)) == count


@pytest.mark.parametrize(("deepest_v", "count"), [(4.4, 1), (4.9, 0)])
def test_a_sag_that_is_deepest_later_is_no_starters(deepest_v: float, count: int) -> None:
    """The inrush's 3.5 V are 0.75 of 4.67 V."""
    battery_v = crank_curve()
    at = 1100 + np.arange(-12, 13)
    extra_v = deepest_v - (LEVEL_V - battery_v[1100])
    battery_v[at] -= extra_v * (0.5 + 0.5 * np.cos(np.pi * np.arange(-12, 13) / 12.5))
    assert len(cranks(battery_v)) == count


def test_two_cranks() -> None:
    first, second = crank_curve(seconds=10.0), crank_curve(first=2560, past=3584, seconds=10.0)
    both = np.minimum(first, second)
    assert [c.sag_s for c in cranks(both)] == [1.0, 5.0]
    assert [c.sag_s for c in cranks(both, known=((0.5, 3.5),))] == [5.0]
    assert [c.sag_s for c in cranks(both, known=((4.5, 7.5),))] == [1.0]


@pytest.mark.parametrize(
    ("sag_v", "inrush_v", "swing_v", "sure", "unsure"),
    [
        (1.40, 1.5, 0.3, True, False),
        (1.20, 1.5, 0.3, False, True),  # less than 1.3 V, more than 1.0 V
        (0.80, 1.5, 0.3, False, True),  # less than 1.0 V, with compressions: a starter on a strong battery
        (0.55, 1.5, 0.1, False, True),
        (0.80, 1.5, 0.01, False, False),
        (0.30, 0.1, 0.1, False, False),  # without a fall of 0.7 V at first
        (2.00, 0.0, 0.01, False, False),  # smooth: a heater
        (1.30, 5.0, 0.3, False, True),  # inrush of more than 2.3 times the sag: not sure
    ],
)
def test_what_may_be_a_crank(sag_v: float, inrush_v: float, swing_v: float, sure: bool, unsure: bool) -> None:
    battery_v = crank_curve(sag_v, inrush_v, swing_v)
    assert (len(cranks(battery_v)) == 1) is sure
    assert (len(unsure_s(battery_v)) > 0) is unsure


def strong(sag_v: float = 0.8, inrush_v: float = 1.0, swing_v: float = 0.3, past: int = BACK, **more: Any) -> FloatArray:
    """A crank on a strong battery: too shallow to be sure of."""
    return crank_curve(sag_v, inrush_v, swing_v, past=past, **more)


@pytest.mark.parametrize(
    ("battery_v", "unsure"),
    [
        (strong(), True),
        (strong(swing_v=0.01), False),  # no compressions
        (strong(sag_v=0.20, inrush_v=1.0, swing_v=0.1), False),  # less than 0.25 V
        (strong(sag_v=0.35, inrush_v=1.0, swing_v=0.1), True),
        (strong(inrush_v=0.1, swing_v=0.1), False),  # an inrush of less than 1.3 times the sag
        (strong(inrush_v=0.4, swing_v=0.1), True),
        (strong(past=FALL + 300), True),  # lets go after 0.6 s
    ],
)
def test_compressions_behind_an_inrush_may_be_a_crank(battery_v: FloatArray, unsure: bool) -> None:
    assert cranks(battery_v) == []
    assert (len(unsure_s(battery_v)) > 0) is unsure


def test_compressions_must_fill_half_of_the_time() -> None:
    """They stop after a while and the sag goes on, smooth."""
    for stop, unsure in ((FALL + 180, False), (FALL + 800, True)):
        battery_v = strong()
        battery_v[stop:BACK] = LEVEL_V - 0.8
        assert (len(unsure_s(battery_v)) > 0) is unsure


def test_compressions_of_the_next_crank_are_its_own() -> None:
    """A heater comes on, smooth, and 0.3 s later the engine is cranked."""
    battery_v = crank_curve(first=FALL + 150)
    battery_v[FALL:] -= 1.0
    battery_v[FALL : FALL + 20] -= 0.8
    trace = on(battery_v)
    falls_s = sag_falls(trace, TH)
    falls_s = falls_s[falls_s < 1.1]
    next_s = (FALL + 150) * BIN_S - 0.06
    assert suspected_cranks(trace, falls_s, [(next_s, 3.0)], TH) == ()
    assert len(suspected_cranks(trace, falls_s, [], TH)) == 1


def test_a_sag_that_may_be_a_crank_is_told_once_for_each() -> None:
    twice = np.minimum(crank_curve(1.2, seconds=10.0), crank_curve(1.2, first=2560, past=3584, seconds=10.0))
    first_s, second_s = unsure_s(twice)
    assert [first_s, second_s] == pytest.approx([1.0, 5.0], abs=0.06)
    assert unsure_s(crank_curve(1.2, past=FALL + 200)) == ()  # 0.4 s is too short


def test_beside_a_crank_no_other_is_suspected() -> None:
    trace = on(crank_curve())
    falls_s = sag_falls(trace, TH)
    (crank,) = find_sag_cranks(trace, falls_s, TH)
    begin_s, end_s = crank.start.early_s, crank.end.late_s
    assert len(suspected_cranks(trace, falls_s, [], TH)) == 1
    assert suspected_cranks(trace, falls_s, [(begin_s, end_s)], TH) == ()
    for moved_s, beside in ((0.29, True), (0.40, False)):
        away = (begin_s + 0.06 + moved_s, end_s)
        assert (suspected_cranks(trace, falls_s[falls_s >= 1.0], [away], TH) == ()) is beside


def test_an_empty_recording_has_no_crank() -> None:
    empty = on(flat(0.0, 0.0))
    assert find_sag_cranks(empty, sag_falls(empty, TH), TH) == []
    assert suspected_cranks(empty, sag_falls(empty, TH), [], TH) == ()
