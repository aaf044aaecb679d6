"""Battery, starter control, chatter, key off, crank speed and evenness as findings, one value on each side of every border."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from firstcrank.analysis.checks import after_off, battery, chatter, crank, starter
from firstcrank.model.context import Context
from firstcrank.model.judgement import Border, Crank, Dropout, Finding
from firstcrank.model.vocabulary import CheckId, Phase, Result
from firstcrank.trace import Uncertainty

from .plain_view import BIN_S, Volts, a_battery, a_feed, border, crank_of, flat, loss, plain_view, put


def only(findings: list[Finding]) -> Finding:
    """The one finding."""
    (one,) = findings
    return one


# --- the battery at rest


@pytest.mark.parametrize(
    ("volts", "u_v", "result", "limit_v", "text"),
    [
        (12.21, 0.0, Result.PASS, 12.2, ""),
        (12.19, 0.0, Result.WARN, 12.2, "charge the battery first"),
        (13.0, 0.0, Result.PASS, 12.2, ""),
        (13.01, 0.0, Result.WARN, 13.0, "a charger or jump pack"),
        (12.29, 0.05, Result.UNDECIDED, 12.2, "too close to 12.20 V"),
        (12.31, 0.05, Result.PASS, 12.2, ""),
        (12.11, 0.05, Result.UNDECIDED, 12.2, "too close to 12.20 V"),
        (12.09, 0.05, Result.WARN, 12.2, "charge the battery first"),
    ],
)
def test_the_battery_at_rest(volts: float, u_v: float, result: Result, limit_v: float, text: str) -> None:
    found = only(battery.check_rest(plain_view(battery=put(a_battery(), volts, 0.0, 1.0), u=Uncertainty(0.0, u_v))))
    assert (found.check, found.result, found.limit, found.at_s, found.phase) == (
        CheckId.BATTERY_REST,
        result,
        limit_v,
        0.0,
        Phase.KEY_OFF,
    )
    assert found.measured == pytest.approx(volts)
    assert text in found.reason
    assert (": " in found.reason) is bool(text)
    assert (found.conformance is None) is (limit_v == 13.0)


def test_rest_ends_10_ms_before_on() -> None:
    late = put(a_battery(), 5.0, 0.9921875, 1.5)
    on = Border(1.0, 1.5, "")
    assert only(battery.check_rest(plain_view(battery=late, on=on))).measured == pytest.approx(12.6)
    assert only(battery.check_rest(plain_view(battery=put(late, 5.0, 0.984375, 1.0), on=on))).measured != pytest.approx(12.6)
    assert only(battery.check_rest(plain_view(battery=put(a_battery(), 5.0, 0.0, BIN_S)))).measured != pytest.approx(12.6)


def test_rest_must_be_seen() -> None:
    unseen = only(battery.check_rest(plain_view(on=None)))
    assert (unseen.result, unseen.value) == (Result.NOT_MEASURED, None)
    assert "not seen off" in unseen.reason
    found = only(battery.check_rest(plain_view(on=border(0.01))))
    assert (found.result, found.value) == (Result.NOT_MEASURED, None)


# --- and while cranking


@pytest.mark.parametrize(
    ("volts", "u_v", "result"),
    [(9.61, 0.0, Result.PASS), (9.59, 0.0, Result.WARN), (9.69, 0.05, Result.UNDECIDED), (9.51, 0.05, Result.UNDECIDED)],
)
def test_the_battery_while_cranking(volts: float, u_v: float, result: Result) -> None:
    found = only(battery.check_crank(plain_view(battery=put(flat(12.6), volts, 3.0, 5.0), u=Uncertainty(0.0, u_v))))
    assert (found.check, found.result, found.limit, found.at_s, found.phase) == (
        CheckId.BATTERY_CRANK,
        result,
        9.6,
        3.0,
        Phase.CRANK,
    )
    assert found.measured == pytest.approx(volts)
    assert ("below 9.60 V" in found.reason) is (result is Result.WARN)


def test_inrush_and_end_are_left_out_and_cranks_put_together() -> None:
    """From 0.2 s behind START to 0.05 s before LET GO."""
    volts = put(put(a_battery(), 5.0, 3.0, 3.1953125), 13.0, 4.953125, 5.0)
    assert only(battery.check_crank(plain_view(battery=volts))).measured == pytest.approx(10.0)
    for start_s, end_s in ((3.19, 3.21), (4.94, 4.96)):
        assert only(battery.check_crank(plain_view(battery=put(volts, 5.0, start_s, end_s)))).measured != pytest.approx(10.0)
    two = put(put(flat(12.6), 10.0, 3.0, 4.0), 9.0, 6.0, 7.0)
    found = only(battery.check_crank(plain_view(battery=two, cranks=(crank_of(3.0, 4.0), crank_of(6.0, 7.0)))))
    assert found.measured == pytest.approx(9.5, abs=0.01)
    assert battery.check_crank(plain_view(cranks=())) == []
    assert battery.check_crank(plain_view(cranks=(crank_of(3.0, 3.25),))) == []


# --- the starter's control circuit


def control(plus_v: float, minus_v: float | None = None, **more: Any) -> list[Finding]:
    """The coil gets `plus_v` less than the battery, the engine's ground rises by `minus_v`."""
    leads: dict[str, Any] = {"starter_coil": put(flat(0.0), 10.0 - plus_v, 3.0, 5.0)}
    if minus_v is not None:
        leads["engine_ground"] = put(flat(0.0), minus_v, 3.0, 5.0)
    return starter.check(plain_view(**(leads | more)))


