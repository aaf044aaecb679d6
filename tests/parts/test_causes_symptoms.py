"""What the rules on causes look at, each figure by hand."""

from __future__ import annotations

from dataclasses import replace
from math import ceil

import numpy as np
import pytest

from firstcrank.analysis.causes.symptoms import (
    _coil_share,
    _ground_share,
    _held_low,
    _in_travel,
    _median_drop_v,
    _most_lost,
    _tracks_current,
    _whole_drop_v,
    is_contact,
    steady_crank,
    symptoms_of,
)
from firstcrank.model.judgement import DropoutKind
from firstcrank.model.vocabulary import CheckId, Phase, Result

from .plain_view import (
    BIN_S,
    Volts,
    a_battery,
    a_feed,
    a_finding,
    at,
    border,
    crank_of,
    flat,
    limits_with,
    loss,
    plain_view,
    put,
)

E = 1e-4
KINDS: tuple[DropoutKind, ...] = ("counts", "short", "undecided", "tolerated", "with supply")


def test_findings_by_check_and_result() -> None:
    findings = (
        a_finding(CheckId.FEED_CHATTER, Result.FAIL),
        a_finding(CheckId.FEED_DROPOUT, Result.PASS),
        a_finding(CheckId.FEED_DROPOUT, Result.FAIL, 1.0),
        a_finding(CheckId.FEED_CHATTER, Result.FAIL),
        a_finding(CheckId.FEED_DROPOUT, Result.WARN, 2.0),
        a_finding(CheckId.FEED_DROPOUT, Result.FAIL, 3.0),
    )
    symptoms = symptoms_of(plain_view(), findings)
    assert symptoms.found(CheckId.FEED_DROPOUT, Result.FAIL) is findings[2]
    assert symptoms.found(CheckId.FEED_DROPOUT, Result.UNDECIDED) is None
    assert symptoms.all_found(CheckId.FEED_DROPOUT, Result.WARN, Result.FAIL) == (findings[2], findings[4], findings[5])


# --- the feed's usual drop


def test_the_drop_is_the_largest_of_the_medians() -> None:
    feed = put(a_feed(), 12.3, 1.0, 2.9)
    phases = ((Phase.KEY_ON, 1.0, 2.9), (Phase.CRANK, 3.0, 5.0), (Phase.KEY_ON, 5.5, 8.0))
    symptoms = symptoms_of(plain_view(key_switch=feed, phases=phases), ())
    assert symptoms.drop_v(Phase.KEY_ON) == pytest.approx(0.3)
    assert symptoms.drop_v(Phase.CRANK) == pytest.approx(0.1)
    assert symptoms.drop_v(Phase.KEY_ON, Phase.CRANK) == pytest.approx(0.3)
    assert symptoms.drop_v(Phase.AFTER) is None


def test_eight_bins_make_a_median() -> None:
    view = plain_view()
    assert _median_drop_v(view, 2.0, 2.0 + 7 * BIN_S) is None
    assert _median_drop_v(view, 2.0, 2.0 + 8 * BIN_S) == pytest.approx(0.1)


def test_the_rise_of_the_key_is_left_out() -> None:
    """The key came on at 1.5 s at the latest, and the drop is judged from 0.05 s later."""
    feed = put(put(a_feed(), 12.2, 1.0, 1.55), 12.4, 1.55, 1.6)
    on = replace(border(1.0), late_s=1.5)
    assert _median_drop_v(plain_view(key_switch=feed, on=on), 1.0, 1.6) == pytest.approx(0.2)
    assert _median_drop_v(plain_view(key_switch=feed, on=None), 1.0, 1.6) == pytest.approx(0.4)


# --- losses


def test_own_losses_leave_out_the_batterys_and_the_tolerated() -> None:
    losses = tuple(loss(3.5 + 0.1 * i, 0.002, kind=kind) for i, kind in enumerate(KINDS))
    assert symptoms_of(plain_view(dropouts=losses), ()).own == losses[:3]


