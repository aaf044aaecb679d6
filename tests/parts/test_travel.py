"""Bounces of the key's travel: windows with borders that have widths, and which losses belong together."""

from __future__ import annotations

import pytest

from firstcrank.analysis.key import Key, OffTime
from firstcrank.analysis.low_intervals import LowInterval
from firstcrank.analysis.travel import AS_IT_CAME_ON, Lies, TravelWindow, bounces_of, windows_of
from firstcrank.thresholds import thresholds_for

from .plain_view import border, crank_of

TH = thresholds_for(12).key
SHORTEST_S, ALLOWED_S = 0.001, 0.03
TURN = ((2.85, 3.0), (2.7, 3.005), "as the key turned to START")  # values alone: the judge may be imported anew
ON = ((1.0, 1.1), (1.0, 1.102), AS_IT_CAME_ON)


def low(start_s: float, long_s: float, slack_s: float = 0.0, volts: float = 0.0) -> LowInterval:
    """One loss, its length known to `slack_s`."""
    return LowInterval(start_s, max(long_s - slack_s, 0.0), long_s, long_s + slack_s, long_s, volts)


@pytest.mark.parametrize(
    ("start_s", "end_s", "where"),
    [
        (2.85, 3.0, "INSIDE"),
        (2.849, 2.9, "VAGUE"),
        (2.9, 3.001, "VAGUE"),
        (2.7, 3.005, "VAGUE"),
        (2.699, 2.9, "OUTSIDE"),
        (2.9, 3.0051, "OUTSIDE"),
        (3.2, 3.3, "OUTSIDE"),
        (2.0, 2.1, "OUTSIDE"),
    ],
)
def test_where_a_stretch_lies(start_s: float, end_s: float, where: str) -> None:
    assert TravelWindow(*TURN).lies(start_s, end_s) is Lies[where]


def test_a_window_for_each_movement_of_the_key() -> None:
    key = Key(border(1.0, 0.002), None, (OffTime(border(5.5), border(6.0, 0.002)),))
    cranks = (crank_of(3.0, 5.0, wide_s=0.004), crank_of(7.0, 8.0))
    on, again, turn, back, turn2, back2 = windows_of(cranks, key, TH)
    assert on.inner == pytest.approx((1.0, 1.1))
    assert on.outer == pytest.approx((1.0, 1.102))
    assert again.inner == pytest.approx((6.0, 6.1))
    assert again.outer == pytest.approx((6.0, 6.102))
    assert on.name == again.name == AS_IT_CAME_ON
    # START: the coil is live from 2.996 s to 3 s on; 0.15 s before surely, 0.3 s maybe, and 5 ms after it went live
    assert turn.inner == pytest.approx((2.85, 2.996))
    assert turn.outer == pytest.approx((2.696, 3.005))
    # back: dead between 5 s and 5.004 s; 0.15 s surely, 0.3 s maybe, and from 20 ms before, where a relay is late
    assert back.inner == pytest.approx((5.004, 5.15))
    assert back.outer == pytest.approx((4.98, 5.304))
    assert (turn2.inner[1], back2.inner[0]) == (7.0, 8.0)
    assert windows_of((), Key(None, None), TH) == ()


def test_losses_of_one_window_are_one_bounce() -> None:
    (bounce,) = bounces_of((low(2.90, 0.004), low(2.91, 0.005)), (TravelWindow(*TURN),), SHORTEST_S, ALLOWED_S)
    assert (bounce.start_s, bounce.end_s) == pytest.approx((2.90, 2.915))
    assert (bounce.least_s, bounce.most_s) == pytest.approx((0.015, 0.015))
    assert bounce.lies is Lies.INSIDE
    assert bounces_of((low(2.5, 0.004), low(3.2, 0.004)), (TravelWindow(*TURN),), SHORTEST_S, ALLOWED_S) == ()


def test_what_is_not_known_of_a_length_widens_the_bounce() -> None:
    (bounce,) = bounces_of((low(2.90, 0.010, slack_s=0.002),), (TravelWindow(*TURN),), SHORTEST_S, ALLOWED_S)
    assert (bounce.least_s, bounce.most_s) == pytest.approx((0.006, 0.014))
    (short,) = bounces_of((low(2.90, 0.003, slack_s=0.003),), (TravelWindow(*TURN),), SHORTEST_S, ALLOWED_S)
    assert short.least_s == 0.0


