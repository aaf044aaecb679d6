"""Bounces of the key's travel: the time in which they may lie, which losses make one, and how long it was."""

from __future__ import annotations

import pytest

from firstcrank.analysis.key import Key, OffTime
from firstcrank.analysis.low_intervals import LowInterval
from firstcrank.analysis.travel import AS_IT_CAME_ON, Bounce, Lies, TravelWindow, bounces_of, windows_of
from firstcrank.thresholds import thresholds_for

from .plain_view import border, crank_of

TH = thresholds_for(12).key
SHORTEST_S, ALLOWED_S = 0.001, 0.01
# Values alone: what is made of the judge's classes here would stay the old one where the judge is imported anew.
TURN = ((1.0, 1.5), (0.5, 2.0), "as the key turned to START")
CAME_ON = ((1.0, 1.5), (1.0, 1.502), AS_IT_CAME_ON)  # the first live bin is 2 ms wide
Borders = tuple[tuple[float, float], tuple[float, float], str]


def low(start_s: float, best_s: float, slack_s: float = 0.0) -> LowInterval:
    return LowInterval(start_s, best_s - slack_s, best_s, best_s + slack_s, best_s, 0.0)


def bounces(*lows: LowInterval, window: Borders = TURN) -> tuple[Bounce, ...]:
    return bounces_of(lows, (TravelWindow(*window),), SHORTEST_S, ALLOWED_S)


def only(*lows: LowInterval, window: Borders = TURN) -> Bounce:
    (bounce,) = bounces(*lows, window=window)
    return bounce


@pytest.mark.parametrize(
    ("start_s", "end_s", "lies"),
    [
        (1.0, 1.5, "INSIDE"),
        (0.999, 1.5, "VAGUE"),
        (1.0, 1.501, "VAGUE"),
        (0.5, 2.0, "VAGUE"),
        (0.499, 1.2, "OUTSIDE"),
        (1.2, 2.001, "OUTSIDE"),
    ],
)
def test_a_stretch_lies_in_a_window_with_its_borders(start_s: float, end_s: float, lies: str) -> None:
    assert TravelWindow(*TURN).lies(start_s, end_s) is Lies[lies]


def test_each_movement_of_the_key_has_its_window() -> None:
    crank = crank_of(3.0, 5.0, wide_s=0.5)
    key = Key(border(1.0, 0.25), None, (OffTime(border(6.0), border(7.0, 0.25)),))
    on, again, turn, back = windows_of((crank,), key, TH)
    assert (on.inner, on.outer, on.name) == ((1.0, 1.1), (1.0, 1.35), AS_IT_CAME_ON)
    assert (again.inner, again.outer, again.name) == ((7.0, 7.1), (7.0, 7.35), AS_IT_CAME_ON)
    # live between 2.5 and 3: surely within 0.15 s before, perhaps 0.3 s before or 5 ms after
    assert turn.inner == pytest.approx((2.85, 2.5))
    assert turn.outer == pytest.approx((2.2, 3.005))
    # dead between 5 and 5.5: surely within 0.15 s behind, perhaps 20 ms before or 0.3 s behind
    assert back.inner == pytest.approx((5.5, 5.15))
    assert back.outer == pytest.approx((4.98, 5.8))
    assert windows_of((), Key(None, None), TH) == ()


def test_a_bounce_goes_from_the_first_opening_to_the_last_closing() -> None:
    bounce = only(low(1.252, 0.001, 0.0002), low(1.25, 0.001, 0.0005))
    assert (bounce.start_s, bounce.end_s) == pytest.approx((1.25, 1.253))
    # either end may be off by half of the vaguest one's spread
    assert bounce.most_s == pytest.approx(0.004)
    assert bounce.least_s == pytest.approx(0.002)
    assert only(low(1.25, 0.001, 0.001)).least_s == 0.0


def test_no_loss_or_none_in_the_window_is_no_bounce() -> None:
    assert bounces() == ()
    assert bounces(low(0.4, 0.2), low(1.9, 0.2)) == ()


def test_a_loss_belongs_to_the_first_window_that_it_fits() -> None:
    other = TravelWindow((1.0, 3.0), (1.0, 3.0), "as the key came back from START")
    first, second = bounces_of((low(1.2, 0.002), low(2.5, 0.002)), (TravelWindow(*TURN), other), SHORTEST_S, ALLOWED_S)
    assert (first.window, first.members) == (TravelWindow(*TURN), (low(1.2, 0.002),))
    assert (second.window, second.members) == (other, (low(2.5, 0.002),))