def test_losses_of_the_travel_and_inside_the_crank() -> None:
    travel = loss(2.9, 0.005, phase=Phase.TURN)
    held = loss(2.85, 0.05, 5.5, phase=Phase.TURN)
    inside = loss(4.0, 0.01)
    across = loss(4.9, 0.5)
    touching = loss(3.0, 0.5, phases=(Phase.CRANK,))
    short = loss(4.2, 0.0001, kind="short", counts=False)
    ends_with = loss(4.0, 1.0)
    view = plain_view(dropouts=(held, travel, touching, inside, ends_with, short, across))
    symptoms = symptoms_of(view, ())
    assert symptoms.turn == (travel,)
    assert symptoms.inside == (inside,)
    assert symptoms.lost_share == 0.0


def test_inside_any_of_the_cranks() -> None:
    one = loss(4.0, 0.01)
    assert symptoms_of(plain_view(dropouts=(one,), cranks=(crank_of(3.0, 5.0), crank_of(6.0, 7.0))), ()).inside == (one,)


@pytest.mark.parametrize(
    ("duration_s", "lowest_v", "held"), [(0.01, 6.0, False), (0.011, 6.0, True), (0.011, 5.0, False), (0.011, 5.01, True)]
)
def test_held_low_is_long_and_never_dead(duration_s: float, lowest_v: float, held: bool) -> None:
    assert _held_low(plain_view(), loss(4.0, duration_s, lowest_v)) is held


WIDE = (crank_of(3.0, 5.0, wide_s=0.1),)  # live from 2.9 or 3.0 s to 5.0 or 5.1 s


@pytest.mark.parametrize(
    ("start_s", "duration_s", "inside"),
    [
        (2.6 - E, 0.0, False),  # 0.3 s before START at the earliest
        (2.6 + E, 0.0, True),
        (3.02 - E, 0.0, True),  # 0.02 s after it at the latest
        (3.02 + E, 0.0, False),
        (4.5, 0.44 - E, False),  # longer than 0.3 s
        (4.7, 0.24 - E, False),  # ends more than 0.06 s before LET GO at the earliest
        (4.7, 0.24 + E, True),
        (5.4 - E, 0.0, True),  # begins 0.3 s behind it at the latest
        (5.4 + E, 0.0, False),
        (5.35, 0.2, True),
        (2.9, 0.3 - E, True),
        (2.9, 0.3 + E, False),
    ],
)
def test_near_to_the_keys_travel(start_s: float, duration_s: float, inside: bool) -> None:
    assert _in_travel(plain_view(cranks=WIDE), loss(start_s, duration_s, phase=Phase.AFTER)) is inside


@pytest.mark.parametrize(
    ("phase", "phases", "duration_s", "inside"),
    [
        (Phase.TURN, (Phase.TURN,), 1.0, True),
        (Phase.RELEASE, (Phase.RELEASE,), 1.0, True),
        (Phase.CRANK, (Phase.TURN, Phase.CRANK), 0.29, True),
        (Phase.CRANK, (Phase.TURN, Phase.CRANK), 0.3, False),
        (Phase.AFTER, (Phase.RELEASE, Phase.AFTER), 0.29, False),
        (Phase.CRANK, (Phase.CRANK,), 0.29, False),
        (Phase.AFTER, (Phase.CRANK, Phase.AFTER), 0.29, False),
    ],
)
def test_across_the_travels_border(phase: Phase, phases: tuple[Phase, ...], duration_s: float, inside: bool) -> None:
    assert _in_travel(plain_view(), loss(4.0, duration_s, phase=phase, phases=phases)) is inside


# --- a contact that opens


@pytest.mark.parametrize(
    ("duration_s", "lowest_v", "contact"), [(0.3, 2.1, False), (0.29, 2.1, True), (0.3, 2.0, True), (2.0, 0.0, True)]
)
def test_a_contact_is_not_held_between(duration_s: float, lowest_v: float, contact: bool) -> None:
    assert is_contact(plain_view(), loss(4.0, duration_s, lowest_v)) is contact


def with_drop(usual_v: float, deepest_v: float) -> Volts:
    """While cranking the feed drops by `usual_v`, for eight bins from 4 s on by `deepest_v` at one of them."""
    feed = put(a_feed(), 10.0 - usual_v, 3.0, 5.0)
    return put(feed, 10.0 - deepest_v, 4.0 + 2 * BIN_S, 4.0 + 3 * BIN_S)