@pytest.mark.parametrize(("slack_s", "lies"), [(0.0001, "INSIDE"), (0.001, "VAGUE")])
def test_a_bounce_that_ends_with_the_window_is_inside_where_its_edges_are_as_sharp(slack_s: float, lies: str) -> None:
    (bounce,) = bounces_of((low(2.99, 0.01, slack_s=slack_s),), (TravelWindow(*TURN),), SHORTEST_S, ALLOWED_S)
    assert bounce.lies is Lies[lies]


def test_a_loss_belongs_to_the_first_window_it_fits() -> None:
    later = TravelWindow((2.9, 3.1), (2.9, 3.2), "another")
    one, two = bounces_of((low(2.95, 0.002), low(3.05, 0.002)), (TravelWindow(*TURN), later), SHORTEST_S, ALLOWED_S)
    assert [m.start_s for m in one.members] == [2.95]
    assert [m.start_s for m in two.members] == [3.05]


@pytest.mark.parametrize(("apart_s", "together"), [(0.0095, True), (0.0165, False)])
def test_a_short_loss_belongs_to_a_bounce_only_where_both_take_half_of_what_is_allowed(apart_s: float, together: bool) -> None:
    """Losses too short to count are taken in only where the bounce with them is no longer than half of what is allowed."""
    (bounce,) = bounces_of((low(2.90, 0.005), low(2.90 + apart_s, 0.0005)), (TravelWindow(*TURN),), SHORTEST_S, ALLOWED_S)
    assert len(bounce.members) == (2 if together else 1)


def chain(first_s: float, count: int, step_s: float) -> tuple[LowInterval, ...]:
    """Losses too short to count, one after another."""
    return tuple(low(first_s + i * step_s, 0.0004) for i in range(count))


@pytest.mark.parametrize("before", [True, False])
@pytest.mark.parametrize(("count", "lies"), [(0, "INSIDE"), (1, "INSIDE"), (4, "VAGUE")])
def test_a_bounce_with_a_chain_of_short_losses_beside_it_may_be_longer(before: bool, count: int, lies: str) -> None:
    """Each is less than a bounce from the next, so that all together take longer than is allowed."""
    first_s = 2.93 - count * 0.012 if before else 2.942 + 0.012
    (bounce,) = bounces_of((low(2.93, 0.012), *chain(first_s, count, 0.012)), (TravelWindow(*TURN),), SHORTEST_S, ALLOWED_S)
    assert len(bounce.members) == 1
    assert bounce.lies is Lies[lies]


@pytest.mark.parametrize(("pause_s", "lies"), [(0.02, "VAGUE"), (0.031, "INSIDE")])
def test_short_losses_further_away_than_a_bounce_do_not_belong_to_it(pause_s: float, lies: str) -> None:
    lows = (low(2.90, 0.012), low(2.912 + pause_s, 0.0004), low(2.9124 + 2 * pause_s, 0.0004))
    (bounce,) = bounces_of(lows, (TravelWindow(*TURN),), SHORTEST_S, ALLOWED_S)
    assert len(bounce.members) == 1
    assert bounce.lies is Lies[lies]


@pytest.mark.parametrize(("starts_s", "lies"), [(1.003, "VAGUE"), (1.005, "INSIDE")])
def test_right_behind_the_sample_with_which_the_key_came_on_a_bounce_may_have_begun_in_it(starts_s: float, lies: str) -> None:
    """The window's borders are 2 ms wide: within twice that the bounce may be as long as from ON on."""
    long_s = 1.0289 - starts_s
    (bounce,) = bounces_of((low(starts_s, long_s),), (TravelWindow(*ON),), SHORTEST_S, ALLOWED_S)
    assert bounce.lies is Lies[lies]


def test_as_the_key_comes_on_short_losses_are_a_crackle_and_all_belong_to_it() -> None:
    (bounce,) = bounces_of((low(1.01, 0.002), *chain(1.03, 4, 0.012)), (TravelWindow(*ON),), SHORTEST_S, ALLOWED_S)
    assert len(bounce.members) == 5