@pytest.mark.parametrize(
    ("plus_v", "minus_v", "result"),
    [
        (0.5, 0.49, Result.PASS),
        (0.5, 0.51, Result.FAIL),
        (0.99, None, Result.NOT_MEASURED),
        (1.01, None, Result.FAIL),
    ],
)
def test_what_the_control_circuit_drops(plus_v: float, minus_v: float | None, result: Result) -> None:
    found = only(control(plus_v, minus_v))
    assert (found.check, found.result) == (CheckId.STARTER_CONTROL_DROP, result)
    if result is Result.NOT_MEASURED:
        assert (found.value, "engine ground" in found.reason) == (None, True)
        return
    assert found.measured == pytest.approx(plus_v + (minus_v or 0.0))
    assert (found.limit, found.at_s, found.phase) == (1.0, 3.0, Phase.CRANK)
    assert ("both sides summed" in found.reason) is (minus_v is not None)
    assert ("may not pull in" in found.reason) is (result is Result.FAIL)


def test_uncertainties_of_both_sides_add_in_squares() -> None:
    """Battery, coil and engine ground with 10 mV each."""
    assert only(control(0.2, 0.2, u=Uncertainty(0.0, 0.01))).uncertainty == pytest.approx(2 * 0.01 * 3**0.5)
    between = only(control(0.5, 0.51, u=Uncertainty(0.0, 0.01)))
    assert between.result is Result.UNDECIDED


def test_the_first_reading_is_asked() -> None:
    """From 4 ms to 60 ms behind START, where the coil is live."""
    first = put(put(flat(0.0), 9.5, 3.0, 5.0), 9.0, 3.0078125, 3.05859375)
    ground = put(flat(0.0), 0.1, 3.0, 5.0)
    assert only(control(0.5, starter_coil=first, engine_ground=ground)).measured == pytest.approx(1.1)
    dead = put(first, 0.9, 3.0078125, 3.03125)  # 0.9 V is no live coil
    assert only(control(0.5, starter_coil=dead, engine_ground=ground)).measured == pytest.approx(1.1)
    live = put(first, 1.1, 3.0078125, 3.03125)
    assert only(control(0.5, starter_coil=live, engine_ground=ground)).measured != pytest.approx(1.1)
    late = put(put(flat(0.0), 9.5, 3.08, 5.0), 8.0, 4.96, 5.0)  # live too late: the whole crank from 0.1 s on but its end
    assert only(control(0.5, starter_coil=late, engine_ground=ground)).measured == pytest.approx(0.6)


@pytest.mark.parametrize(("bins", "drop_v"), [(2, 0.6), (3, 1.1)])
def test_three_bins_make_a_first_reading(bins: int, drop_v: float) -> None:
    coil = put(put(flat(0.0), 9.5, 3.08, 5.0), 9.0, 3.0078125, 3.0078125 + bins * BIN_S)
    assert only(control(0.5, 0.1, starter_coil=coil)).measured == pytest.approx(drop_v)


def test_the_worst_crank_by_the_lead_is_told() -> None:
    coil = put(put(flat(0.0), 9.7, 3.0, 4.0), 9.4, 6.0, 7.0)
    volts = put(flat(10.0), 10.0, 0.0, 8.0)
    cranks = (crank_of(3.0, 4.0), crank_of(6.0, 7.0))
    ground = flat(0.1)
    found = only(control(0.0, starter_coil=coil, battery=volts, cranks=cranks, engine_ground=ground))
    assert found.measured == pytest.approx(0.7)
    assert found.at_s == 6.0
    by_battery = (crank_of(3.0, 4.0), crank_of(6.0, 7.0, by_lead=False))
    found = only(control(0.0, starter_coil=coil, battery=volts, cranks=by_battery, engine_ground=ground))
    assert found.at_s == 3.0
    assert control(0.5, cranks=(crank_of(3.0, 5.0, by_lead=False),)) == []
    assert control(0.5, cranks=()) == []
    assert starter.check(plain_view()) == []
    assert control(0.5, starter_coil=flat(0.9), cranks=(crank_of(3.0, 3.1),)) == []