@pytest.mark.parametrize(
    ("usual_v", "deepest_v", "contact"),
    [
        (2.0, 3.19, False),  # 1.5 times the usual drop and 0.2 V
        (2.0, 3.21, True),
        (0.26, 0.58, False),  # above half of the warning of 0.5 V
        (0.24, 0.54, True),
    ],
)
def test_a_loss_no_deeper_than_the_usual_drop_is_that_drop(usual_v: float, deepest_v: float, contact: bool) -> None:
    view = plain_view(key_switch=with_drop(usual_v, deepest_v))
    assert is_contact(view, loss(4.0, 8 * BIN_S, 6.0)) is contact


def test_a_loss_to_dead_is_a_contact_whatever_is_usual() -> None:
    assert is_contact(plain_view(key_switch=with_drop(2.0, 3.1)), loss(4.0, 8 * BIN_S, 2.0))


@pytest.mark.parametrize(("deepest_v", "contact"), [(3.35, False), (3.45, True)])
def test_at_24_v_the_shallow_part_doubles(deepest_v: float, contact: bool) -> None:
    """1.5 times 2 V and 0.4 V."""
    view = plain_view(key_switch=with_drop(2.0, deepest_v), limits=limits_with(24))
    assert is_contact(view, loss(4.0, 8 * BIN_S, 6.0)) is contact


def test_the_usual_drop_is_of_the_half_seconds_around() -> None:
    feed = put(a_feed(), 8.0, 3.0, 5.0)
    feed = put(feed, 6.9, 4.0, 4.0 + 2 * BIN_S)  # a drop of 3.1 V, where 2 V are usual
    one = loss(4.0, 2 * BIN_S, 6.9)
    assert not is_contact(plain_view(key_switch=feed), one)
    good = put(feed, 9.9, 3.0, 4.0)
    assert not is_contact(plain_view(key_switch=put(good, 8.0, 3.6, 4.0)), one)
    assert is_contact(plain_view(key_switch=put(good, 9.9, 4.0 + 2 * BIN_S, 4.4)), one)
    far = put(put(feed, 9.9, 3.0, 3.6), 9.9, 4.4, 5.0)
    assert not is_contact(plain_view(key_switch=far), one)
    assert is_contact(plain_view(key_switch=feed), replace(one, phase=Phase.KEY_OFF))  # nothing of that phase is near


# --- the crank in which most was lost


def test_share_and_mean_of_what_was_lost() -> None:
    cranks = (crank_of(3.0, 4.0), crank_of(5.0, 6.0), crank_of(6.5, 7.5))
    feed = flat(9.0)
    feed = put(feed, 4.0, 3.0, 3.25)
    feed = put(put(feed, 2.0, 5.0, 5.25), 5.0, 5.25, 5.5)
    feed = put(feed, 7.0, 6.5, 7.5)  # just at the minimum
    last = put(feed, 1.0, 6.5, 6.6)
    assert _most_lost(plain_view(key_switch=last, cranks=cranks)) == pytest.approx((0.5, 3.5))
    assert _most_lost(plain_view(key_switch=feed, cranks=cranks)) == pytest.approx((0.5, 3.5))
    assert _most_lost(plain_view(key_switch=put(feed, 6.99, 6.5, 7.5), cranks=cranks)) == pytest.approx((1.0, 6.99))
    assert _most_lost(plain_view(key_switch=flat(9.0), cranks=cranks)) == (0.0, 0.0)
    assert _most_lost(plain_view(cranks=())) == (0.0, 0.0)


def test_the_first_moment_of_a_crank_is_left_out() -> None:
    both = (crank_of(3.0, 4.0, sag_s=3.1), crank_of(6.0, 7.0))
    chosen = np.flatnonzero(steady_crank(plain_view(cranks=both)))
    expected = [*range(ceil(3.12 / BIN_S), at(4.0)), *range(ceil(6.02 / BIN_S), at(7.0))]
    assert chosen.tolist() == expected
    assert not steady_crank(plain_view(cranks=())).any()


def swinging(drop_per_v: float, amplitude_v: float = 0.5) -> tuple[Volts, Volts]:
    """A battery that swings while cranking, and a feed that drops by so much more for every volt of sag."""
    battery = a_battery()
    inside = slice(at(3.0), at(5.0))
    swing = amplitude_v * np.sin(np.arange(at(2.0)) / 3.0)
    battery[inside] += swing
    feed = battery - 0.1
    feed[: at(1.0)] = 0.0
    feed[inside] -= 1.0 - drop_per_v * swing
    return battery, feed


