"""Charging, charger and recovery, one value on each side of every border. The shipped limits: 13.2 V to 15 V while running."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from firstcrank.analysis.checks.charging import _mains_ripple, _was_charged, check, check_charger, check_recovery
from firstcrank.analysis.view import View
from firstcrank.model.context import Context
from firstcrank.model.judgement import Border, Crank, Finding
from firstcrank.model.vocabulary import CheckId, Phase, Result
from firstcrank.trace import Uncertainty

from .plain_view import border, crank_of, flat, limits_with, plain_view, put

SLOW_S = 1.0 / 16.0
CRANKS = (crank_of(3.0, 5.0),)


def running(volts: float, seconds: float = 66.0, *, before: float | None = None, u_v: float = 0.0, **more: Any) -> View:
    """An engine that ran from 5 s on; at `volts` in the last 4 s, at `before` until then."""
    battery = put(flat(12.6, seconds, SLOW_S), 10.0, 3.0, 5.0, SLOW_S)
    battery = put(battery, volts if before is None else before, 5.0, seconds, SLOW_S)
    battery = put(battery, volts, seconds - 4.0, seconds, SLOW_S)
    settings: dict[str, Any] = {"context": Context(engine_running=True), "u": Uncertainty(0.0, u_v)} | more
    key = battery - 0.1
    return plain_view(bin_s=SLOW_S, battery=battery, key_switch=key, **settings)


def only(findings: list[Finding]) -> Finding:
    """The one finding."""
    (one,) = findings
    return one


@pytest.mark.parametrize(
    ("volts", "u_v", "result"),
    [
        (13.21, 0.0, Result.PASS),
        (14.99, 0.0, Result.PASS),
        (15.01, 0.0, Result.FAIL),
        (13.19, 0.0, Result.FAIL),  # never charged all the minute
        (13.31, 0.05, Result.PASS),  # U is twice u: 0.1 V
        (13.29, 0.05, Result.WARN),
        (14.89, 0.05, Result.PASS),
        (14.91, 0.05, Result.WARN),
        (15.09, 0.05, Result.WARN),
        (15.11, 0.05, Result.FAIL),
        (13.11, 0.05, Result.WARN),
        (13.09, 0.05, Result.FAIL),
    ],
)
def test_charging_is_held_between_two_limits(volts: float, u_v: float, result: Result) -> None:
    found = only(check(running(volts, u_v=u_v)))
    assert (found.check, found.result) == (CheckId.CHARGING, result)
    assert found.measured == pytest.approx(volts)
    assert found.uncertainty == pytest.approx(2 * u_v)
    assert found.limit == (15.0 if volts > 14.0 and result is not Result.PASS else 13.2)
    assert (found.at_s, found.phase) == (64.0, Phase.AFTER)
    assert ("too high" in found.reason) is (found.limit == 15.0 and result is not Result.PASS)


def test_only_where_the_engine_is_said_to_run() -> None:
    for answer in (None, False):
        assert check(running(12.0, context=Context(engine_running=answer))) == []
    assert check(running(12.0, cranks=())) == []


@pytest.mark.parametrize(("seconds", "result"), [(8.9, Result.NOT_MEASURED), (9.1, Result.PASS)])
def test_nearly_the_whole_run_on_must_be_seen(seconds: float, result: Result) -> None:
    """5 s of running by itself less one: from 5 s to 9 s."""
    found = only(check(running(14.0, round(seconds / SLOW_S) * SLOW_S)))
    assert found.result is result
    assert (found.measured is None) is (result is Result.NOT_MEASURED)


@pytest.mark.parametrize(("seconds", "result"), [(64.9, Result.NOT_MEASURED), (65.0, Result.FAIL)])
def test_no_charge_is_a_fault_after_a_minute(seconds: float, result: Result) -> None:
    found = only(check(running(12.0, round(seconds / SLOW_S) * SLOW_S)))
    assert found.result is result
    assert found.measured == pytest.approx(12.0)
    assert found.limit == 13.2
    assert ("so far" in found.reason) is (result is Result.NOT_MEASURED)


def test_too_high_is_a_fault_at_once() -> None:
    assert only(check(running(15.5, 12.0))).result is Result.FAIL


def test_key_off_ends_the_watch() -> None:
    off = border(60.0)
    assert only(check(running(12.0, off=off))).result is Result.NOT_MEASURED
    found = only(check(running(12.0, 70.0, off=border(66.0), before=14.0)))
    assert found.measured == pytest.approx(14.0)
    assert (found.result, found.at_s) == (Result.PASS, 64.0)


@pytest.mark.parametrize(
    ("volts", "rest_v", "text"),
    [(12.89, 12.6, "nothing charges it"), (12.91, 12.6, "charging too little"), (13.1, 12.9, "nothing charges it")],
)
def test_no_higher_than_it_rested_is_no_charge(volts: float, rest_v: float, text: str) -> None:
    """0.3 V above its rest at most."""
    found = only(check(running(volts, rest_v=rest_v)))
    assert found.result is Result.FAIL
    assert text in found.reason


@pytest.mark.parametrize(
    ("volts", "before", "u_v", "result"),
    [
        (12.95, 13.3, 0.0, Result.WARN),  # it was charged for a while: a heater pulls it down
        (12.95, 13.1, 0.0, Result.FAIL),
        (12.85, 14.0, 0.0, Result.FAIL),  # discharging now
        (12.95, 13.15, 0.05, Result.WARN),  # less by U
        (12.95, 13.05, 0.05, Result.FAIL),
    ],
)
def test_charged_for_a_while_and_low_now_warns(volts: float, before: float, u_v: float, result: Result) -> None:
    assert only(check(running(volts, before=before, u_v=u_v))).result is result


def test_the_last_two_seconds_are_measured_but_for_their_end() -> None:
    """From 2.1 s before the end, 11 s, to 0.1 s before it."""
    battery = put(flat(5.0, 11.0), 14.0, 8.9, 10.9)
    view = plain_view(battery=battery, key_switch=battery, context=Context(engine_running=True), phases=())
    assert only(check(view)).measured == pytest.approx(14.0)
    for start_s, end_s in ((8.9, 8.95), (10.85, 10.9)):
        less = put(battery, 5.0, start_s, end_s)
        assert only(
            check(plain_view(battery=less, key_switch=less, context=view.context, phases=()))
        ).measured != pytest.approx(14.0)


def test_24_v_doubles_what_rest_allows() -> None:
    limits = limits_with(24)
    for volts, text in ((25.75, "nothing charges it"), (25.85, "charging too little")):
        found = only(check(running(volts, limits=limits, rest_v=25.2)))
        assert text in found.reason


@pytest.mark.parametrize(("share", "charged"), [(0.029, False), (0.035, True)])
def test_charged_for_three_hundredths_of_the_watch(share: float, charged: bool) -> None:
    """The alternator has 6 s to build up: from 11 s to 66 s, 880 bins."""
    battery = flat(12.6, 66.0, SLOW_S)
    battery = put(battery, 14.0, 0.0, 10.9375, SLOW_S)
    battery = put(battery, 14.0, 40.0, 40.0 + round(share * 880) * SLOW_S, SLOW_S)
    view = plain_view(bin_s=SLOW_S, battery=battery, key_switch=battery - 0.1, cranks=CRANKS)
    assert _was_charged(view, 5.0, 66.0, 13.2) is charged
    assert _was_charged(view, 5.0, 66.0, 14.0) is charged
    assert not _was_charged(view, 5.0, 66.0, 14.01)
    assert not _was_charged(view, 5.0, 10.0, 13.2)


# --- a charger


def ripple(hz: float, peak_v: float, seconds: float = 1.0, step_s: float = 1.0 / 1024.0, **more: Any) -> View:
    """A battery at rest with a ripple, the key ON at the end of it."""
    count = round((seconds + 0.5) / step_s)
    t = (np.arange(count) + 0.5) * step_s
    battery = np.asarray(12.6 + peak_v * np.sin(2 * np.pi * hz * t))
    key = np.where(t > seconds, 12.5, 0.0)
    return plain_view(bin_s=step_s, battery=battery, key_switch=key, on=border(seconds), cranks=(), **more)


@pytest.mark.parametrize(
    ("hz", "peak_v", "found"),
    [
        (100.0, 0.1, True),
        (120.0, 0.1, True),
        (110.0, 0.1, False),
        (50.0, 0.1, False),
        (98.4, 0.1, True),
        (96.0, 0.1, False),
        (100.0, 0.030, True),  # 0.02 V rms are 0.028 V peak
        (100.0, 0.026, False),
        (0.0, 0.0, False),
    ],
)
def test_a_ripple_of_twice_the_mains(hz: float, peak_v: float, found: bool) -> None:
    view = ripple(hz, peak_v)
    assert [(f.check, f.result) for f in check_charger(view)] == [(CheckId.BATTERY_CHARGER, Result.WARN)] * found


def test_a_ripple_beside_greater_swings_is_none() -> None:
    base = ripple(100.0, 0.05)
    t = base.trace.mid_s
    for other_v, found in ((0.04, True), (0.06, False)):
        battery = base.trace.channels["battery"].mean_v + other_v * np.sin(2 * np.pi * 30.0 * t)
        view = plain_view(bin_s=1 / 1024, battery=battery, key_switch=battery, on=border(1.0), cranks=())
        rest = view.within(0.0, 0.98)
        assert _mains_ripple(view, rest, battery[rest]) is found
        slow = base.trace.channels["battery"].mean_v + 0.3 * np.sin(2 * np.pi * 1.0 * t)
        view = plain_view(bin_s=1 / 1024, battery=slow, key_switch=slow, on=border(1.0), cranks=())
        assert _mains_ripple(view, rest, slow[rest])  # what is slower than 5 Hz is the battery's own course


@pytest.mark.parametrize(("bins", "found"), [(399, False), (400, True)])
def test_four_hundred_bins_show_a_ripple(bins: int, found: bool) -> None:
    view = ripple(100.0, 0.1)
    rest = np.zeros(len(view.trace), dtype=bool)
    rest[:bins] = True
    assert _mains_ripple(view, rest, view.trace.channels["battery"].mean_v[rest]) is found


@pytest.mark.parametrize(("step_s", "found"), [(0.0019, True), (0.0021, False)])
def test_bins_further_apart_show_no_ripple(step_s: float, found: bool) -> None:
    assert bool(check_charger(ripple(100.0, 0.2, 2.0, step_s))) is found


def test_a_ripple_doubles_at_24_v() -> None:
    assert check_charger(ripple(100.0, 0.05))
    assert not check_charger(ripple(100.0, 0.05, limits=limits_with(24)))
    assert check_charger(ripple(100.0, 0.06, limits=limits_with(24)))


@pytest.mark.parametrize(
    ("rest_v", "answer", "how"), [(13.01, None, "seen at rest"), (13.0, None, ""), (12.6, True, "reported"), (12.6, False, "")]
)
def test_a_charger_by_its_voltage_or_by_the_answer(rest_v: float, answer: bool | None, how: str) -> None:
    findings = check_charger(plain_view(rest_v=rest_v, context=Context(charger_connected=answer)))
    if not how:
        assert findings == []
        return
    found = only(findings)
    assert f"({how})" in found.reason
    assert found.measured == pytest.approx(12.6)
    assert (found.result, found.limit, found.at_s, found.phase) == (Result.WARN, None, 0.0, Phase.KEY_OFF)


def test_a_charger_needs_the_time_before_on() -> None:
    assert check_charger(plain_view(rest_v=14.0, on=None)) == []
    assert only(check_charger(plain_view(rest_v=14.0, on=border(0.01)))).value is None
    late = put(flat(12.6), 5.0, 0.98, 1.0)
    on = Border(1.0, 1.5, "")
    assert only(check_charger(plain_view(battery=late, rest_v=14.0, on=on))).measured == pytest.approx(12.6)


# --- recovery


def recovery(volts: float, **more: Any) -> list[Finding]:
    """At `volts` from 1.5 s to 2 s after the crank, which ended at 5 s."""
    battery = put(put(flat(11.0), volts, 6.5, 7.0), 11.0, 7.0, 8.0)
    return check_recovery(plain_view(battery=battery, **more))


@pytest.mark.parametrize(("volts", "result"), [(11.79, Result.WARN), (11.81, Result.PASS)])
def test_a_battery_that_comes_back(volts: float, result: Result) -> None:
    """0.4 V below the 12.2 V that a rested battery has."""
    found = only(recovery(volts))
    assert (found.check, found.result, found.limit) == (CheckId.BATTERY_RECOVERY, result, None)
    assert found.measured == pytest.approx(volts)
    assert (found.at_s, found.phase) == (7.0, Phase.AFTER)


def test_recovery_means_little_with_a_charger_or_a_running_engine() -> None:
    assert recovery(12.0, context=Context(charger_connected=True)) == []
    assert recovery(12.0, rest_v=13.01) == []
    assert recovery(12.0, rest_v=13.0) != []
    assert recovery(12.0, made=(Crank(3.0, 5.0, engine_ran_on=True),)) == []
    assert recovery(12.0, on=None) == []
    assert recovery(12.0, cranks=()) == []


def test_recovery_is_of_the_last_crank_and_needs_its_time() -> None:
    two = (Crank(1.0, 1.5, engine_ran_on=True), Crank(3.0, 5.0))
    assert only(recovery(12.0, made=two)).at_s == 7.0
    assert only(recovery(12.0, made=(Crank(3.0, 6.4),))).at_s == 8.4
    assert recovery(12.0, made=(Crank(3.0, 6.6),)) == []
