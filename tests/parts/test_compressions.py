"""The rhythm of compressions, part by part: turning points, rows of lows, what is a step or the trend's own doing, the whole.

Curves are drawn at 400 Hz, the rate at which they are looked at, so that every low has its own place.
"""

from __future__ import annotations

import numpy as np
import pytest

from firstcrank.analysis.compressions import (
    Rhythm,
    _begins,
    _chain_from,
    _is_low,
    _longest_chain,
    _mostly_steps,
    _mostly_trend,
    find_rhythm,
    turning_points,
)
from firstcrank.thresholds import thresholds_for
from firstcrank.trace import FloatArray

TH = thresholds_for(12).crank
STEP_S = 1.0 / 400.0


def array(*values: float) -> FloatArray:
    return np.asarray(values, dtype=np.float64)


def lows_after(*intervals_s: float, first_s: float = 1.0) -> FloatArray:
    return np.cumsum([first_s, *intervals_s])


def evenly(count: int, first_s: float, every_s: float) -> FloatArray:
    return np.asarray(first_s + every_s * np.arange(count), dtype=np.float64)


def times(seconds: float) -> FloatArray:
    """A grid of `seconds`, with half a step more so that its number of points is sure."""
    return np.append(np.arange(round(seconds * 400)), seconds * 400 - 0.5) * STEP_S


def bumps(at_s: FloatArray, lows_s: FloatArray, depth_v: float = 0.6, half_s: float = 0.03) -> FloatArray:
    """10 V with a dent of raised cosine at every low."""
    away = np.clip(np.abs(at_s[:, None] - lows_s[None, :]) / half_s, 0.0, 1.0)
    return np.asarray(10.0 - depth_v * (0.5 + 0.5 * np.cos(np.pi * away)).sum(axis=1))


def found(lows_s: FloatArray, seconds: float = 2.0, sag_v: float = 2.0) -> Rhythm | None:
    at_s = times(seconds)
    return find_rhythm(at_s, bumps(at_s, lows_s), sag_v, TH)


def sure(rhythm: Rhythm | None) -> Rhythm:
    assert rhythm is not None
    return rhythm


# --- turning points


@pytest.mark.parametrize(
    ("volts", "expected"),
    [
        ((), []),
        ((1.0,), []),
        ((1.0, 1.0, 1.0), []),
        ((0.0, 0.9, 0.0), []),  # never by 1 V
        ((0.0, 1.0), [0, 1]),
        ((1.0, 0.0), [0, 1]),
        ((0.0, 1.0, 0.0), [0, 1, 2]),
        ((1.0, 0.0, 1.0), [0, 1, 2]),
        ((0.0, 2.0, 1.1, 3.0, 0.0), [0, 3, 4]),  # back by 0.9 V is no turn
        ((0.0, 2.0, 1.0, 3.0, 0.0), [0, 1, 2, 3, 4]),
        ((3.0, 1.0, 1.9, 0.0, 3.0), [0, 3, 4]),
        ((3.0, 1.0, 2.0, 0.0, 3.0), [0, 1, 2, 3, 4]),
        ((0.0, 0.6, 1.2, 0.6, 0.0), [0, 2, 4]),  # the top is where it was highest, not where the turn was sure
        ((1.2, 0.6, 0.0, 0.6, 1.2), [0, 2, 4]),
        ((0.5, 0.0, 0.5, 1.0, 1.5), [1, 4]),  # the first point is the lowest before the first sure rise
        ((0.5, 1.0, 0.5, 0.0, -0.5), [1, 4]),
        ((0.0, 2.0, 2.0, 0.0), [0, 1, 3]),  # of equals the first
        ((2.0, 0.0, 0.0, 2.0), [0, 1, 3]),
        ((0.0, 2.0, 1.5, 1.8), [0, 1]),
        ((2.0, 0.0, 0.5, 0.2), [0, 1]),
        ((0.0, 3.0, 1.0, 1.5, 0.5, 2.0), [0, 1, 4, 5]),
    ],
)
def test_turning_points_of_at_least_one_volt(volts: tuple[float, ...], expected: list[int]) -> None:
    assert turning_points(array(*volts), 1.0).tolist() == expected