def test_a_drop_that_follows_the_current() -> None:
    battery, feed = swinging(0.5)
    assert _tracks_current(plain_view(battery=battery, key_switch=feed)) == pytest.approx(1.0)
    noise = np.random.default_rng(3).normal(0.0, 0.5, len(feed))
    assert abs(_tracks_current(plain_view(battery=battery, key_switch=feed + noise))) < 0.6
    battery, feed = swinging(-0.5)
    assert _tracks_current(plain_view(battery=battery, key_switch=feed)) == pytest.approx(-1.0)


@pytest.mark.parametrize(
    ("amplitude_v", "per_v", "found"), [(0.013, 3.0, 0.0), (0.016, 3.0, 1.0), (1.0, 0.013, 0.0), (1.0, 0.016, 1.0)]
)
def test_without_swing_nothing_follows(amplitude_v: float, per_v: float, found: float) -> None:
    """0.0141 V peak are 0.01 V rms."""
    battery, feed = swinging(per_v, amplitude_v)
    assert _tracks_current(plain_view(battery=battery, key_switch=feed)) == pytest.approx(found)


@pytest.mark.parametrize(("bins", "found"), [(49, 0.0), (50, 1.0)])
def test_fifty_bins_are_asked_for(bins: int, found: float) -> None:
    battery, feed = swinging(0.5)
    view = plain_view(battery=battery, key_switch=feed, cranks=(crank_of(3.25 - 0.02, 3.25 + bins * BIN_S),))
    assert steady_crank(view).sum() == bins
    assert _tracks_current(view) == pytest.approx(found)


def test_a_dead_feed_says_nothing_of_the_current() -> None:
    battery, feed = swinging(0.5)
    inside = slice(at(3.0), at(5.0))
    dead, live = feed.copy(), feed.copy()
    dead[inside] += 1.99 - feed[inside].max()
    live[inside] += 2.01 - feed[inside].min()
    assert _tracks_current(plain_view(battery=battery, key_switch=dead)) == 0.0
    assert _tracks_current(plain_view(battery=battery, key_switch=live)) == pytest.approx(1.0)


def test_the_whole_drop_is_a_mean() -> None:
    feed = put(a_feed(), 0.0, 4.0, 5.0)
    from_bin = ceil(3.02 / BIN_S)
    whole = at(5.0) - from_bin
    lost = at(5.0) - at(4.0)
    expected = (lost * 10.0 + (whole - lost) * 0.1) / whole
    assert _whole_drop_v(plain_view(key_switch=feed)) == pytest.approx(expected)
    assert _whole_drop_v(plain_view(cranks=())) == 0.0


@pytest.mark.parametrize(("drop_v", "coil_drop_v", "share"), [(2.0, 1.0, 0.5), (0.51, 0.51, 1.0), (0.49, 0.49, 0.0)])
def test_what_the_coil_loses_with_the_feed(drop_v: float, coil_drop_v: float, share: float) -> None:
    feed, coil = put(a_feed(), 10.0 - drop_v, 3.0, 5.0), put(flat(0.0), 10.0 - coil_drop_v, 3.0, 5.0)
    assert _coil_share(plain_view(key_switch=feed, starter_coil=coil)) == pytest.approx(share)
    assert _coil_share(plain_view(key_switch=feed)) == 0.0
    assert _coil_share(plain_view(key_switch=feed, starter_coil=coil, cranks=())) == 0.0


@pytest.mark.parametrize(("drop_v", "rise_v", "share"), [(2.0, 0.5, 0.25), (0.11, 0.11, 1.0), (0.09, 0.05, 0.0)])
def test_what_the_ground_explains(drop_v: float, rise_v: float, share: float) -> None:
    """The feed is judged against that ground, so its own lead reads higher by the rise."""
    feed, ground = put(a_feed(), 10.0 - drop_v + rise_v, 3.0, 5.0), put(flat(0.0), rise_v, 3.0, 5.0)
    assert _ground_share(plain_view(key_switch=feed, module_ground=ground)) == pytest.approx(share)
    assert _ground_share(plain_view(key_switch=feed)) == 0.0
    assert _ground_share(plain_view(key_switch=feed, module_ground=ground, cranks=())) == 0.0