# --- chatter


def losses(*starts_s: float, kind: Any = "counts", duration_s: float = 0.01) -> tuple[Dropout, ...]:
    return tuple(loss(s, duration_s, kind=kind) for s in starts_s)


@pytest.mark.parametrize(
    ("drops", "result", "count", "at_s"),
    [
        ((), Result.PASS, 0.0, None),
        (losses(3.1, 3.2), Result.PASS, 2.0, None),
        (losses(3.1, 3.2, 3.3), Result.FAIL, 3.0, 3.1),
        (losses(3.0, 4.0, 5.0), Result.FAIL, 3.0, 3.0),  # within 2 s
        (losses(3.0, 4.0, 5.01), Result.PASS, 2.0, None),
        (losses(3.0, 5.5, 5.6, 5.7, 5.8), Result.FAIL, 4.0, 5.5),
        (losses(3.0, 3.1, 3.2, 6.0, 9.0, 12.0, 15.0), Result.FAIL, 3.0, 3.0),
        (losses(3.0, 3.1, 3.2, 6.0, 6.1, 6.2, 9.0), Result.FAIL, 3.0, 3.0),
        (losses(3.1, 3.2, 3.3, kind="short"), Result.WARN, 3.0, 3.1),
        (losses(3.1, 3.2, 3.3, kind="undecided"), Result.WARN, 3.0, 3.1),
        (losses(3.1, 3.2, 3.3, kind="tolerated"), Result.PASS, 0.0, None),
        (losses(3.1, 3.2, 3.3, kind="with supply"), Result.PASS, 0.0, None),
        ((*losses(3.1, 3.2), *losses(3.3, kind="short")), Result.WARN, 3.0, 3.1),
        ((*losses(3.1, 3.2, 3.3), *losses(3.4, kind="short")), Result.FAIL, 3.0, 3.1),
    ],
)
def test_losses_close_together(drops: tuple[Dropout, ...], result: Result, count: float, at_s: float | None) -> None:
    found = only(chatter.check(plain_view(dropouts=drops)))
    assert (found.check, found.result, found.measured, found.limit, found.at_s) == (
        CheckId.FEED_CHATTER,
        result,
        count,
        3.0,
        at_s,
    )
    assert found.phase is (None if at_s is None else Phase.CRANK)
    assert ("each too short" in found.reason) is (result is Result.WARN)


def test_the_phase_is_that_of_the_first() -> None:
    drops = (loss(2.9, 0.01, phase=Phase.TURN), loss(3.5, 0.01), loss(4.8, 0.01, phase=Phase.RELEASE))
    assert only(chatter.check(plain_view(dropouts=drops))).phase is Phase.TURN


def test_from_the_first_begin_to_the_last_end() -> None:
    found = only(chatter.check(plain_view(dropouts=losses(3.0, 4.0, 4.5, duration_s=0.25))))
    assert "3 dropouts within 1.75 s" in found.reason


def test_without_key_and_crank_no_chatter_is_asked_for() -> None:
    assert chatter.check(plain_view(on=None, cranks=())) == []
    assert chatter.check(plain_view(on=None)) != []
    assert chatter.check(plain_view(cranks=())) != []


# --- key off


def switched_off(
    level_v: float = 0.0, *, off_s: float = 6.0, hold_s: float | None = 1.0, u_v: float = 0.0, ran: bool = False
) -> list[Finding]:
    """OFF at 6 s; the module holds itself on for 1 s, then the feed stands at a level."""
    feed = put(a_feed(), level_v, off_s + (hold_s or 0.0), 8.0)
    made = (Crank(1.5, 2.0), Crank(3.0, 5.0, engine_ran_on=ran))
    return after_off.check(
        plain_view(
            key_switch=feed, off=border(off_s, 0.25), context=Context(hold_on_s=hold_s), u=Uncertainty(0.0, u_v), made=made
        )
    )


@pytest.mark.parametrize(
    ("level_v", "u_v", "result"),
    [
        (4.99, 0.0, Result.PASS),
        (5.01, 0.0, Result.FAIL),
        (4.89, 0.05, Result.PASS),
        (4.91, 0.05, Result.WARN),
        (5.09, 0.05, Result.WARN),
        (5.11, 0.05, Result.FAIL),
    ],
)
def test_what_the_feed_reads_after_off(level_v: float, u_v: float, result: Result) -> None:
    found = only(switched_off(level_v, u_v=u_v))
    assert (found.check, found.result, found.limit, found.at_s) == (CheckId.KEY_OFF_DECAY, result, 5.0, 6.0)
    assert found.measured == pytest.approx(level_v)
    assert ("something feeds it back" in found.reason) is (result is not Result.PASS)