def test_a_turning_point_is_a_low_where_the_next_one_or_for_the_last_the_one_before_is_higher() -> None:
    volts = array(5.0, 1.0, 4.0, 2.0)
    points = np.arange(4)
    assert [_is_low(volts, points, i) for i in range(4)] == [False, True, False, True]
    assert [_is_low(-volts, points, i) for i in range(4)] == [True, False, True, False]


# --- rows of lows: an interval is in step from 0.55 to 1.7 of the usual one, at 25 to 550 ms


@pytest.mark.parametrize(
    ("intervals_s", "past", "odd"),
    [
        ((), 1, 0),
        ((0.1,), 2, 0),
        ((0.024,), 1, 0),
        ((0.026,), 2, 0),
        ((0.549,), 2, 0),
        ((0.551,), 1, 0),
        ((0.1, 0.054), 2, 0),
        ((0.1, 0.056), 3, 0),
        ((0.1, 0.169), 3, 0),
        ((0.1, 0.171), 2, 0),
        ((0.1,) * 3 + (0.2, 0.1), 4, 0),  # one out of step needs four before it
        ((0.1,) * 4 + (0.2, 0.1), 7, 1),
        ((0.1,) * 4 + (0.05, 0.1), 7, 1),
        ((0.1,) * 4 + (0.2,) + (0.1,) * 3 + (0.2,), 9, 1),  # and four more before the next
        ((0.1,) * 4 + (0.2,) + (0.1,) * 4 + (0.2,), 11, 2),
        ((0.1,) * 4 + (0.6,), 5, 0),  # slower than any crank ends it
    ],
)
def test_a_chain_of_lows(intervals_s: tuple[float, ...], past: int, odd: int) -> None:
    assert _chain_from(lows_after(*intervals_s), 0, TH) == (past, odd)
    if intervals_s:  # the same further on in the recording
        assert _chain_from(lows_after(0.6, *intervals_s), 1, TH) == (past + 1, odd)


def test_the_usual_interval_is_the_median_of_the_last_five() -> None:
    slowing = (0.10, 0.10, 0.10, 0.16, 0.16, 0.16)  # median of the last five 0.16, of all six 0.13
    assert _chain_from(lows_after(*slowing, 0.26), 0, TH) == (8, 0)  # 1.6 of 0.16, 2.0 of 0.13
    six = (0.10, 0.16, 0.16, 0.10, 0.10, 0.16)  # of the last five 0.16; of the last four 0.13
    assert _chain_from(lows_after(*six, 0.26), 0, TH) == (8, 0)
    assert _chain_from(lows_after(*(0.16, 0.16, 0.16, 0.10, 0.10, 0.10), 0.26), 0, TH) == (8, 1)  # 2.6 of 0.10


def test_an_interval_out_of_step_does_not_make_the_usual_one() -> None:
    assert _chain_from(lows_after(*(0.1,) * 4, 0.5, 0.1, 0.1, 0.1, 0.1), 0, TH) == (10, 1)


@pytest.mark.parametrize(
    ("intervals_s", "chain"),
    [
        ((0.1,), None),  # two lows
        ((0.1, 0.1), (0, 3)),  # three make a rhythm
        ((0.1,) * 4 + (0.2,), (0, 6)),
        ((0.1, 0.1, 0.6, 0.1, 0.1, 0.1), (3, 7)),  # the longer of two
        ((0.1, 0.1, 0.1, 0.6, 0.1, 0.1), (0, 4)),
        ((0.1, 0.1, 0.6, 0.1, 0.1), (0, 3)),  # of two alike the first
        ((0.3, 0.1, 0.1), (1, 4)),  # a low that ends one row may begin the next
        ((0.05, 0.3, 0.3, 0.3), (1, 5)),
        ((0.6, 0.6, 0.6), None),
        ((0.02, 0.02, 0.1, 0.1), (2, 5)),
    ],
)
def test_the_longest_chain(intervals_s: tuple[float, ...], chain: tuple[int, int] | None) -> None:
    assert _longest_chain(lows_after(*intervals_s), TH) == chain


def test_no_low_or_one_is_no_chain() -> None:
    assert _longest_chain(array(), TH) is None
    assert _longest_chain(array(1.0), TH) is None


def test_a_later_row_is_the_longer_one_by_its_own_length() -> None:
    late = lows_after(*(0.6,) * 6, 0.1, 0.1, 0.1, 0.6, 0.1, 0.1, 0.1, 0.1)
    assert _longest_chain(late, TH) == (10, 15)


