"""The supply behind the feed, one value on each side of every border: minimum 7 V, 5 ms and 6 V are ridden through."""

from __future__ import annotations

from typing import Any

import pytest

from firstcrank.analysis.obligations.supply import holds_up, holds_up_outside, lowest_while_live
from firstcrank.model.judgement import Dropout, Finding
from firstcrank.model.vocabulary import CheckId, Phase, Result
from firstcrank.trace import Uncertainty

from .plain_view import BIN_S, a_battery, a_feed, at, crank_of, flat, loss, plain_view, put

WIDE = (crank_of(3.0, 5.0, wide_s=0.1),)


def dip(start_s: float, duration_s: float, lowest_v: float = 6.5, **more: Any) -> Dropout:
    """A loss in which the feed follows its supply."""
    return loss(start_s, duration_s, lowest_v, kind="with supply", **more)


def judged(*dips: Dropout, u_v: float = 0.0, **more: Any) -> Finding:
    return holds_up(plain_view(dropouts=dips, cranks=WIDE, u=Uncertainty(0.0, u_v), **more), 1)


@pytest.mark.parametrize(("lowest_v", "result"), [(5.99, Result.WARN), (6.01, Result.PASS)])
def test_without_a_dip_the_lowest_is_told(lowest_v: float, result: Result) -> None:
    lowest = {"battery": put(a_battery(), lowest_v, 4.0, 4.0 + BIN_S)}
    found = judged(lowest=lowest)
    assert (found.check, found.result, found.limit, found.at_s, found.phase, found.crank) == (
        CheckId.SUPPLY_MINIMUM,
        result,
        7.0,
        2.9,
        Phase.CRANK,
        1,
    )
    assert found.measured == lowest_v


@pytest.mark.parametrize(("at_s", "inside"), [(2.89, False), (2.91, True), (5.08, True), (5.11, False)])
def test_the_lowest_is_of_the_crank_with_its_borders(at_s: float, inside: bool) -> None:
    first = at(at_s) * BIN_S
    lowest = {"battery": put(a_battery(), 5.0, first, first + BIN_S)}
    assert (judged(lowest=lowest).measured == 5.0) is inside


def test_a_source_of_its_own_is_asked() -> None:
    found = judged(feed_source=put(flat(12.0), 8.0, 4.0, 4.1))
    assert found.measured == 8.0


@pytest.mark.parametrize(
    ("battery_v", "duration_s", "lowest_v", "result", "text"),
    [
        (6.9, 0.004, 6.5, Result.WARN, "the battery takes"),
        (7.1, 0.004, 6.5, Result.FAIL, "the feed's source, not the battery, takes"),
        (7.1, 0.0011, 6.5, Result.FAIL, "a loose joint before the switch"),
        (7.1, 0.0009, 6.5, Result.UNDECIDED, "the feed's source, not the battery, takes"),
        (7.1, 0.0009, 5.9, Result.FAIL, "a loose joint before the switch"),
    ],
)
def test_a_source_that_dips_without_the_battery_is_no_inrush(
    battery_v: float, duration_s: float, lowest_v: float, result: Result, text: str
) -> None:
    battery = put(a_battery(), battery_v, 4.0, 4.0 + 2 * BIN_S)
    found = judged(dip(4.0, duration_s, lowest_v), battery=battery, feed_source=flat(12.0))
    assert found.result is result
    assert text in found.reason
    assert "battery" in judged(dip(4.0, duration_s, lowest_v), battery=battery).reason  # without that lead it is the battery


@pytest.mark.parametrize(
    ("dips", "result"),
    [
        ((dip(4.0, 0.005),), Result.WARN),
        ((dip(4.0, 0.0051),), Result.FAIL),
        ((dip(4.0, 0.003), dip(4.5, 0.002)), Result.WARN),
        ((dip(4.0, 0.003), dip(4.5, 0.0021)), Result.FAIL),
        ((dip(4.0, 0.005, low_s=0.0049, high_s=0.0051),), Result.UNDECIDED),
        ((dip(4.0, 0.0052, low_s=0.0051, high_s=0.006),), Result.FAIL),
        ((dip(4.0, 0.001, 6.01),), Result.WARN),
        ((dip(4.0, 0.001, 5.99),), Result.FAIL),
        ((dip(4.0, 0.001, 6.5), dip(4.5, 0.001, 5.9)), Result.FAIL),
        ((dip(2.0, 1.0),), Result.FAIL),  # reaches into the crank
        ((dip(2.0, 0.9),), Result.PASS),
        ((dip(5.1, 1.0),), Result.PASS),
        ((dip(5.09, 1.0),), Result.FAIL),
        ((loss(4.0, 0.5, 5.0, kind="counts"),), Result.PASS),
    ],
)
def test_what_a_module_rides_through(dips: tuple[Dropout, ...], result: Result) -> None:
    assert judged(*dips).result is result