@pytest.mark.parametrize(
    ("slack_s", "start_s", "lies"),
    [
        (0.00019, 1.0, "INSIDE"),  # as sharp as the window's edge
        (0.00021, 1.0, "VAGUE"),
        (0.0003, 1.00031, "INSIDE"),
        (0.0003, 1.00029, "VAGUE"),
        (0.0003, 1.4976, "INSIDE"),
        (0.0003, 1.4978, "VAGUE"),
        (0.00019, 0.999, "VAGUE"),
    ],
)
def test_an_edge_that_may_lie_outside_the_window_is_vague(slack_s: float, start_s: float, lies: str) -> None:
    assert only(low(start_s, 0.002, slack_s)).lies is Lies[lies]


def test_short_losses_alone_are_one_bounce_however_far_apart() -> None:
    assert len(only(low(1.1, 0.0005), low(1.4, 0.0005)).members) == 2


def test_short_losses_belong_to_a_long_one_within_half_of_a_bounce() -> None:
    long = low(1.2, 0.002)
    assert only(long, low(1.2045, 0.0005)).members == (long, low(1.2045, 0.0005))  # 5 ms together
    assert only(long, low(1.2047, 0.0005)).members == (long,)
    assert only(long, low(1.1971, 0.0005)).members == (long, low(1.1971, 0.0005))  # 4.9 ms
    assert only(long, low(1.1969, 0.0005)).members == (long,)


def test_losses_between_two_long_ones_belong_to_them_however_far_apart() -> None:
    far = (low(1.2, 0.002), low(1.25, 0.0005), low(1.3, 0.002))
    assert only(*far).members == far


def test_long_is_what_may_count() -> None:
    just, not_quite = low(1.2, 0.0008, 0.0002), low(1.2, 0.0008, 0.00019)
    short = low(1.3, 0.0005)
    assert only(just, short).members == (just,)
    assert only(not_quite, short).members == (not_quite, short)


def test_short_losses_as_the_key_came_on_belong_to_the_crackle() -> None:
    crackle = (low(1.2, 0.002), low(1.3, 0.0005))
    assert only(*crackle, window=CAME_ON).members == crackle


def test_a_long_loss_with_short_ones_close_beside_is_vague_where_together_they_are_nearly_too_long() -> None:
    long = low(1.2, 0.0085)
    assert only(long).lies is Lies.INSIDE
    assert only(long, low(1.2089, 0.0005)).lies is Lies.INSIDE  # 9.4 ms of 9.5
    assert only(long, low(1.2091, 0.0005)).lies is Lies.VAGUE  # 9.6 ms
    assert only(long, low(1.1991, 0.0005)).lies is Lies.INSIDE
    assert only(long, low(1.1989, 0.0005)).lies is Lies.VAGUE
    assert only(long, low(1.2184, 0.0005)).lies is Lies.VAGUE  # 9.9 ms behind it
    assert only(long, low(1.2186, 0.0005)).lies is Lies.INSIDE  # 10.1 ms: a loss of its own
    assert only(long, low(1.1896, 0.0005)).lies is Lies.VAGUE
    assert only(long, low(1.1894, 0.0005)).lies is Lies.INSIDE


def test_short_losses_beside_reach_on_from_one_to_the_next_on_both_sides() -> None:
    long = low(1.2, 0.005)
    assert only(long, low(1.209, 0.0003)).lies is Lies.INSIDE  # 9.3 ms
    assert only(long, low(1.206, 0.0003), low(1.2095, 0.0003)).lies is Lies.VAGUE
    assert only(long, low(1.2095, 0.0003), low(1.206, 0.0003)).lies is Lies.VAGUE
    assert only(long, low(1.2055, 0.0003), low(1.196, 0.0003)).lies is Lies.VAGUE  # 1.8 ms of both sides
    assert only(long, low(1.1985, 0.0003), low(1.1952, 0.0003)).lies is Lies.VAGUE  # 9.8 ms


def test_a_bounce_nearly_too_long_by_itself_is_vague_and_one_too_long_is_what_it_is() -> None:
    assert only(low(1.2, 0.0094)).lies is Lies.INSIDE
    assert only(low(1.2, 0.0096)).lies is Lies.VAGUE
    assert only(low(1.2, 0.0101)).lies is Lies.INSIDE  # longer than allowed: nothing beside it matters


def test_a_bounce_right_behind_the_first_live_bin_may_have_begun_in_it() -> None:
    # the bin is 2 ms wide, and a bounce less than two of them behind ON is counted from ON on
    assert only(low(1.0039, 0.0055), window=CAME_ON).lies is Lies.INSIDE  # to 9.4 ms
    assert only(low(1.0039, 0.0057), window=CAME_ON).lies is Lies.VAGUE  # to 9.6 ms
    assert only(low(1.0041, 0.0057), window=CAME_ON).lies is Lies.INSIDE
    turn = (*CAME_ON[:2], TURN[2])
    assert only(low(1.0039, 0.0057), window=turn).lies is Lies.INSIDE