@pytest.mark.parametrize(
    ("intervals_s", "first", "begins_s"),
    [
        ((), 0, 1.0),
        ((0.54, 0.1), 1, 1.0),
        ((0.56, 0.1), 1, 1.56),
        ((0.56, 0.3, 0.3, 0.1), 3, 1.56),
        ((0.3, 0.3, 0.1), 1, 1.0),
    ],
)
def test_where_the_lows_before_a_chain_begin(intervals_s: tuple[float, ...], first: int, begins_s: float) -> None:
    assert _begins(lows_after(*intervals_s), first, TH) == pytest.approx(begins_s)


# --- what the moving mean leaves behind, and switches


@pytest.mark.parametrize(
    ("shares", "trend"),
    [
        ((0.31,) * 3 + (0.29,) * 2, False),  # three of five are made by the voltage itself: 0.6
        ((0.31,) * 2 + (0.29,) * 3, True),
        ((1.0,) * 2 + (-1.0,) * 3, True),  # the wrong way is not made
        ((1.0,) * 5, False),
    ],
)
def test_how_much_of_the_swings_the_voltage_makes(shares: tuple[float, ...], trend: bool) -> None:
    swing = array(0.0, 1.0, 0.0, 1.0, 0.0, 1.0)
    whole = np.diff(swing)
    fine_v = np.cumsum([9.0, *(whole * shares)])
    points = np.arange(6)
    assert _mostly_trend(fine_v, swing, points, TH) is trend
    spread = np.repeat(fine_v, 3)  # the same at other places of a longer curve
    assert _mostly_trend(spread, np.repeat(swing, 3), points * 3 + 1, TH) is trend


