"""Signs of the engine bin by bin: each level just inside and just outside, each time just short of and just beyond."""

from __future__ import annotations

import pytest

from firstcrank.analysis.engine_signs import EngineSigns

REST_V = 12.5
SPAN_S = 0.125  # of a bin: sums of it are exact


def at_rest(scale: float = 1.0, rest_v: float = REST_V) -> EngineSigns:
    signs = EngineSigns(scale)
    signs.before_crank(SPAN_S, rest_v * scale, True)
    return signs


def cranked(*volts: float, level_v: float = REST_V, scale: float = 1.0) -> EngineSigns:
    signs = at_rest(scale, level_v)
    signs.begin_crank()
    for battery_v in volts:
        signs.in_crank(SPAN_S, battery_v * scale, False)
    return signs


def test_nothing_is_known_before_the_first_bin() -> None:
    signs = EngineSigns(1.0)
    assert (signs.runs_by_itself, signs.bridged, signs.low_s) == (False, False, 0.0)


# --- somebody bridges the solenoid: a starter's sag for longer than half a second while the S wire is dead


@pytest.mark.parametrize("scale", [1.0, 2.0])
@pytest.mark.parametrize(
    ("sag_to_v", "bridged"),
    [(REST_V - 1.49, False), (REST_V - 1.51, True), (4.01, True), (3.99, False)],  # 1.5 V of sag; below 4 V the lead is off
)
def test_a_sag_without_the_starter_lead(sag_to_v: float, bridged: bool, scale: float) -> None:
    signs = at_rest(scale)
    for _ in range(5):
        signs.before_crank(SPAN_S, sag_to_v * scale, True)
    assert signs.bridged is bridged


def test_a_sag_of_just_half_a_second_is_none_yet_and_remains_once_it_was_one() -> None:
    signs = at_rest()
    for _ in range(4):
        signs.before_crank(SPAN_S, 10.0, True)
    assert signs.bridged is False
    signs.before_crank(SPAN_S, 10.0, True)
    assert signs.bridged is True
    signs.before_crank(SPAN_S, REST_V, True)
    assert signs.bridged is True


def test_a_sag_counts_in_one_piece_only() -> None:
    signs = at_rest()
    for battery_v in (10.0, 10.0, 10.0, REST_V, 10.0, 10.0, 10.0, REST_V, 10.0):
        signs.before_crank(SPAN_S, battery_v, True)
    assert signs.bridged is False


def test_a_crank_in_between_ends_the_sag() -> None:
    signs = at_rest()
    for _ in range(4):
        signs.before_crank(SPAN_S, 10.0, True)
    signs.begin_crank()
    signs.before_crank(SPAN_S, 10.0, True)
    assert signs.bridged is False


def test_without_a_starter_lead_a_sag_says_nothing() -> None:
    signs = at_rest()
    for _ in range(8):
        signs.before_crank(SPAN_S, 10.0, False)
    assert signs.bridged is False


def test_the_sag_is_from_the_highest_so_far() -> None:
    signs = EngineSigns(1.0)
    for battery_v in (12.0, 13.0, 12.2, 11.4, 11.4, 11.4, 11.4, 11.4):  # 1.6 V below 13.0, only 0.6 V below 12.0
        signs.before_crank(SPAN_S, battery_v, True)
    assert signs.bridged is True


# --- the engine runs up: less than 0.35 of the sag is left for more than 0.3 s


@pytest.mark.parametrize("scale", [1.0, 2.0])
@pytest.mark.parametrize(("left_v", "runs"), [(0.69, True), (0.71, False)])  # of a sag of 2 V, 0.35 is 0.7 V
def test_how_much_of_the_sag_is_left(left_v: float, runs: bool, scale: float) -> None:
    signs = cranked(REST_V - 2.0, *[REST_V - left_v] * 3, scale=scale)
    assert signs.runs_by_itself is runs


