"""Rules on causes in battery, cables, grounds, control, heater, charging and engine, one value on each side of every border."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from firstcrank.analysis.causes import RULES, likely_causes, power
from firstcrank.analysis.causes.advice import ADVICE
from firstcrank.analysis.causes.power import (
    _only_late,
    _source_sags,
    _stepped_down_v,
    backfeed_after_off,
    battery_cable,
    battery_weak,
    ground_path,
    heater_feed_low,
    no_charge,
    slow_crank,
    starter_control_drop,
    uneven_compression,
)
from firstcrank.analysis.causes.symptoms import Symptoms, symptoms_of
from firstcrank.model.judgement import Cause, Finding
from firstcrank.model.vocabulary import CheckId, Phase, Result

from .plain_view import BIN_S, Volts, a_battery, a_feed, a_finding, crank_of, flat, limits_with, loss, plain_view, put


def symptoms(*findings: Finding, view: dict[str, Any] | None = None, **changed: Any) -> Symptoms:
    """Of a plain start, with some figures put in by hand."""
    return replace(symptoms_of(plain_view(**(view or {})), findings), **changed)


def sure(cause: Cause | None) -> float | None:
    """Its confidence, None for none."""
    return None if cause is None else cause.confidence


def evidence(cause: Cause | None) -> str:
    """Its evidence."""
    assert cause is not None
    return cause.evidence


FEED_FAILS = a_finding(CheckId.FEED_DROP_STEADY, Result.FAIL, 1.2)


# --- the battery


def test_the_battery_itself_goes_too_low() -> None:
    low = a_finding(CheckId.SUPPLY_MINIMUM, Result.FAIL, 5.0)
    vague = a_finding(CheckId.SUPPLY_MINIMUM, Result.UNDECIDED, 6.9)
    weak = a_finding(CheckId.BATTERY_CRANK, Result.WARN, 8.0)
    assert sure(battery_weak(symptoms(low))) == 0.7
    assert sure(battery_weak(symptoms(vague))) == 0.7
    assert sure(battery_weak(symptoms(low, weak))) == 0.9
    assert sure(battery_weak(symptoms(low, replace(weak, result=Result.PASS)))) == 0.7
    assert battery_weak(symptoms(replace(low, result=Result.WARN), weak)) is None


def test_how_it_rests_is_told_where_it_was_measured() -> None:
    low, rest = a_finding(CheckId.SUPPLY_MINIMUM, Result.FAIL), a_finding(CheckId.BATTERY_REST, Result.WARN, 11.9)
    assert evidence(battery_weak(symptoms(low, rest))).endswith("It rests at 11.90 V.")
    assert "rests" not in evidence(battery_weak(symptoms(low, replace(rest, value=None))))
    assert "rests" not in evidence(battery_weak(symptoms(low)))
    assert "rests" not in evidence(battery_weak(symptoms(a_finding(CheckId.SUPPLY_MINIMUM, Result.FAIL, 5.0))))


# --- a cable that feeds the switch too


def source(step_v: float, always_v: float = 0.0) -> dict[str, Any]:
    """The feed's source lies below the post by `always_v`, and by `step_v` more while cranking."""
    return {"feed_source": put(a_battery() - always_v, 10.0 - always_v - step_v, 3.0, 5.0)}