def test_a_dead_feed_says_little_before_the_engine_ran() -> None:
    assert "only after the engine has run" in only(switched_off()).reason
    assert "only after the engine has run" not in only(switched_off(ran=True)).reason


@pytest.mark.parametrize(("off_s", "result"), [(6.69, Result.PASS), (6.71, Result.NOT_MEASURED)])
def test_it_is_watched_for_300_ms_more(off_s: float, result: Result) -> None:
    found = only(switched_off(off_s=off_s))
    assert found.result is result
    assert result is Result.PASS or "recorded for 1.29 s, the module may stay on for 1.00 s" in found.reason


def test_off_and_the_makers_time_are_needed() -> None:
    assert after_off.check(plain_view()) == []
    assert "not seen to go off" in only(after_off.check(plain_view(context=Context(hold_on_s=1.0)))).reason
    assert "power-down time" in only(switched_off(hold_s=None)).reason
    assert only(switched_off(hold_s=0.0)).result is Result.PASS


# --- crank speed


@pytest.mark.parametrize(
    ("rpm", "expanded_rpm", "result"),
    [
        (130.1, 0.0, Result.PASS),
        (129.9, 0.0, Result.WARN),
        (134.0, 5.0, Result.WARN),
        (136.0, 5.0, Result.PASS),
        (130.1, None, Result.PASS),
    ],
)
def test_speed_of_the_crank(rpm: float, expanded_rpm: float | None, result: Result) -> None:
    found = only(crank.check_speed(plain_view(made=(Crank(3.0, 5.0, rpm, expanded_rpm),))))
    assert (found.check, found.result, found.limit, found.at_s, found.phase, found.unit) == (
        CheckId.CRANK_SPEED,
        result,
        130.0,
        3.0,
        Phase.CRANK,
        "rpm",
    )
    assert (found.measured, found.uncertainty) == (rpm, expanded_rpm or 0.0)
    assert ("130 rpm" in found.reason) is (result is Result.WARN and rpm != 130.1)


def test_the_longest_crank_is_asked() -> None:
    made = (Crank(1.0, 2.0, 90.0, 1.0), Crank(3.0, 5.0, 180.0, 1.0), Crank(6.0, 7.0, 90.0, 1.0))
    assert only(crank.check_speed(plain_view(made=made))).measured == 180.0
    found = only(crank.check_speed(plain_view(made=(Crank(3.0, 5.0, speed_note="refused"),))))
    assert (found.result, found.reason, found.at_s) == (Result.NOT_MEASURED, "refused", 3.0)
    assert crank.check_speed(plain_view(cranks=())) == []


# --- evenness


LONG = crank_of(3.0, 7.5)


def compressions(weak_share: float, cylinders: int = 4, hz: float = 8.0) -> Volts:
    """While cranking eight compressions a second; each fourth one of them by a share less deep."""
    volts = put(flat(12.6), 10.0, 3.0, 7.5)
    t = np.arange(round(4.5 / BIN_S)) * BIN_S
    depth = np.where(np.floor(t * hz) % cylinders == 0, 1.0 - weak_share, 1.0)
    volts[round(3.0 / BIN_S) : round(7.5 / BIN_S)] -= 0.25 * depth * (1.0 - np.cos(2 * np.pi * hz * t))
    return volts


def evenness(weak_share: float, cylinders: int | None = 4, **more: Any) -> list[Finding]:
    start: dict[str, Any] = {"battery": compressions(weak_share), "cranks": (LONG,), "context": Context(cylinders=cylinders)}
    return crank.check_evenness(plain_view(**(start | more)))


def test_a_compression_that_stands_out() -> None:
    found = only(evenness(0.3))
    assert (found.check, found.result, found.at_s, found.phase) == (CheckId.CRANK_EVENNESS, Result.WARN, 3.0, Phase.CRANK)
    assert found.measured == pytest.approx(0.3, abs=0.1)
    even = only(evenness(0.0))
    assert (even.result, even.value, even.at_s) == (Result.PASS, None, 3.0)


def test_evenness_needs_cylinders_and_a_rhythm() -> None:
    assert evenness(0.3, None) == []
    assert evenness(0.3, cranks=()) == []
    assert evenness(0.3, battery=put(flat(12.6), 10.0, 3.0, 7.5)) == []
    sagged = only(evenness(0.0, cranks=(crank_of(3.0, 7.5, sag_s=3.02),)))
    assert sagged.at_s == 3.02
    longest = only(evenness(0.0, cranks=(crank_of(1.5, 2.0), LONG, crank_of(7.6, 7.9))))
    assert longest.at_s == 3.0
