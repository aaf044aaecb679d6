"""Obligations of the leads and of the person, one value on each side of every border. 12 V: a battery rests at 8 V to 16.5 V."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from firstcrank.analysis.obligations.leads import (
    _busy,
    _common_step,
    _windows,
    apart,
    clips_still,
    in_place,
    module_plugged,
    own_key,
    system_voltage,
)
from firstcrank.model.context import Context
from firstcrank.model.judgement import Border
from firstcrank.model.vocabulary import CheckId, Result
from firstcrank.thresholds.evidence import rest_range_v

from .plain_view import BIN_S, a_battery, a_feed, at, border, crank_of, flat, limits_with, plain_view, put

L24 = limits_with(24)


# --- the vehicle's voltage


def test_what_a_battery_rests_at() -> None:
    assert rest_range_v(12) == (8.0, 16.5)
    assert rest_range_v(24) == (18.0, 32.0)


@pytest.mark.parametrize(
    ("system_v", "rest_v", "text"),
    [
        (12, -0.51, "below zero"),
        (12, -0.49, "not on the battery's post"),
        (12, 4.99, "not on the battery's post"),
        (12, 5.0, "a 6 V vehicle"),
        (12, 7.99, "a 6 V vehicle"),
        (12, 8.0, "a 12 V vehicle"),
        (12, 16.5, "a 12 V vehicle"),
        (12, 16.6, "not on the battery's post"),
        (12, 17.99, "not on the battery's post"),
        (12, 18.0, "--system 24"),
        (12, 32.0, "--system 24"),
        (12, 32.1, "not on the battery's post"),
        (24, -0.51, "below zero"),
        (12, 7999.0, "not on the battery's post"),
        (12, 8000.0, "in millivolts"),
        (12, 32000.0, "in millivolts"),
        (12, 32001.0, "not on the battery's post"),
        (24, 25200.0, "in millivolts"),
        (24, 6.0, "not on the battery's post"),
        (24, 7.99, "not on the battery's post"),
        (24, 8.0, "--system 12"),
        (24, 16.5, "--system 12"),
        (24, 16.6, "not on the battery's post"),
        (24, 18.0, "a 24 V vehicle"),
        (24, 32.0, "a 24 V vehicle"),
    ],
)
def test_limits_that_fit_the_vehicle(system_v: int, rest_v: float, text: str) -> None:
    found = system_voltage(plain_view(limits=limits_with(system_v), rest_v=rest_v))
    assert found.check is CheckId.SYSTEM_VOLTAGE
    assert text in found.reason
    assert found.result is (Result.PASS if "a 12 V vehicle" in text or "a 24 V vehicle" in text else Result.UNDECIDED)


# --- exchanged, or on one point


@pytest.mark.parametrize(
    ("battery_v", "key_v", "exchanged"),
    [(0.0, 12.6, True), (2.49, 8.01, True), (2.5, 12.6, False), (0.0, 8.0, False), (12.6, 0.0, False)],
)
def test_leads_that_are_exchanged(battery_v: float, key_v: float, exchanged: bool) -> None:
    """Told by the first second alone."""
    view = plain_view(battery=put(flat(12.6), battery_v, 0.0, 1.0), key_switch=put(flat(0.0), key_v, 0.0, 1.0))
    found = in_place(view)
    assert (found.check, found.result) == (CheckId.LEADS_IN_PLACE, Result.UNDECIDED if exchanged else Result.PASS)


def test_the_first_second_counts_from_the_first_bin() -> None:
    """Long bins, of which the first alone is over within a second."""
    view = plain_view(bin_s=1.0, battery=np.array([0.0, 12.6, 12.6]), key_switch=np.array([12.6, 0.0, 0.0]), phases=())
    assert in_place(view).result is Result.UNDECIDED


def test_a_recording_of_long_bins_is_taken_whole() -> None:
    view = plain_view(bin_s=2.0, battery=np.zeros(4), key_switch=np.full(4, 12.6), phases=())
    assert in_place(view).result is Result.UNDECIDED


@pytest.mark.parametrize(("drop_v", "same"), [(0.029, True), (-0.029, True), (0.031, False), (-0.031, False)])
def test_leads_on_one_point(drop_v: float, same: bool) -> None:
    battery = a_battery()
    found = apart(plain_view(battery=battery, key_switch=battery - drop_v, on=None))
    assert (found.check, found.result) == (CheckId.LEADS_APART, Result.UNDECIDED if same else Result.PASS)
    assert apart(plain_view(battery=battery, key_switch=battery - drop_v)).result is Result.PASS  # the key was seen to come on


@pytest.mark.parametrize(("bins", "same"), [(20, True), (22, False)])
def test_one_of_a_hundred_bins_may_differ(bins: int, same: bool) -> None:
    """2048 bins: 20 are less than a hundredth."""
    battery = a_battery()
    key = battery.copy()
    key[100 : 100 + bins] -= 1.0
    assert (apart(plain_view(battery=battery, key_switch=key, on=None)).result is Result.UNDECIDED) is same


# --- windows


def test_windows_ahead_and_back() -> None:
    """Of ten bins: four bins each, cut at the ends, one bin at least."""
    view = plain_view(battery=flat(12.6)[:10], key_switch=flat(0.0)[:10], phases=(), cranks=())
    ahead, back = (_windows(view, 4 * BIN_S, ahead=forward) for forward in (True, False))
    assert ahead.first.tolist() == list(range(10))
    assert ahead.past.tolist() == [4, 5, 6, 7, 8, 9, 10, 10, 10, 10]
    assert back.first.tolist() == [0, 0, 0, 0, 0, 1, 2, 3, 4, 5]
    assert back.past.tolist() == [1, 1, 2, 3, 4, 5, 6, 7, 8, 9]
    volts = np.arange(10.0)
    assert ahead.means(volts).tolist() == [1.5, 2.5, 3.5, 4.5, 5.5, 6.5, 7.5, 8.0, 8.5, 9.0]
    assert back.means(volts).tolist() == [0.0, 0.0, 0.5, 1.0, 1.5, 2.5, 3.5, 4.5, 5.5, 6.5]
    tiny = _windows(view, 0.1 * BIN_S, ahead=True)
    assert tiny.past.tolist() == list(range(1, 11))
    tiny = _windows(view, 0.1 * BIN_S, ahead=False)
    assert tiny.first.tolist() == [0, *range(9)]


def test_means_are_weighted_by_time() -> None:
    start_s = np.array([0.0, 1.0, 4.0])
    trace = {"start_s": start_s, "end_s": np.array([1.0, 4.0, 5.0])}
    view = plain_view(battery=np.zeros(3), key_switch=np.zeros(3), phases=(), cranks=(), trace=trace)
    assert _windows(view, 4.0, ahead=True).means(np.array([2.0, 6.0, 0.0])).tolist() == pytest.approx([5.0, 4.5, 0.0])


# --- a lead on the feed's source


def beside(rest_v: float, crank_v: float, **more: Any) -> Result:
    """Battery at 12.6 V, 10 V while cranking; the source lead at these."""
    source = put(flat(rest_v), crank_v, 3.0, 5.0)
    found = apart(plain_view(feed_source=source, **more))
    assert found.check is CheckId.LEADS_APART
    return found.result


@pytest.mark.parametrize(
    ("rest_v", "crank_v", "result"),
    [
        (12.6, 10.0, Result.PASS),
        (4.99, 10.0, Result.UNDECIDED),  # dead with the key OFF: behind the switch
        (5.01, 10.0, Result.PASS),
        (12.31, 9.01, Result.PASS),
        (12.31, 8.99, Result.UNDECIDED),  # 1 V is what a feed may drop
        (12.29, 8.0, Result.PASS),  # another battery
        (12.89, 8.99, Result.UNDECIDED),
        (12.91, 8.0, Result.PASS),
    ],
)
def test_what_a_source_lead_may_read(rest_v: float, crank_v: float, result: Result) -> None:
    assert beside(rest_v, crank_v) is result


def test_a_source_lead_is_looked_at_with_the_key_off_and_while_cranking() -> None:
    assert beside(4.0, 10.0, on=None) is Result.PASS  # the key was never seen off
    assert beside(12.6, 8.0, cranks=()) is Result.PASS
    assert beside(12.6, 8.0, cranks=(crank_of(6.0, 7.0),)) is Result.PASS
    on_from_the_start = border(0.0)
    assert beside(4.0, 10.0, on=on_from_the_start) is Result.PASS


# --- clips


def gone(volts: float, bins: int = 6, **more: Any) -> dict[str, Any]:
    """The battery's reading falls at 6 s, for so many bins: 0.02 s are 5.1 bins."""
    return {"battery": put(a_battery(), volts, 6.0, 6.0 + bins * BIN_S), "key_switch": a_feed()} | more