@pytest.mark.parametrize(
    ("view", "findings", "sags"),
    [
        (source(0.26), (FEED_FAILS,), True),  # half of the 0.5 V that warns
        (source(0.24), (FEED_FAILS,), False),
        (source(0.26, 2.0), (FEED_FAILS,), True),
        (source(0.24, 2.0), (FEED_FAILS,), False),
        ({}, (FEED_FAILS,), False),
        (source(1.0), (), False),
        (source(1.0), (replace(FEED_FAILS, result=Result.UNDECIDED),), True),
        (source(1.0), (replace(FEED_FAILS, result=Result.WARN),), False),
        (source(1.0), (a_finding(CheckId.SUPPLY_MINIMUM, Result.FAIL),), True),
        (source(1.0), (a_finding(CheckId.SUPPLY_MINIMUM, Result.UNDECIDED),), True),
        (source(1.0), (a_finding(CheckId.SUPPLY_MINIMUM, Result.WARN),), False),
        (source(1.0), (a_finding(CheckId.BATTERY_CRANK, Result.FAIL),), False),
        (source(1.0) | {"cranks": ()}, (FEED_FAILS,), False),
        (source(1.0) | {"phases": ((Phase.CRANK, 3.0, 5.0),)}, (FEED_FAILS,), False),
    ],
)
def test_the_source_sags_while_cranking(view: dict[str, Any], findings: tuple[Finding, ...], sags: bool) -> None:
    found = symptoms(*findings, view=view)
    assert _source_sags(found) is sags
    if sags:
        assert sure(battery_cable(found)) == 0.95


def drops(on_v: float, crank_v: float) -> dict[str, Any]:
    """The feed so far below the battery with KEY ON, and while cranking."""
    return {"key_switch": put(put(a_battery() - on_v, 10.0 - crank_v, 3.0, 5.0), 0.0, 0.0, 1.0)}


@pytest.mark.parametrize(
    ("on_v", "crank_v", "changed", "confidence"),
    [
        (0.1, 1.2, {"tracks_current": 0.6}, 0.93),
        (0.1, 1.2, {"tracks_current": 0.59}, None),
        (0.1, 0.51, {"tracks_current": 0.9}, 0.93),
        (0.1, 0.49, {"tracks_current": 0.9}, None),
        (0.1, 1.2, {"tracks_current": 0.9, "ground_share": 0.50}, 0.93),
        (0.1, 1.2, {"tracks_current": 0.9, "ground_share": 0.51}, None),
        (0.59, 1.0, {"tracks_current": 0.9}, 0.93),  # with KEY ON six tenths of it
        (0.61, 1.0, {"tracks_current": 0.9}, None),
        (0.1, 1.2, {"tracks_current": 0.0, "coil_share": 0.71, "lost_mean_v": 2.1}, 0.93),
        (0.1, 1.2, {"tracks_current": 0.0, "coil_share": 0.70, "lost_mean_v": 2.1}, None),
        (0.1, 1.2, {"tracks_current": 0.0, "coil_share": 0.71, "lost_mean_v": 2.0}, None),
    ],
)
def test_lost_in_step_with_the_current(on_v: float, crank_v: float, changed: dict[str, Any], confidence: float | None) -> None:
    assert sure(battery_cable(symptoms(FEED_FAILS, view=drops(on_v, crank_v), **changed))) == confidence


@pytest.mark.parametrize(("result", "confidence"), [(Result.WARN, 0.93), (Result.UNDECIDED, 0.93), (Result.PASS, None)])
def test_a_feed_without_fault_names_no_cable(result: Result, confidence: float | None) -> None:
    found = symptoms(replace(FEED_FAILS, result=result), view=drops(0.1, 1.2), tracks_current=0.9)
    assert sure(battery_cable(found)) == confidence
    other = symptoms(a_finding(CheckId.BATTERY_CRANK, Result.WARN), view=drops(0.1, 1.2), tracks_current=0.9)
    assert battery_cable(other) is None