def swings(*fastest: float, length: int = 10) -> tuple[FloatArray, list[int]]:
    """Swings of 1 V up and down in turn, `length` points each, `fastest` of each within two of them, the rest beside evenly."""
    volts, points, way = [0.0], [0], 1.0
    for share in fastest:
        steps = np.full(length, (1.0 - share) / (length - 2))
        steps[length // 2 : length // 2 + 2] = share / 2
        volts += (volts[-1] + way * np.cumsum(steps)).tolist()
        points.append(len(volts) - 1)
        way = -way
    return array(*volts), points


@pytest.mark.parametrize(
    ("fastest", "steps"),
    [
        ((0.61,) * 4, False),
        ((0.63,) * 4, True),
        ((0.63,) * 3 + (0.61,), True),
        ((0.61,) + (0.63,) * 3, True),
        ((0.63,) * 2 + (0.61,) * 2, False),  # half of them are not most of them
        ((0.61,) * 2 + (0.63,) * 2, False),
        ((0.63,) * 2 + (0.61,), True),
    ],
)
def test_most_swings_come_within_five_milliseconds(fastest: tuple[float, ...], steps: bool) -> None:
    raw_v, points = swings(*fastest)
    assert _mostly_steps(raw_v, np.asarray(points), 0.0, TH) is steps
    assert _mostly_steps(10.0 - 3.0 * raw_v, np.asarray(points), 0.0, TH) is steps


def test_noise_adds_to_the_fastest_change() -> None:
    """Swings of 1 V, of which 0.70 V come within 5 ms: 0.62 V and what is allowed for noise is what a step has."""
    raw_v, points = swings(*(0.70,) * 4)
    for allowed_v, steps in ((0.0, True), (0.079, True), (0.081, False)):
        assert _mostly_steps(raw_v, np.asarray(points), allowed_v, TH) is steps


def test_a_swing_of_three_points_is_too_short_to_be_told_a_step() -> None:
    for length, steps in ((2, False), (3, True)):  # 3 and 4 points with its first
        raw_v, points = swings(1.0, 1.0, 1.0, length=length) if length > 2 else (array(*[0, 0.5, 1, 0.5] * 3), [0, 2, 4, 6])
        assert _mostly_steps(raw_v, np.asarray(points), 0.0, TH) is steps


# --- the whole


@pytest.mark.parametrize("hz", [2.5, 5.0, 10.0, 20.0])
def test_lows_period_and_swing_of_a_plain_rhythm(hz: float) -> None:
    at_s = times(2.4)
    rhythm = sure(find_rhythm(at_s, 10.0 + 0.3 * np.cos(2 * np.pi * hz * at_s), 2.0, TH))
    lows_s = (np.arange(len(rhythm.lows_s)) + 0.5) / hz
    assert np.abs(rhythm.lows_s - lows_s).max() <= 3 * STEP_S
    assert len(lows_s) == round(2.4 * hz)
    assert rhythm.period_s == pytest.approx(1.0 / hz, abs=STEP_S / 2)
    assert rhythm.last_s == rhythm.until_s == rhythm.lows_s[-1]
    # 0.6 V less what a mean over three points takes; over 0.4 s, whole periods, the mean is 0
    kept = (1.0 + 2.0 * np.cos(2 * np.pi * hz * STEP_S)) / 3.0
    assert rhythm.swing_v == pytest.approx(0.6 * kept, rel=0.01)


def test_the_rhythms_own_figures() -> None:
    rhythm = Rhythm(array(1.0, 1.1, 1.2, 1.4, 1.9), 0.3, 2.2)
    assert rhythm.period_s == pytest.approx(0.15)
    assert rhythm.last_s == 1.9


@pytest.mark.parametrize(("hz", "seen"), [(38.0, True), (45.0, False), (2.0, True), (1.7, False)])
def test_only_2_to_40_compressions_a_second(hz: float, seen: bool) -> None:
    at_s = times(4.0)
    volts = 10.0 - 0.5 * np.abs(np.cos(np.pi * hz * at_s)) ** (1.0 if hz > 5 else 3.0)
    assert (find_rhythm(at_s, volts, 2.0, TH) is not None) is seen


@pytest.mark.parametrize(
    ("swing_v", "sag_v", "seen"),
    [
        (0.0310, 1.0, True),  # 0.03 V, and 0.992 of a swing is left by the mean over three points
        (0.0296, 1.0, False),
        (0.0620, 4.0, True),  # 0.015 of the sag
        (0.0590, 4.0, False),
    ],
)
def test_the_least_swing(swing_v: float, sag_v: float, seen: bool) -> None:
    at_s = times(2.0)
    volts = 10.0 + 0.5 * swing_v * np.cos(2 * np.pi * 10.0 * at_s)
    assert (find_rhythm(at_s, volts, sag_v, TH) is not None) is seen


@pytest.mark.parametrize(("swing_v", "seen"), [(0.15, True), (0.09, False)])
def test_a_swing_must_stand_out_of_the_noise(swing_v: float, seen: bool) -> None:
    """Readings that alternate by 0.02 V: second differences of 0.08 V, as noise of 0.048 V has, 0.028 V in a mean of three; times 4."""
    at_s = times(2.0)
    noise_v = 0.02 * np.where(np.arange(len(at_s)) % 2, 1.0, -1.0)
    volts = 10.0 + 0.5 * swing_v * np.cos(2 * np.pi * 10.0 * at_s)
    assert find_rhythm(at_s, volts, 1.0, TH) is not None
    assert (find_rhythm(at_s, volts + noise_v, 1.0, TH) is not None) is seen


@pytest.mark.parametrize(("dent_v", "counted"), [(0.12, False), (0.20, True)])
def test_a_swing_of_less_than_a_quarter_of_the_usual_is_no_compression(dent_v: float, counted: bool) -> None:
    lows_s = evenly(8, 0.15, 0.2)
    at_s = times(1.8)
    volts = bumps(at_s, lows_s, half_s=0.06) + bumps(at_s, array(0.65), dent_v, half_s=0.03) - 10.0
    rhythm = sure(find_rhythm(at_s, volts, 2.0, TH))
    assert len(rhythm.lows_s) == (
        5 if counted else 8
    )  # counted, it breaks the row, and the five lows behind it are the longest


def test_the_shortest_stretch_that_is_looked_at() -> None:
    """29 points of the grid, 0.07 s: three compressions at the fastest."""
    lows_at = np.asarray([2.0, 13.0, 24.0])
    for count, seen in ((29, True), (28, False)):
        at_s = np.append(np.arange(count - 1), count - 1.5 + 0.9) * STEP_S
        away = np.abs(at_s[:, None] / STEP_S - lows_at).min(axis=1)
        assert (find_rhythm(at_s, 10.0 + 0.1 * np.minimum(away, 5.5), 1.0, TH) is not None) is seen


def test_too_few_lows() -> None:
    assert found(array(0.3, 0.4)) is None
    assert found(array()) is None
    assert find_rhythm(array(), array(), 1.0, TH) is None
    assert find_rhythm(array(1.0), array(10.0), 1.0, TH) is None
    assert sure(found(array(0.3, 0.4, 0.5), 0.8)).lows_s == pytest.approx([0.3, 0.4, 0.5], abs=STEP_S)


def test_lows_that_follow_regular_or_not() -> None:
    regular = evenly(4, 0.3, 0.1)
    rhythm = sure(found(np.append(regular, [1.1, 1.6])))
    assert rhythm.lows_s == pytest.approx(regular, abs=STEP_S)
    assert rhythm.until_s == pytest.approx(1.6, abs=STEP_S)
    apart = sure(found(np.append(regular, [1.1, 1.66])))
    assert apart.until_s == pytest.approx(1.1, abs=STEP_S)


def test_an_engine_turns_at_once() -> None:
    """The first low within 0.5 s of the stretch's begin; lows that lead up to the row count."""
    assert found(evenly(8, 0.49, 0.1)) is not None
    assert found(evenly(8, 0.52, 0.1)) is None
    led_up_to = np.append([0.3, 0.7], evenly(8, 1.0, 0.1))
    assert sure(found(led_up_to)).lows_s[0] == pytest.approx(1.0, abs=STEP_S)


def test_a_later_cranks_compressions_hide_no_earlier_ones() -> None:
    earlier, later = evenly(6, 0.2, 0.1), evenly(9, 2.0, 0.1)
    rhythm = sure(found(np.append(earlier, later), 3.2))
    assert rhythm.lows_s == pytest.approx(earlier, abs=STEP_S)


def test_the_earlier_ones_must_end_before_the_later_crank_settles() -> None:
    """Looked for again up to 0.12 s before the later row's first low: with a low there, that many are left out."""
    earlier, later = evenly(3, 0.2, 0.1), evenly(9, 1.0, 0.1)
    assert sure(found(np.append(earlier, later), 2.2)).lows_s == pytest.approx(earlier, abs=STEP_S)
    assert sure(found(np.append(earlier, later), 2.2)).until_s == pytest.approx(0.4, abs=STEP_S)


def test_few_lows_that_the_trend_made_are_no_rhythm() -> None:
    """A staircase: the moving mean turns each stair into a swing, the battery itself goes one way."""
    at_s = times(1.2)
    ramps = sum(0.5 * np.clip((at_s - begin_s) / 0.04, 0.0, 1.0) for begin_s in (0.1, 0.3, 0.5))
    assert find_rhythm(at_s, np.asarray(12.0 - ramps, dtype=np.float64), 2.0, TH) is None


def test_the_swing_is_that_of_the_row_alone() -> None:
    """Deeper ones, out of the row, lie behind it."""
    at_s = times(2.0)
    row, behind = evenly(4, 0.2, 0.1), np.asarray([1.0, 1.5])
    volts = bumps(at_s, row, 0.3) + bumps(at_s, behind, 0.9) - 10.0
    alone = sure(find_rhythm(at_s, bumps(at_s, row, 0.3), 2.0, TH))
    both = sure(find_rhythm(at_s, volts, 2.0, TH))
    assert both.lows_s == pytest.approx(row, abs=STEP_S)
    assert both.swing_v == pytest.approx(alone.swing_v, rel=0.1)


def test_a_heater_that_cycles_is_no_crank() -> None:
    """Steps down and up within 2.5 ms, as regular as an engine."""
    at_s = times(3.0)
    switching = 10.0 - 0.6 * (np.floor(at_s / 0.15) % 2)
    assert find_rhythm(at_s, switching, 2.0, TH) is None


def test_a_heater_that_settles_is_no_crank() -> None:
    at_s = times(3.0)
    assert find_rhythm(at_s, 10.0 - np.exp(-at_s / 0.4), 2.0, TH) is None


def test_time_does_not_begin_at_zero() -> None:
    at_s = times(2.0)
    volts = bumps(at_s, evenly(8, 0.2, 0.1))
    here, there = sure(find_rhythm(at_s, volts, 2.0, TH)), sure(find_rhythm(at_s + 5.0, volts, 2.0, TH))
    assert there.lows_s == pytest.approx(here.lows_s + 5.0, abs=STEP_S)
    assert there.until_s == pytest.approx(here.until_s + 5.0, abs=STEP_S)