@pytest.mark.parametrize(
    ("start", "moved"),
    [
        (gone(2.49), True),
        (gone(2.51), False),
        (gone(0.0, 1), True),  # 4 ms: longer than half of the shortest dropout that counts
        (gone(2.51, 1), False),
        (gone(0.0, rest_v=8.01), True),
        (gone(0.0, rest_v=8.0), False),
        ({}, False),
    ],
)
def test_a_battery_lead_that_came_off(start: dict[str, Any], moved: bool) -> None:
    found = clips_still(plain_view(**start))
    assert (found.check, found.result) == (CheckId.CLIPS_STILL, Result.UNDECIDED if moved else Result.PASS)
    assert found.at_s == (pytest.approx(6.0, abs=2 * BIN_S) if moved else None)
    assert moved is ("vanished at 6.0" in found.reason or "vanished at 5.99" in found.reason)


@pytest.mark.parametrize(
    ("lowest_v", "mean_v", "moved"),
    [
        ((0.0, 0.0), (6.0, 12.0), True),  # of 12 V beside it: 0.5 + 0.0 of a bin of 1 ms
        ((0.0, 0.0), (9.1, 9.1), False),  # 0.242 each
        ((2.49, 2.49), (9.0, 9.0), True),
        ((2.49, 2.51), (9.0, 9.0), False),  # only one of them is that low
        ((0.0, 0.0), (12.6, 12.6), False),  # nothing is lacking
    ],
)
def test_a_blink_within_a_bin_or_two(lowest_v: tuple[float, float], mean_v: tuple[float, float], moved: bool) -> None:
    """Bins of 1 ms; half of the shortest dropout that counts are 0.5 ms."""
    bin_s = 0.001
    mean = flat(12.0, 8.0, bin_s)
    lowest = mean.copy()
    mean[4000:4002], lowest[4000:4002] = mean_v, lowest_v
    feed = put(mean, 0.0, 0.0, 1.0, bin_s)
    view = plain_view(bin_s=bin_s, battery=mean, key_switch=feed, lowest={"battery": lowest}, cranks=(), phases=())
    found = clips_still(view)
    assert found.result is (Result.UNDECIDED if moved else Result.PASS)
    assert found.at_s == (pytest.approx(4.0) if moved else None)