def test_the_lowest_of_the_crank_is_the_sag() -> None:
    assert cranked(10.5, 9.5, *[REST_V - 1.0] * 3).runs_by_itself is True  # 1.0 V left of 3 V, though half of the first 2 V
    assert cranked(10.5, 11.0, *[REST_V - 1.0] * 3).runs_by_itself is False


def test_recovered_for_more_than_three_tenths_of_a_second_in_one_piece() -> None:
    assert cranked(10.5, 12.4, 12.4).runs_by_itself is False  # 0.25 s
    assert cranked(10.5, 12.4, 12.4, 12.4).runs_by_itself is True  # 0.375 s
    assert cranked(10.5, 12.4, 12.4, 10.5, 12.4, 12.4).runs_by_itself is False
    assert cranked(10.5, 12.4, 12.4, 12.4, 10.5).runs_by_itself is True  # and it stays


def test_a_crank_begins_with_nothing_of_the_one_before() -> None:
    signs = cranked(8.0, 12.4, 12.4, 12.4)
    assert signs.runs_by_itself is True
    signs.begin_crank()
    assert signs.runs_by_itself is False
    signs.in_crank(SPAN_S, 10.5, False)
    for _ in range(3):
        signs.in_crank(SPAN_S, REST_V - 1.2, False)  # 1.2 V left of 2 V; of the former crank's 4.5 V it would be little
    assert signs.runs_by_itself is False


def test_a_recovery_begun_in_the_crank_before_does_not_go_on() -> None:
    signs = cranked(10.5, 12.4, 12.4)
    signs.begin_crank()
    signs.in_crank(SPAN_S, 10.5, False)
    signs.in_crank(SPAN_S, 12.4, False)
    assert signs.runs_by_itself is False


# --- the level before the crank: the last bin within half a volt of the highest


@pytest.mark.parametrize("scale", [1.0, 2.0])
@pytest.mark.parametrize(("last_v", "level_v"), [(12.01, 12.01), (11.99, 12.5)])
def test_the_level_follows_down_by_half_a_volt(last_v: float, level_v: float, scale: float) -> None:
    for left_of_level, runs in ((0.34, True), (0.36, False)):
        signs = at_rest(scale)
        signs.before_crank(SPAN_S, last_v * scale, True)
        signs.begin_crank()
        lowest_v = level_v - 2.0
        for battery_v in (lowest_v, *[level_v - left_of_level * 2.0] * 3):
            signs.in_crank(SPAN_S, battery_v * scale, False)
        assert signs.runs_by_itself is runs


# --- after the crank: charging, 0.6 V above the level before


@pytest.mark.parametrize("scale", [1.0, 2.0])
@pytest.mark.parametrize(("above_v", "charges"), [(0.61, True), (0.59, False)])
def test_an_engine_that_charges(above_v: float, charges: bool, scale: float) -> None:
    signs = cranked(10.5, scale=scale)
    for _ in range(3):
        signs.after_crank(SPAN_S, (REST_V + above_v) * scale)
    assert signs.runs_by_itself is charges


def test_charging_for_more_than_three_tenths_of_a_second() -> None:
    signs = cranked(10.5)
    signs.after_crank(SPAN_S, 14.0)
    signs.after_crank(SPAN_S, 14.0)
    assert signs.runs_by_itself is False
    signs.after_crank(SPAN_S, 12.6)
    signs.after_crank(SPAN_S, 14.0)
    signs.after_crank(SPAN_S, 14.0)
    assert signs.runs_by_itself is False
    signs.after_crank(SPAN_S, 14.0)
    assert signs.runs_by_itself is True


# --- how long the feed was low


def test_the_time_with_a_low_feed_is_summed_and_begins_anew_with_each_crank() -> None:
    signs = at_rest()
    signs.begin_crank()
    for is_low in (True, False, True, True):
        signs.in_crank(SPAN_S, 10.0, is_low)
    assert signs.low_s == 3 * SPAN_S
    signs.begin_crank()
    assert signs.low_s == 0.0
    signs.in_crank(2 * SPAN_S, 10.0, True)
    assert signs.low_s == 2 * SPAN_S
