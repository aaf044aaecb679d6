"""Where the key is, read from a feed that a test writes down bin by bin."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firstcrank.analysis.cranks import CrankInterval
from firstcrank.analysis.feed import feed_of
from firstcrank.analysis.key import Key, fed_back_until_s, read_key
from firstcrank.limits import shipped
from firstcrank.thresholds import thresholds_for
from firstcrank.trace import FloatArray, Trace

from .plain_trace import BIN_S, flat, plain_trace, put
from .plain_view import crank_of

LIMITS = shipped(12)
TH = thresholds_for(12).key
BATTERY_V, FEED_V = 12.5, 12.25


def at(seconds: float) -> int:
    """The bin that begins there."""
    return round(seconds / BIN_S)


def live(seconds: float, *dead: tuple[float, float]) -> FloatArray:
    """A feed that is live but for the dead stretches (from, to), seconds."""
    feed = flat(seconds, FEED_V)
    for from_s, to_s in dead:
        feed = put(feed, 0.0, at(from_s), at(to_s))
    return feed


def start(feed: FloatArray) -> Trace:
    """A battery at rest beside it."""
    return plain_trace({"battery": flat(len(feed) * BIN_S, BATTERY_V), "key_switch": feed})


def key_of(trace: Trace, *cranks: CrankInterval, reported_off: bool = False) -> Key:
    """The key as it is read."""
    return read_key(trace, feed_of(trace), LIMITS, cranks, TH, reported_off)


# --- key on


@pytest.mark.parametrize(("dead_bins", "seen"), [(25, False), (26, True)])  # of 1/512 s: 48.8 ms and 50.8 ms of the 50 asked
def test_a_key_was_seen_off_where_the_feed_was_dead_for_long_enough(dead_bins: int, seen: bool) -> None:
    on = key_of(start(live(4.0, (0.0, dead_bins * BIN_S)))).on
    assert (on is not None) is seen
    if on is not None:
        assert (on.early_s, on.late_s) == (dead_bins * BIN_S, (dead_bins + 1) * BIN_S)


def test_never_dead_never_live_or_dead_only_later_is_no_key_on() -> None:
    for feed in (live(4.0), live(4.0, (0.0, 4.0)), live(4.0, (1.0, 1.5))):
        assert key_of(start(feed)).on is None


def test_between_dead_and_live_the_border_is_as_wide_as_the_rise_takes() -> None:
    feed = live(4.0, (0.0, 1.0))
    feed = put(feed, 4.0, at(1.0), at(1.0) + 3)
    on = key_of(start(feed)).on
    assert on is not None
    assert (on.early_s, on.late_s) == (1.0, 1.0 + 4 * BIN_S)


@pytest.mark.parametrize(
    ("pulse_bins", "dead_bins", "on_s"),
    [
        (1, 60, 1.0 + 61 * BIN_S),  # a lone pulse of 2 ms while off: the key came on behind it
        (2, 60, 1.0),  # 3.9 ms: twice the shortest dropout and more
        (1, 25, 1.0),  # dead for 48.8 ms behind it: no key goes off and on in that time
    ],
)
def test_a_lone_pulse_while_off_is_no_key_on(pulse_bins: int, dead_bins: int, on_s: float) -> None:
    limits = replace(LIMITS, values={**LIMITS.values, "dropout_min_s": 0.0015})
    feed = live(4.0, (0.0, 1.0), (1.0 + pulse_bins * BIN_S, 1.0 + (pulse_bins + dead_bins) * BIN_S))
    trace = start(feed)
    on = read_key(trace, feed_of(trace), limits, (), TH, False).on
    assert on is not None
    assert on.late_s == pytest.approx(on_s + BIN_S)


def test_the_shortest_pulse_counts_from_twice_the_shortest_dropout_on() -> None:
    for shortest_s, is_on in ((BIN_S / 2.1, True), (BIN_S / 1.9, False)):
        limits = replace(LIMITS, values={**LIMITS.values, "dropout_min_s": shortest_s})
        trace = start(live(4.0, (0.0, 1.0), (1.0 + BIN_S, 1.2)))
        on = read_key(trace, feed_of(trace), limits, (), TH, False).on
        assert on is not None
        assert (on.early_s == 1.0) is is_on


def test_pulses_again_and_again_are_all_left_out_but_not_where_nothing_follows() -> None:
    many = live(4.0, (0.0, 1.0), (1.0 + BIN_S, 1.2), (1.2 + BIN_S, 1.4))
    limits = replace(LIMITS, values={**LIMITS.values, "dropout_min_s": 0.0015})
    trace = start(many)
    on = read_key(trace, feed_of(trace), limits, (), TH, False).on
    assert on is not None
    assert on.early_s == pytest.approx(1.4, abs=BIN_S)
    trace = start(live(4.0, (0.0, 1.0), (1.0 + BIN_S, 4.0)))
    on = read_key(trace, feed_of(trace), limits, (), TH, False).on
    assert on is not None
    assert on.early_s == 1.0


# --- key off at the end


def falling(from_s: float, to_s: float, seconds: float = 6.0) -> FloatArray:
    """Dead until 1 s, live, then a straight fall to dead, which it stays."""
    feed = live(seconds, (0.0, 1.0), (to_s, seconds))
    a, b = at(from_s), at(to_s)
    feed[a:b] = np.linspace(FEED_V, 2.2, b - a)
    return feed


def test_the_key_goes_off_with_an_unbroken_fall() -> None:
    key = key_of(start(live(6.0, (0.0, 1.0), (5.0, 6.0))))
    assert key.off is not None
    assert (key.off.early_s, key.off.late_s) == (5.0, 5.0)
    assert key.dead_from_s == 5.0
    key = key_of(start(falling(4.6, 5.0)))
    assert key.off is not None
    assert key.off.early_s == pytest.approx(4.6 + 0.4 * 0.5 / 10.05, abs=2 * BIN_S)  # 0.5 V down the fall
    assert key.off.late_s == 5.0


@pytest.mark.parametrize(("takes_s", "is_off"), [(0.49, True), (0.53, False)])
def test_a_fall_that_takes_too_long_is_no_key(takes_s: float, is_off: bool) -> None:
    key = key_of(start(falling(5.0 - takes_s, 5.0)))
    assert key.dead_from_s is not None
    assert (key.off is not None) is is_off


@pytest.mark.parametrize(("rise_v", "is_off"), [(0.55, True), (0.75, False)])
def test_a_fall_that_rises_between_is_no_key(rise_v: float, is_off: bool) -> None:
    feed = falling(4.7, 5.0)
    middle = at(4.85)
    feed[middle : middle + 8] = feed[middle - 1] + rise_v
    feed[middle + 8 : at(5.0)] = np.minimum(feed[middle + 8 : at(5.0)], feed[middle - 1])
    assert (key_of(start(feed)).off is not None) is is_off


def test_a_feed_that_is_live_at_the_end_or_never_was_is_not_off() -> None:
    assert key_of(start(live(6.0, (0.0, 1.0)))).dead_from_s is None
    assert key_of(start(live(6.0, (0.0, 6.0)))).dead_from_s is None
    last = live(6.0, (0.0, 1.0), (5.0, 6.0 - BIN_S))
    assert key_of(start(last)).dead_from_s is None


def test_the_fall_is_measured_from_the_drop_that_the_feed_has_before_it() -> None:
    """A feed that rests 2 V below its source is not falling there."""
    feed = live(6.0, (0.0, 1.0), (5.0, 6.0))
    feed = np.where(feed > 1.0, 10.5, feed)
    key = key_of(start(feed))
    assert key.off is not None
    assert key.off.early_s == 5.0


def test_a_short_recording_takes_all_that_is_there_before_the_fall() -> None:
    key = key_of(start(live(1.5, (0.0, 0.1), (0.4, 1.5))))
    assert key.off is not None
    assert key.off.early_s == pytest.approx(0.4, abs=BIN_S)
    none_before = key_of(start(live(1.5, (2 * BIN_S, 1.5))))
    assert none_before.off is None
    assert none_before.dead_from_s == 2 * BIN_S


# --- off between two cranks


TWO = (crank_of(2.0, 3.0, wide_s=0.004), crank_of(5.0, 6.0, wide_s=0.004))


@pytest.mark.parametrize(("long_s", "is_off"), [(0.64, False), (0.66, True)])
def test_a_key_off_between_cranks_is_dead_for_long_enough(long_s: float, is_off: bool) -> None:
    key = key_of(start(live(8.0, (0.0, 1.0), (3.5, 3.5 + long_s))), *TWO)
    assert len(key.between) == is_off
    for gone in key.between:
        assert (gone.off.early_s, gone.off.late_s) == (3.5, 3.5)
        assert gone.on.early_s == pytest.approx(3.5 + long_s, abs=BIN_S)
        assert gone.on.late_s == gone.on.early_s + BIN_S


def test_only_what_lies_between_the_cranks_counts_and_of_that_the_longest() -> None:
    assert key_of(start(live(8.0, (0.0, 1.0), (2.0, 4.0))), *TWO).between == (), "it began within the crank"
    assert key_of(start(live(8.0, (0.0, 1.0))), *TWO).between == ()
    key = key_of(start(live(8.0, (0.0, 1.0), (3.2, 3.3), (3.6, 4.6))), *TWO)
    assert [gone.off.early_s for gone in key.between] == [at(3.6) * BIN_S]
    # It went dead between them and stayed so: no key came on again.
    assert key_of(start(live(8.0, (0.0, 1.0), (3.6, 8.0))), *TWO).between == ()


# --- fed back, and the person's word


def fed_back(first_v: float, until_s: float = 1.5) -> float | None:
    """Asked of a feed that stands at `first_v` before it steps up to its usual level; the crank is at 3 s."""
    feed = live(6.0)
    feed[: at(until_s)] = first_v
    trace = start(feed)
    return fed_back_until_s(trace, feed_of(trace), LIMITS, 3.0)


@pytest.mark.parametrize(("first_v", "is_fed"), [(10.85, False), (10.75, True), (2.2, True), (1.5, False)])
def test_a_feed_below_its_source_from_the_start_was_fed_back(first_v: float, is_fed: bool) -> None:
    """12 % of 12 V, 1.44 V, less than later; and not dead, which is below 2 V."""
    found = fed_back(first_v)
    assert (found is not None) is is_fed
    if found is not None:
        assert found == 1.5 + BIN_S


def test_the_first_four_bins_and_the_last_tenth_before_the_crank_are_compared() -> None:
    assert fed_back(8.0, 4 * BIN_S) == 5 * BIN_S
    assert fed_back(8.0, 2 * BIN_S) is not None, "two of four: half way"
    assert fed_back(8.0, BIN_S) is None, "one bin of four: their median is the usual level"
    assert fed_back(8.0, 2.8) is not None
    assert fed_back(8.0, 2.9) is None, "most of the last 0.3 s lies low: that is its usual level"
    assert fed_back(8.0, 6.0) is None, "never stepped up"
    trace = start(live(6.0))
    assert fed_back_until_s(trace, feed_of(trace), LIMITS, 7 * BIN_S) is None
    assert key_of(start(live(6.0))).fed_back_until_s is None


def test_a_step_down_at_the_end_is_off_only_where_the_person_said_so() -> None:
    crank = crank_of(2.0, 3.0, wide_s=0.004)
    after_s = LIMITS["after_release_s"]
    feed = live(9.0, (0.0, 1.0))
    feed[at(7.0) :] = 9.0
    assert key_of(start(feed), crank).off is None
    key = key_of(start(feed), crank, reported_off=True)
    assert key.off is not None
    assert key.key_off_reported
    assert key.off.early_s == key.off.late_s == 7.0
    early = live(9.0, (0.0, 1.0))
    early[at(3.0 + after_s - 0.05) :] = 9.0
    assert key_of(start(early), crank, reported_off=True).off is None, "too soon after the release to be told from a drop"
    small = live(9.0, (0.0, 1.0))
    small[at(7.0) :] = FEED_V - 0.45
    assert key_of(start(small), crank, reported_off=True).off is None
    back = feed.copy()
    back[-1] = FEED_V
    assert key_of(start(back), crank, reported_off=True).off is None, "it came back"
    assert key_of(start(feed), reported_off=True).off is None, "no crank before it"