@pytest.mark.parametrize("first", [0, 7998])
def test_a_blink_at_an_end_of_the_recording(first: int) -> None:
    mean = flat(12.0, 8.0, 0.001)
    mean[first : first + 2] = 0.0
    found = clips_still(plain_view(bin_s=0.001, battery=mean, key_switch=mean, cranks=(), phases=()))
    assert found.at_s == pytest.approx(first / 1000.0)


def test_readings_that_are_low_in_every_bin_are_no_blink() -> None:
    mean = flat(12.0, 8.0, 0.001)
    view = plain_view(bin_s=0.001, battery=mean, key_switch=mean, lowest={"battery": mean * 0.0}, cranks=(), phases=())
    assert clips_still(view).result is Result.PASS


FINE_S = 1.0 / 1600.0  # 0.02 s are 32 bins
FINE_BATTERY = put(flat(12.6, 8.0, FINE_S), 10.0, 3.0, 5.0, FINE_S)
FINE_FEED = put(FINE_BATTERY - 0.1, 0.0, 0.0, 1.0, FINE_S)


def stepped(
    step_v: float = 0.5,
    *,
    at_s: float = 6.5,
    bins: int = 1600,
    battery_v: float | None = None,
    dead_v: float = 0.0,
    **more: Any,
) -> dict[str, Any]:
    """Battery, feed and a dead starter lead step together, the battery by `battery_v`."""
    first = at(at_s, FINE_S)
    inside = slice(first, first + bins)
    battery, key, coil = FINE_BATTERY.copy(), FINE_FEED.copy(), flat(dead_v, 8.0, FINE_S)
    battery[inside] += step_v if battery_v is None else battery_v
    key[inside] += step_v
    coil[inside] += step_v
    return {"bin_s": FINE_S, "battery": battery, "key_switch": key, "starter_coil": coil} | more


def step_at(start: dict[str, Any]) -> float | None:
    found = clips_still(plain_view(**start))
    assert (found.result is Result.UNDECIDED) is ("stepped together" in found.reason)
    return found.at_s


@pytest.mark.parametrize(
    ("start", "moved"),
    [
        (stepped(), True),
        (stepped(0.405), True),
        (stepped(0.395), False),
        (stepped(-0.405), True),
        (stepped(-0.395), False),
        (stepped(1.0, battery_v=1.33), True),  # alike: less than a quarter of the largest apart
        (stepped(1.0, battery_v=1.34), False),
        (stepped(1.0, battery_v=0.76), True),
        (stepped(1.0, battery_v=0.74), False),
        (stepped(0.405, dead_v=0.59), True),  # one lead was dead before
        (stepped(0.405, dead_v=0.61), False),
        (stepped(-0.405, dead_v=-0.59), True),
        (stepped(-0.405, dead_v=-0.61), False),
        (stepped(0.405, bins=31), False),  # shorter than 0.02 s
        (stepped(0.405, bins=32), True),
        (stepped(0.81, limits=L24), True),  # at 24 V 0.8 V
        (stepped(0.79, limits=L24), False),
    ],
)
def test_all_leads_step_together(start: dict[str, Any], moved: bool) -> None:
    found_s = step_at(start)
    assert (found_s is not None) is moved
    assert found_s is None or found_s == pytest.approx(6.5, abs=5 * FINE_S)