@pytest.mark.parametrize(
    ("lowest_v", "duration_s", "result"),
    [
        (6.79, 0.1, Result.FAIL),  # U is 0.2 V
        (6.81, 0.1, Result.UNDECIDED),
        (6.21, 0.001, Result.WARN),
        (6.19, 0.001, Result.UNDECIDED),
        (5.81, 0.001, Result.UNDECIDED),
        (5.79, 0.001, Result.FAIL),
    ],
)
def test_the_guard_of_a_reading(lowest_v: float, duration_s: float, result: Result) -> None:
    found = judged(dip(4.0, duration_s, lowest_v), u_v=0.1)
    assert found.result is result
    assert found.measured == lowest_v
    assert found.uncertainty == pytest.approx(0.2)


def test_what_is_told_of_dips() -> None:
    found = judged(dip(4.5, 0.001, 6.2), dip(4.0, 0.002, 6.5))
    assert (found.result, found.measured, found.limit, found.at_s, found.phase, found.crank) == (
        Result.WARN,
        6.2,
        7.0,
        4.0,
        Phase.CRANK,
        1,
    )
    assert found.tolerated == "a dip of the battery to 6.20 V for 3 ms"
    assert "for 3 ms while cranking, down to 6.20 V" in found.reason
    assert judged(dip(4.0, 0.1)).tolerated == ""


def test_the_crank_asked_for_is_the_one() -> None:
    cranks = (crank_of(3.0, 4.0), crank_of(6.0, 7.0))
    view = plain_view(dropouts=(dip(6.5, 0.1),), cranks=cranks)
    assert [holds_up(view, k).result for k in (1, 2)] == [Result.PASS, Result.FAIL]


def test_each_outcome_has_its_words() -> None:
    assert "so the supply is at fault" in judged(dip(4.0, 0.1)).reason
    assert "short enough for a module to ride through (5 ms, 6.00 V)" in judged(dip(4.0, 0.001)).reason
    assert "too close to what a module rides through" in judged(dip(4.0, 0.005, low_s=0.004, high_s=0.006)).reason


def test_the_first_dip_is_the_one_that_begins_first() -> None:
    assert judged(dip(4.0, 0.1), dip(4.02, 0.01)).at_s == 4.0


def test_a_lowest_reading_is_one_conversion() -> None:
    """Noise of 0.1 V is not averaged: U is 0.2 V."""
    view = plain_view(dropouts=(dip(4.0, 0.001, 6.5),), cranks=WIDE, u=Uncertainty(0.0, 0.0, noise_v=0.1))
    assert holds_up(view, 1).uncertainty == pytest.approx(0.2)


def test_a_crank_shorter_than_a_bin_takes_the_lowest_of_all() -> None:
    lowest = {"battery": put(a_battery(), 5.5, 7.0, 7.1)}
    assert holds_up(plain_view(lowest=lowest, cranks=(crank_of(3.001, 3.003),)), 1).measured == 5.5


# --- outside the cranks


@pytest.mark.parametrize(
    ("dips", "result"),
    [
        ((), Result.PASS),
        ((dip(6.0, 0.0009, high_s=0.00099),), Result.PASS),
        ((dip(6.0, 0.0009, high_s=0.001),), Result.WARN),
        ((dip(6.0, 0.0009, low_s=0.0008, high_s=0.0011),), Result.UNDECIDED),
        ((dip(6.0, 0.0011),), Result.FAIL),
        ((dip(4.0, 0.1),), Result.PASS),  # that is the crank's
        ((dip(5.09, 0.1),), Result.PASS),
        ((dip(5.11, 0.1),), Result.FAIL),
        ((dip(2.8, 0.11),), Result.PASS),
        ((dip(2.8, 0.09),), Result.FAIL),
        ((loss(6.0, 0.1, kind="counts"),), Result.PASS),
    ],
)
def test_outside_the_cranks_any_dip_that_counts_is_too_long(dips: tuple[Dropout, ...], result: Result) -> None:
    found = holds_up_outside(plain_view(dropouts=dips, cranks=WIDE))
    assert (found.check, found.result, found.phase, found.crank) == (CheckId.SUPPLY_MINIMUM, result, None, None)


def test_a_dip_in_one_of_two_cranks_is_not_outside() -> None:
    view = plain_view(dropouts=(dip(4.0, 0.1),), cranks=(crank_of(3.0, 5.0), crank_of(6.0, 7.0)))
    assert holds_up_outside(view).result is Result.PASS


def test_the_lowest_with_the_key_on() -> None:
    lowest = {"battery": put(put(a_battery(), 3.0, 0.5, 0.6), 6.3, 6.0, 6.1)}
    found = lowest_while_live(plain_view(lowest=lowest, u=Uncertainty(0.0, 0.1)))
    assert (found.value, found.unit) == (6.3, "V")
    assert found.u == pytest.approx(0.1)
    dead = lowest_while_live(plain_view(lowest=lowest, phases=((Phase.KEY_OFF, 0.0, 8.0),)))
    assert dead.value == 3.0
    source = lowest_while_live(plain_view(feed_source=put(a_feed(), 9.0, 6.0, 6.1)))
    assert source.value == 9.0