def test_the_worst_of_steady_brief_and_whole_is_told() -> None:
    brief = a_finding(CheckId.FEED_DROP_BRIEF, Result.FAIL, 2.5, phase=Phase.CRANK)
    view = drops(0.1, 1.2)
    assert "up to 1.20 V" in evidence(battery_cable(symptoms(FEED_FAILS, view=view, tracks_current=0.9)))
    assert "up to 2.50 V" in evidence(battery_cable(symptoms(brief, view=view, tracks_current=0.9)))
    other = a_finding(CheckId.FEED_CHATTER, Result.FAIL, 9.0, phase=Phase.CRANK)
    assert "up to 1.20 V" in evidence(battery_cable(symptoms(other, view=view, tracks_current=0.9)))
    elsewhere = replace(brief, phase=Phase.KEY_ON)
    assert "up to 1.20 V" in evidence(battery_cable(symptoms(elsewhere, view=view, tracks_current=0.9)))
    whole = symptoms(FEED_FAILS, view=view, tracks_current=0.0, coil_share=0.9, lost_mean_v=4.0, whole_drop_v=3.5)
    assert "up to 3.50 V" in evidence(battery_cable(whole))
    alone = symptoms(FEED_FAILS, view=view, tracks_current=0.9, coil_share=0.0, lost_mean_v=4.0, whole_drop_v=3.5)
    assert "up to 1.20 V" in evidence(battery_cable(alone))


def test_the_drop_with_key_on_is_not_that_of_the_keys_travel() -> None:
    feed = put(drops(0.7, 1.0)["key_switch"], 12.5, 2.7, 3.0)
    assert battery_cable(symptoms(FEED_FAILS, view={"key_switch": feed}, tracks_current=0.9)) is None


# --- grounds


@pytest.mark.parametrize("check", [CheckId.GROUND_RISE_MODULE, CheckId.GROUND_RISE_ENGINE])
def test_a_ground_that_rises(check: CheckId) -> None:
    risen = a_finding(check, Result.FAIL, 0.9)
    assert sure(ground_path(symptoms(risen))) == 0.88
    assert sure(ground_path(symptoms(risen, ground_share=0.5))) == 0.94
    assert ground_path(symptoms(replace(risen, result=Result.PASS))) is None
    assert ground_path(symptoms(replace(risen, result=Result.UNDECIDED), FEED_FAILS)) is None


@pytest.mark.parametrize(
    ("share", "result", "confidence"),
    [(0.5, Result.FAIL, 0.94), (0.49, Result.FAIL, None), (0.5, Result.WARN, 0.94), (0.5, Result.UNDECIDED, None)],
)
def test_a_ground_that_explains_what_the_feed_lacks(share: float, result: Result, confidence: float | None) -> None:
    assert sure(ground_path(symptoms(replace(FEED_FAILS, result=result), ground_share=share))) == confidence


def test_the_highest_rise_is_told() -> None:
    findings = (
        a_finding(CheckId.GROUND_RISE_MODULE, Result.PASS, 0.4),
        a_finding(CheckId.GROUND_RISE_ENGINE, Result.FAIL, 0.9),
    )
    assert "rises 0.90 V" in evidence(ground_path(symptoms(*findings)))
    assert "rises 0 V" in evidence(ground_path(symptoms(FEED_FAILS, ground_share=0.6)))


# --- one finding, one cause


@pytest.mark.parametrize(
    ("check", "name", "confidence"),
    [
        (CheckId.STARTER_CONTROL_DROP, "starter_control_drop", 0.85),
        (CheckId.HEATER_POLARITY, "heater_reversed", 0.95),
        (CheckId.HEATER_VOLTAGE, "heater_feed_low", 0.85),
        (CheckId.HEATER_CHATTER, "heater_loose", 0.85),
        (CheckId.MODULE_SUPPLY_MINIMUM, "module_supply_drop", 0.85),
        (CheckId.MODULE_SUPPLY_DROP, "module_supply_drop", 0.85),
        (CheckId.MODULE_SUPPLY_LOOP, "module_supply_drop", 0.85),
    ],
)
def test_a_failed_check_names_its_cause(check: CheckId, name: str, confidence: float) -> None:
    rule = getattr(power, name)
    cause = rule(symptoms(a_finding(check, Result.FAIL, 1.5)))
    assert (cause.cause, cause.confidence) == (name, confidence)
    assert rule(symptoms(a_finding(check, Result.PASS, 1.5), a_finding(check, Result.UNDECIDED, 1.5))) is None


