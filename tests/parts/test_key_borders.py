"""Where the key is, on feeds written down bin by bin: ON, OFF at the end, off between two cranks, fed back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firstcrank.analysis.cranks import CrankInterval
from firstcrank.analysis.feed import feed_of
from firstcrank.analysis.key import Key, OffTime, _unbroken, fed_back_until_s, read_key
from firstcrank.limits import shipped
from firstcrank.model.judgement import Border
from firstcrank.thresholds import thresholds_for
from firstcrank.trace import FloatArray, Trace

from .plain_trace import BIN_S, flat, plain_trace, put
from .plain_view import crank_of

LIMITS = shipped(12)  # dead below 2 V, live above 5 V, a loss counts from 1 ms on
TH = replace(thresholds_for(12).key, dead_least_s=16 * BIN_S, blip_dead_s=16 * BIN_S, fall_most_s=64 * BIN_S, off_between_s=0.5)
BATTERY_V = 12.5
SECONDS = 4.0
COUNT = 2048


def a_trace(feed_v: FloatArray, battery_v: FloatArray | None = None) -> Trace:
    source_v = np.full(len(feed_v), BATTERY_V) if battery_v is None else battery_v
    return plain_trace({"battery": source_v, "key_switch": feed_v})


def key_of(feed_v: FloatArray, *cranks: CrankInterval, battery_v: FloatArray | None = None, reported: bool = False) -> Key:
    trace = a_trace(feed_v, battery_v)
    return read_key(trace, feed_of(trace), LIMITS, cranks, TH, reported)


def live_in(*stretches: tuple[int, int], live_v: float = 12.0, dead_v: float = 0.0) -> FloatArray:
    """Dead but in these bins."""
    volts = flat(SECONDS, dead_v)
    for first, past in stretches:
        volts = put(volts, live_v, first, past)
    return volts


def on_bin(key: Key) -> float | None:
    return None if key.on is None else key.on.late_s / BIN_S - 1


def test_on_is_the_first_live_bin_after_a_dead_time() -> None:
    key = key_of(live_in((512, COUNT)))
    assert key == Key(Border(512 * BIN_S, 513 * BIN_S, "the feed's first live sample"), None)


def test_a_slow_rise_begins_with_the_last_dead_bin() -> None:
    rising = put(live_in((512, COUNT)), 3.0, 508, 512)  # neither dead nor live
    assert key_of(rising).on == Border(508 * BIN_S, 513 * BIN_S, "the feed's first live sample")


def test_the_feed_must_have_been_dead_for_long_enough() -> None:
    assert on_bin(key_of(live_in((16, COUNT)))) == 16
    assert key_of(live_in((15, COUNT))).on is None
    assert key_of(live_in((0, 400), (500, COUNT))).on is None  # dead later is no key that came on first
    assert key_of(live_in((0, COUNT))).on is None
    assert key_of(live_in()).on is None


@pytest.mark.parametrize(("dead_v", "live_v", "seen"), [(1.99, 5.01, True), (2.0, 5.01, False), (1.99, 5.0, False)])
def test_dead_is_below_2_v_and_live_is_above_5_v(dead_v: float, live_v: float, seen: bool) -> None:
    assert (key_of(live_in((512, COUNT), dead_v=dead_v, live_v=live_v)).on is not None) is seen


def test_a_lone_pulse_while_off_is_no_on() -> None:
    assert on_bin(key_of(live_in((512, 513), (600, COUNT)))) == 600  # 1.95 ms: less than two losses of 1 ms
    assert on_bin(key_of(live_in((512, 514), (600, COUNT)))) == 512
    assert on_bin(key_of(live_in((512, 513), (529, COUNT)))) == 529  # dead for 16 bins behind it
    assert on_bin(key_of(live_in((512, 513), (528, COUNT)))) == 512  # and for 15: a bounce
    assert on_bin(key_of(live_in((512, 513), (600, 601), (700, COUNT)))) == 700
    assert on_bin(key_of(live_in((512, 513)))) == 512  # nothing live follows


def test_off_is_the_unbroken_fall_to_dead_that_stays() -> None:
    key = key_of(live_in((512, 1536)))
    assert key.dead_from_s == 1536 * BIN_S
    assert key.off == Border(1536 * BIN_S, 1536 * BIN_S, "the feed falls unbroken to dead and stays there")
    assert key_of(live_in((512, 1536), (2047, COUNT))).dead_from_s is None
    assert key_of(live_in()).dead_from_s is None  # never live: nothing went dead
    assert key_of(live_in((512, COUNT - 1))).dead_from_s == (COUNT - 1) * BIN_S


def falling(bins: int) -> FloatArray:
    """Live to bin 1536, then down in so many even steps of time, then dead."""
    volts = live_in((512, 1536))
    volts[1536 : 1536 + bins] = np.linspace(11.0, 3.0, bins)
    return volts


def test_a_slow_fall_begins_where_the_feed_leaves_its_source_and_takes_no_longer_than_a_key_does() -> None:
    key = key_of(falling(64))
    assert key.off is not None
    assert (key.off.early_s, key.off.late_s) == (1536 * BIN_S, 1600 * BIN_S)
    assert key.dead_from_s == 1600 * BIN_S
    assert key_of(falling(65)).off is None
    assert key_of(falling(65)).dead_from_s == 1601 * BIN_S


def test_the_fall_begins_half_a_volt_below_the_usual_drop() -> None:
    # the feed stands 0.5 V below its source; 1 V is still its course
    for volts, first in ((11.5, 1536), (11.499, 1530)):
        key = key_of(put(live_in((512, 1536)), volts, 1530, 1536))
        assert key.off is not None
        assert key.off.early_s == first * BIN_S


def test_a_bounce_of_the_opening_contact_is_part_of_the_fall() -> None:
    low = live_in((512, 1536))
    # 10 ms are 5.12 bins: from bin 1531 on
    for first, early in ((1531, 1531), (1530, 1536)):
        key = key_of(put(low, 10.99, first, first + 1))
        assert key.off is not None
        assert key.off.early_s == early * BIN_S
    shallow = key_of(put(low, 11.01, 1531, 1532))  # less than 1 V below its usual drop
    assert shallow.off is not None
    assert shallow.off.early_s == 1536 * BIN_S


def test_a_fall_that_rises_again_is_none_of_a_key() -> None:
    settled = 8
    assert key_of(put(falling(32), 9.0, 1536 + settled, 1536 + settled + 1)).off is not None
    for rise_v, is_off in ((0.59, True), (0.61, False)):
        volts = falling(32)
        volts[1556] = volts[1555] + rise_v
        assert (key_of(volts).off is not None) is is_off
    bounced = falling(32)
    bounced[1540] = bounced[1539] + 0.8  # within 10 ms of its begin
    assert key_of(bounced).off is not None


def test_unbroken_by_itself() -> None:
    assert _unbroken(np.zeros(0), TH)
    assert _unbroken(np.array([5.0]), TH)
    assert not _unbroken(np.array([5.0, 5.61]), TH)
    assert _unbroken(np.array([5.0, 5.59]), TH)
    assert not _unbroken(np.array([5.0, 5.4, 5.8]), TH)  # against the lowest so far
    assert _unbroken(np.array([9.0, 5.0, 5.4, 4.0, 4.5]), TH)


def test_a_feed_that_lives_too_briefly_has_no_usual_drop_of_its_last_two_seconds() -> None:
    # live for 0.2 s from the start: its usual drop is that up to 10 ms before
    key = key_of(live_in((0, 100)))
    assert key.off is not None
    assert key.off.early_s == 100 * BIN_S
    assert key_of(live_in((0, 4))).off is None  # 8 ms: none


FIRST, SECOND = crank_of(0.5, 1.0), crank_of(3.0, 3.5)


def test_off_between_two_cranks() -> None:
    volts = live_in((64, 768), (1280, COUNT))
    expected = OffTime(
        Border(768 * BIN_S, 768 * BIN_S, "the feed falls unbroken to dead and stays there"),
        Border(1280 * BIN_S, 1281 * BIN_S, "the feed's first live sample"),
    )
    assert key_of(volts, FIRST, SECOND).between == (expected,)
    assert key_of(volts, FIRST).between == ()
    assert key_of(volts).between == ()
    assert key_of(live_in((64, COUNT)), FIRST, SECOND).between == ()


def test_off_between_two_cranks_lasts_half_a_second_here() -> None:
    assert len(key_of(live_in((64, 768), (1024, COUNT)), FIRST, SECOND).between) == 1
    assert key_of(live_in((64, 768), (1023, COUNT)), FIRST, SECOND).between == ()


def test_the_longest_of_several_dead_times_is_that_of_the_key() -> None:
    (off,) = key_of(live_in((64, 600), (620, 768), (1100, 1400), (1420, COUNT)), FIRST, SECOND).between
    assert (off.off.late_s, off.on.early_s) == (768 * BIN_S, 1100 * BIN_S)


def test_dead_times_lie_wholly_between_the_cranks() -> None:
    # dead from before the first let go: it fell while cranking
    assert key_of(live_in((64, 500), (1280, COUNT)), FIRST, SECOND).between == ()
    # and up to the second's start there is no longer a live sample before it: counted up to there
    (off,) = key_of(live_in((64, 768), (1600, COUNT)), FIRST, SECOND).between
    assert (off.on.early_s, off.on.late_s) == (1536 * BIN_S, 1601 * BIN_S)
    assert key_of(live_in((64, 768)), FIRST, SECOND).between == ()  # never live again


def fed_back(first_v: float, *, until: int = 256, bins: int = COUNT) -> FloatArray:
    return put(np.full(bins, 12.0), first_v, 0, until)


def test_a_feed_that_steps_up_to_its_source_was_fed_back_until_then() -> None:
    # 0.12 of 12 V is 1.44 V below where it stands later
    assert key_of(fed_back(10.55), FIRST).fed_back_until_s is None  # up with the crank that begins at 0.5 s, not before it
    trace = a_trace(fed_back(10.55))
    assert fed_back_until_s(trace, feed_of(trace), LIMITS, 3.0) == 257 * BIN_S
    near = a_trace(fed_back(10.57))
    assert fed_back_until_s(near, feed_of(near), LIMITS, 3.0) is None


def test_a_dead_feed_is_off_and_not_fed_back() -> None:
    for volts, until_s in ((2.0, 257 * BIN_S), (1.99, None)):
        trace = a_trace(fed_back(volts))
        assert fed_back_until_s(trace, feed_of(trace), LIMITS, 3.0) == until_s


def test_eight_bins_before_the_crank_are_enough() -> None:
    trace = a_trace(fed_back(6.0, until=4))
    assert fed_back_until_s(trace, feed_of(trace), LIMITS, 9 * BIN_S) == 5 * BIN_S
    assert fed_back_until_s(trace, feed_of(trace), LIMITS, 8 * BIN_S) is None


def test_the_level_before_the_crank_is_that_of_the_last_tenth() -> None:
    trace = a_trace(fed_back(6.0, until=950))
    feed = feed_of(trace)
    # 1000 bins before: the median of the last 100, of which at least 50 must be up
    assert fed_back_until_s(trace, feed, LIMITS, 1001 * BIN_S) == 951 * BIN_S
    later = a_trace(fed_back(6.0, until=952))
    assert fed_back_until_s(later, feed_of(later), LIMITS, 1001 * BIN_S) is None


def test_up_is_half_way_to_the_later_level() -> None:
    # 6.5 V and 0.5 V below the source: half way at 9 V
    for volts, until in ((9.01, 200), (8.99, 256)):
        trace = a_trace(put(fed_back(6.0), volts, 200, 256))
        assert fed_back_until_s(trace, feed_of(trace), LIMITS, 3.0) == (until + 1) * BIN_S


def test_a_key_seen_on_was_not_fed_back() -> None:
    volts = put(fed_back(4.0), 0.0, 10, 100)
    assert key_of(volts).on is not None
    assert key_of(volts).fed_back_until_s is None
    assert key_of(fed_back(6.0)).fed_back_until_s == 257 * BIN_S


# One crank that ends at 1 s, the release until 1.3 s, the watch until 3 s (3.3 s for the level)
def stepped(first: int, volts: float = 8.0, past: int = COUNT) -> FloatArray:
    return put(flat(SECONDS, 12.0), volts, first, past)


def test_a_feed_fed_back_steps_down_where_the_key_was_reported_off() -> None:
    key = key_of(stepped(1700), FIRST, reported=True)
    assert key.off == Border(1700 * BIN_S, 1700 * BIN_S, "the feed steps down for good, and the key was reported off")
    assert (key.key_off_reported, key.dead_from_s) == (True, None)
    assert key_of(stepped(1700), FIRST).off is None
    assert key_of(stepped(1700), reported=True).off is None  # no crank
    assert not key_of(stepped(COUNT), FIRST, reported=True).key_off_reported


def test_the_step_is_half_a_volt_and_lasts_to_the_end() -> None:
    assert key_of(stepped(1700, 11.49), FIRST, reported=True).off is not None
    assert key_of(stepped(1700, 11.5), FIRST, reported=True).off is None
    assert key_of(stepped(1700, past=COUNT - 1), FIRST, reported=True).off is None


def test_the_step_comes_two_seconds_after_the_last_release_at_the_earliest() -> None:
    assert key_of(stepped(1536), FIRST, reported=True).off is not None
    assert key_of(stepped(1535), FIRST, reported=True).off is None
    wide = crank_of(0.5, 1.0, wide_s=0.25)
    assert key_of(stepped(1664), wide, reported=True).off is not None
    assert key_of(stepped(1663), wide, reported=True).off is None