@pytest.mark.parametrize(
    ("at_s", "moved"),
    [
        (2.67, True),
        (2.74, False),  # within 0.3 s of START
        (3.26, False),
        (3.33, True),
        (4.67, True),
        (4.74, False),  # of LET GO
        (5.26, False),
        (5.33, True),
        (0.67, True),
        (0.74, False),  # of ON
        (1.33, True),
        (7.17, True),
        (7.24, False),  # of OFF
    ],
)
def test_what_key_and_starter_move_is_no_clip(at_s: float, moved: bool) -> None:
    case = stepped(at_s=at_s, bins=40, off=border(7.5))
    assert (step_at(case) is not None) is moved


def test_the_busy_bins_are_those_of_the_borders() -> None:
    view = plain_view(off=Border(7.0, 7.5, ""), on=Border(0.5, 1.0, ""), cranks=(crank_of(3.0, 5.0, wide_s=0.2),))
    busy = np.flatnonzero(_busy(view)) * BIN_S
    edges = [1.0, 3.0, 5.0, 7.0]
    expected = [s for s in np.arange(len(view.trace)) * BIN_S if any(abs(s - edge_s) < 0.3 for edge_s in edges)]
    assert busy.tolist() == expected
    assert not _busy(plain_view(cranks=(), on=None)).any()


def test_one_lead_or_two_bins_show_no_step() -> None:
    view = plain_view(**stepped())
    assert _common_step(view, _windows(view, 0.02, ahead=True)) is not None
    only = replace(view, trace=replace(view.trace, channels={"starter_coil": view.trace.channels["starter_coil"]}))
    assert _common_step(only, _windows(only, 0.02, ahead=True)) is None
    for count, found in ((2, False), (3, True)):
        volts = np.array([0.0, 5.0, 5.0])[:count]
        short = plain_view(battery=volts, key_switch=volts, phases=(), cranks=(), on=None, bin_s=0.02)
        assert (_common_step(short, _windows(short, 0.02, ahead=True)) is not None) is found


@pytest.mark.parametrize("still", ["battery", "key_switch", "starter_coil"])
def test_leads_that_step_one_by_one_are_no_clip(still: str) -> None:
    case = stepped()
    case[still] = {"battery": FINE_BATTERY, "key_switch": FINE_FEED, "starter_coil": flat(0.0, 8.0, FINE_S)}[still]
    assert step_at(case) is None


@pytest.mark.parametrize(
    ("quarters_v", "moved"),
    [
        ((0.45, 0.45, 0.45, 0.45), True),
        ((1.5, 0.0, 0.0, 0.0), False),
        ((0.0, 0.45, 0.45, 0.45), False),
        ((0.45, 0.0, 0.45, 0.45), False),
        ((0.45, 0.45, 0.2, 0.45), False),
        ((0.45, 0.45, 0.45, 0.0), False),
    ],
)
def test_each_quarter_of_the_time_must_show_the_step(quarters_v: tuple[float, ...], moved: bool) -> None:
    """A pulse of 0.02 s in quarters of eight bins, then as before."""
    case = stepped(0.0)
    for k, volts in enumerate(quarters_v):
        first = at(6.5, FINE_S) + 8 * k
        for role in ("battery", "key_switch", "starter_coil"):
            case[role][first : first + 8] += volts
    assert (step_at(case) is not None) is moved


# --- the person's answers


@pytest.mark.parametrize(
    ("answer", "result", "text"), [(True, Result.PASS, ""), (None, Result.PASS, "(not asked)"), (False, Result.UNDECIDED, "")]
)
def test_own_key_and_module(answer: bool | None, result: Result, text: str) -> None:
    key = own_key(plain_view(context=Context(cranked_with_key=answer)))
    module = module_plugged(plain_view(context=Context(module_plugged_in=answer)))
    assert (key.check, module.check) == (CheckId.OWN_KEY, CheckId.MODULE_PLUGGED)
    assert (key.result, module.result) == (result, result)
    assert ("(not asked)" in key.reason, "(not asked)" in module.reason) == (bool(text), bool(text))