def test_the_control_circuits_loss_is_told() -> None:
    assert "loses 1.50 V" in evidence(starter_control_drop(symptoms(a_finding(CheckId.STARTER_CONTROL_DROP, Result.FAIL, 1.5))))


@pytest.mark.parametrize("check", [CheckId.HEATER_POLARITY, CheckId.HEATER_CHATTER])
def test_low_volts_at_the_heater_are_another_faults_doing(check: CheckId) -> None:
    low = a_finding(CheckId.HEATER_VOLTAGE, Result.FAIL)
    assert heater_feed_low(symptoms(low, a_finding(check, Result.FAIL))) is None
    assert sure(heater_feed_low(symptoms(low, a_finding(check, Result.PASS)))) == 0.85


# --- no charge


@pytest.mark.parametrize(
    ("measured_v", "result", "confidence"),
    [(13.2, Result.FAIL, 0.8), (13.21, Result.FAIL, None), (12.0, Result.WARN, None), (None, Result.FAIL, None)],
)
def test_running_without_charge(measured_v: float | None, result: Result, confidence: float | None) -> None:
    cause = no_charge(symptoms(a_finding(CheckId.CHARGING, result, measured_v)))
    assert sure(cause) == confidence
    assert cause is None or "stays at 13.20 V" in cause.evidence


# --- the engine


@pytest.mark.parametrize(
    ("measured", "result", "confidence"), [(90.0, Result.WARN, 0.7), (90.0, Result.PASS, None), (None, Result.WARN, None)]
)
def test_too_slow_although_the_battery_holds(measured: float | None, result: Result, confidence: float | None) -> None:
    slow = a_finding(CheckId.CRANK_SPEED, result, measured)
    cause = slow_crank(symptoms(slow))
    assert sure(cause) == confidence
    assert cause is None or "at 90 rpm" in cause.evidence
    assert slow_crank(symptoms(slow, a_finding(CheckId.SUPPLY_MINIMUM, Result.FAIL))) is None
    assert sure(slow_crank(symptoms(slow, a_finding(CheckId.SUPPLY_MINIMUM, Result.WARN)))) == confidence


@pytest.mark.parametrize(("deficit", "confidence"), [(0.2, 0.6), (0.34, 0.74), (0.36, 0.75), (None, 0.4)])
def test_one_compression_that_stands_out(deficit: float | None, confidence: float) -> None:
    cause = uneven_compression(symptoms(a_finding(CheckId.CRANK_EVENNESS, Result.WARN, deficit)))
    assert sure(cause) == pytest.approx(confidence)
    assert uneven_compression(symptoms(a_finding(CheckId.CRANK_EVENNESS, Result.PASS, deficit))) is None


# --- fed back with the key off


def test_a_feed_that_stays_after_off() -> None:
    cause = backfeed_after_off(symptoms(a_finding(CheckId.KEY_OFF_DECAY, Result.FAIL, 6.2)))
    assert sure(cause) == 0.9
    assert "keeps 6.20 V" in evidence(cause)
    assert backfeed_after_off(symptoms(a_finding(CheckId.KEY_OFF_DECAY, Result.WARN, 6.2))) is None
    assert backfeed_after_off(symptoms()) is None
    both = backfeed_after_off(symptoms(a_finding(CheckId.KEY_OFF_DECAY, Result.FAIL, 6.2), view=steps_down()))
    assert "keeps 6.20 V" in evidence(both)


def test_a_feed_that_stood_before_on() -> None:
    before = {"key_switch": put(a_feed(), 7.5, 0.0, 1.0), "fed_back_until_s": 1.0}
    cause = backfeed_after_off(symptoms(view=before))
    assert sure(cause) == 0.6
    assert "stood at 7.50 V before" in evidence(cause)
    assert sure(backfeed_after_off(symptoms(a_finding(CheckId.KEY_OFF_DECAY, Result.FAIL, 6.2), view=before))) == 0.9


def steps_down(
    stood_v: float = 8.0, *, at_s: float = 7.0, ends_s: float = 7.5, then_v: float = 0.0, before_v: float = 0.1, **more: Any
) -> dict[str, Any]:
    """The feed leaves its source at `at_s`, stands and goes dead. After the crank, 5 s, it is watched from 6.5 s on."""
    feed = put(put(a_battery() - before_v, stood_v, at_s, ends_s), then_v, ends_s, 8.0)
    return {"key_switch": put(feed, 0.0, 0.0, 1.0)} | more


def sinking() -> Volts:
    """From 7 s on down to 8 V within 0.3 s, in equal steps."""
    feed = a_feed()
    for k in range(77):
        feed = put(feed, 12.5 - 4.5 * (k + 1) / 77, 7.0 + k * BIN_S, 8.0)
    return feed


@pytest.mark.parametrize(
    ("view", "stood_v"),
    [
        (steps_down(), 8.0),
        (steps_down(11.0), 11.0),
        (steps_down(11.2), None),  # above 0.88 of 12.6 V: 11.09 V
        (steps_down(0.49), 0.49),
        (steps_down(0.47), None),  # 0.04 of 12 V: dead
        (steps_down(ends_s=7.0 + 25 * BIN_S), None),  # stood for less than 0.1 s
        (steps_down(ends_s=7.0 + 26 * BIN_S), 8.0),
        (steps_down(then_v=12.5), None),  # it came back
        (steps_down(then_v=11.5), None),
        (steps_down(ends_s=8.0), 8.0),
        (steps_down(at_s=6.45, ends_s=7.5), None),  # its begin lies before the watch: 1.5 s after LET GO
        (steps_down(at_s=6.55, ends_s=7.5), 8.0),
        (steps_down(before_v=0.49), 8.0),
        (steps_down(before_v=0.51), None),  # it was low before
        (steps_down(cranks=()), None),
        ({}, None),
        ({"key_switch": sinking()}, None),
    ],
)
def test_a_step_down_long_after_the_crank(view: dict[str, Any], stood_v: float | None) -> None:
    found = _stepped_down_v(symptoms(view=view))
    assert found is None if stood_v is None else found == pytest.approx(stood_v)


def test_the_step_must_be_a_tenth_of_the_system() -> None:
    """11.4 V less 10.2 V: steps of 1.2 V are a tenth of 12 V. With a source of 11.5 V the feed stands below 0.88 of it either way."""
    for stood_v, found in ((10.05, True), (10.11, None)):
        battery = put(flat(11.5), 10.0, 3.0, 5.0)
        feed = put(put(put(battery - 0.2, stood_v, 7.0, 7.5), 0.0, 7.5, 8.0), 0.0, 0.0, 1.0)
        assert (_stepped_down_v(symptoms(view={"battery": battery, "key_switch": feed})) is not None) is bool(found)


def test_most_of_the_step_comes_at_once() -> None:
    """Six tenths of the whole 4.6 V within 0.07 s: 2.76 V beside the 0.1 V that were there before."""
    for first_v, found in ((9.6, True), (9.9, False)):
        feed = put(put(put(a_feed(), first_v, 7.0, 7.1), 8.0, 7.1, 7.6), 0.0, 7.6, 8.0)
        assert (_stepped_down_v(symptoms(view={"key_switch": feed})) is not None) is found


@pytest.mark.parametrize(("until_s", "found"), [(7.04, True), (7.05, False)])
def test_at_once_is_from_20_to_70_ms_behind_the_step(until_s: float, found: bool) -> None:
    """9.9 V for a while before the feed stands at 8 V: the median of that time is one or the other."""
    feed = put(put(put(a_feed(), 9.9, 7.0, until_s), 8.0, until_s, 7.6), 0.0, 7.6, 8.0)
    assert (_stepped_down_v(symptoms(view={"key_switch": feed})) is not None) is found


def test_the_watch_ends_with_the_next_crank() -> None:
    again = (crank_of(3.0, 4.0), crank_of(7.0, 8.0))
    feed = put(put(a_feed(), 12.5, 4.0, 5.0), 8.0, 6.5, 7.2)
    battery = put(put(flat(12.6), 10.0, 3.0, 4.0), 10.0, 7.2, 8.0)
    view = {"battery": battery, "key_switch": feed, "cranks": again}
    assert _stepped_down_v(symptoms(view=view)) == pytest.approx(8.0)
    early = {"battery": battery, "key_switch": put(feed, 12.5, 6.6, 7.2), "cranks": again}
    assert _stepped_down_v(symptoms(view=early)) is None


def late(*failed_at_s: float | None) -> float | None:
    """Of a step down at 7 s, with these faults."""
    findings = tuple(a_finding(CheckId.FEED_DROPOUT, Result.FAIL, at_s=at_s) for at_s in failed_at_s)
    return sure(backfeed_after_off(symptoms(*findings, view=steps_down(cranks=(crank_of(3.0, 5.0, wide_s=0.2),)))))


def test_a_step_down_explains_late_faults_better() -> None:
    assert late() == 0.88
    assert late(7.0) == 0.88
    assert late(5.21) == 0.88
    assert late(5.19) == 0.45
    assert late(7.0, 4.0) == 0.45
    assert late(None) == 0.45
    assert _only_late(symptoms(a_finding(CheckId.FEED_DROPOUT, Result.WARN, at_s=4.0)))
    assert _only_late(symptoms(a_finding(CheckId.FEED_DROPOUT, Result.FAIL, at_s=0.1), view={"cranks": ()}))
    assert "stepped down to 8.00 V" in evidence(backfeed_after_off(symptoms(view=steps_down())))


# --- all rules together


def test_causes_come_with_their_advice_the_likeliest_first() -> None:
    findings = (
        a_finding(CheckId.STARTER_CONTROL_DROP, Result.FAIL, 1.5),
        a_finding(CheckId.HEATER_POLARITY, Result.FAIL),
        a_finding(CheckId.CHARGING, Result.FAIL, 12.0),
    )
    causes = likely_causes(plain_view(), findings)
    assert [c.cause for c in causes] == ["heater_reversed", "starter_control_drop", "no_charge"]
    assert all((c.next_check, c.cautions) == (ADVICE[c.cause].check, ADVICE[c.cause].cautions) for c in causes)
    assert likely_causes(plain_view(), ()) == ()
    assert len(RULES) == len(set(RULES)) == len(ADVICE)


def test_a_faint_cause_is_still_told() -> None:
    """0.3 is above the least that is told, 0.2."""
    view = plain_view(dropouts=(loss(2.8, 0.005, phase=Phase.TURN),))
    assert ("feed_lost_at_turn", 0.3) in [(c.cause, c.confidence) for c in likely_causes(view, ())]


def test_remarks_on_the_engine_stand_behind_what_explains_a_fault() -> None:
    slow = a_finding(CheckId.CRANK_SPEED, Result.WARN, 90.0)
    low = plain_view(key_switch=put(a_battery() - 0.6, 0.0, 0.0, 1.0))
    without = likely_causes(low, (slow,))
    assert [c.cause for c in without] == ["slow_crank", "feed_resistance"]
    failed = likely_causes(low, (slow, a_finding(CheckId.HEATER_ON_TIME, Result.FAIL)))
    assert [c.cause for c in failed] == ["feed_resistance", "slow_crank"]


def test_a_24_v_system_doubles_what_a_dead_feed_may_read() -> None:
    """0.04 of 24 V are 0.96 V: 0.95 V is dead there."""
    limits = limits_with(24)
    battery = put(flat(25.2), 20.0, 3.0, 5.0)
    for stood_v, found in ((0.98, True), (0.94, False)):
        feed = put(put(put(battery - 0.1, stood_v, 7.0, 7.5), 0.0, 7.5, 8.0), 0.0, 0.0, 1.0)
        shown = _stepped_down_v(symptoms(view={"battery": battery, "key_switch": feed, "limits": limits}))
        assert (shown is not None) is found
