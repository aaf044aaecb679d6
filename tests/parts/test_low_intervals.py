"""Stretches of the feed below the minimum, from samples written down one by one: where they begin, how long they lasted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firstcrank.analysis.feed import Feed, feed_of
from firstcrank.analysis.low_intervals import (
    LowInterval,
    _cut,
    _from_bins,
    _merge,
    _sharpened,
    find_low,
    share_below,
    usable_runs,
)
from firstcrank.thresholds import thresholds_for
from firstcrank.trace import Channel, CloseUp, KeyRuns, Trace
from tests.aim.maker import count_runs

from .plain_trace import EXACT

TH = thresholds_for(12).feed
MINIMUM_V = 6.0
STEP_S = 1.0 / 1024.0


def sampled(bins: str, *, pauses: dict[int, float] | None = None, gap_steps: float = 1.0) -> tuple[Trace, Feed]:
    """Bins of samples: x is 2 V, a dot 12 V. `pauses`: steps of nothing before a bin; `gap_steps`: longest pause within the bins."""
    rows = [np.array([c == "x" for c in word]) for word in bins.split()]
    width = len(rows[0])
    below = np.array(rows)
    start = np.arange(len(rows), dtype=np.float64) * width
    for index, steps in (pauses or {}).items():
        start[index:] += steps
    volts = np.where(below, 2.0, 12.0)
    key = Channel("key_switch", volts.mean(1), volts.min(1), volts.max(1), EXACT)
    source_v = np.full(len(rows), 12.1)
    trace = Trace(
        np.asarray(start * STEP_S, dtype=np.float64),
        np.asarray((start + width) * STEP_S, dtype=np.float64),
        np.full(len(rows), width, dtype=np.int64),
        np.full(len(rows), gap_steps * STEP_S),
        {"battery": Channel("battery", source_v, source_v, source_v, EXACT), "key_switch": key},
        runs=KeyRuns(MINIMUM_V, *count_runs(below)),
    )
    return trace, feed_of(trace)


def lows(
    bins: str, *, from_steps: float = 0.0, to_steps: float = 1e6, shortest_steps: float = 0.5, pauses: dict[int, float] | None = None,
    gap_steps: float = 1.0,
) -> list[tuple[float, float, float, float]]:  # fmt: skip
    """(start, shortest, best, longest) of each stretch, in steps. Nothing is merged unless `shortest_steps` says so."""
    trace, feed = sampled(bins, pauses=pauses, gap_steps=gap_steps)
    found = find_low(trace, feed, MINIMUM_V, shortest_steps * STEP_S, from_steps * STEP_S, to_steps * STEP_S, TH)
    return [tuple(round(v / STEP_S, 6) for v in (b.start_s, b.low_s, b.best_s, b.high_s)) for b in found]  # type: ignore[misc]


@pytest.mark.parametrize(
    ("bins", "start", "samples"),
    [
        ("........ ..xx.... ........", 9, 2),  # where in the bin is not known: its second sample is the earliest
        ("........ .x...... ........", 9, 1),
        ("........ xxx..... ........", 8, 3),
        ("........ .......x ........", 15, 1),
        ("........ ......xx xxx.....", 14, 5),
        ("......xx xxxxxxxx x.......", 6, 11),
        ("........ xxxxxxxx ........", 8, 8),
        ("........ xxxxxxxx xxxxxxxx", 8, 16),
        ("xxxxxxxx ........ ........", 0, 8),
        ("xx...... ........ ........", 0, 2),
        ("........ ........ .....xxx", 21, 3),
        ("........ ........ xxxxxxxx", 16, 8),
    ],
)
def test_n_samples_below_lasted_between_n_less_one_and_n_more_one_steps(bins: str, start: int, samples: int) -> None:
    assert lows(bins) == [(start, samples - 1, samples, samples + 1)]


def test_nothing_below_is_nothing_and_an_empty_time_too() -> None:
    assert lows("........ ........") == []
    assert lows("........") == []


def test_runs_at_both_ends_and_in_the_middle_of_a_bin_are_three_stretches() -> None:
    assert lows("x..xxx..xx ..........") == [(0, 0, 1, 2), (2, 2, 3, 4), (8, 1, 2, 3)]


def test_a_run_no_longer_than_one_at_an_end_is_not_told() -> None:
    assert lows("xx..xx.... ..........") == [(0, 1, 2, 3)]
    assert lows("....xx..xx ..........") == [(8, 1, 2, 3)]


def test_a_head_after_a_bin_that_ended_high_begins_anew() -> None:
    assert lows("......xx ........ xx......") == [(6, 1, 2, 3), (16, 1, 2, 3)]
    assert lows("x....... xx......") == [(0, 0, 1, 2), (8, 1, 2, 3)]
    assert lows("......xx .x......") == [(6, 1, 2, 3), (9, 0, 1, 2)]
    assert lows("xxxxxxxx .xx.....") == [(0, 7, 8, 9), (9, 1, 2, 3)]


def test_a_pause_of_a_step_between_bins_parts_two_runs_and_widens_both() -> None:
    # each may have lasted through the pause: one step between samples and one of nothing
    assert lows("......xx xx......", pauses={1: 1.0}) == [(6, 0, 2, 4), (9, 0, 2, 4)]
    assert lows("......xx xx......", pauses={1: 0.5}) == [(6, 3, 4, 5)]


def test_a_pause_before_and_behind_a_run_may_have_been_low() -> None:
    assert lows("........ xxxxxxxx ........", pauses={1: 3.0}) == [(11, 4, 8, 12)]
    assert lows("........ xxxxxxxx ........", pauses={2: 3.0}) == [(8, 4, 8, 12)]
    assert lows("........ xxxxxxxx ........ ........", pauses={1: 1.0, 2: 3.0, 3: 9.0}) == [(9, 4, 8, 12)]


def test_slow_looks_within_a_bin_widen_the_bounds() -> None:
    # looks up to 2 steps apart: n of them take at most 2 n, and one more pause at the ends
    assert lows("........ ..xxx... ........", gap_steps=2.0) == [(9, 1, 3, 8)]
    assert lows("........ xxx..... ........", gap_steps=2.0) == [(8, 1, 3, 8)]
    assert lows("........ .....xxx ........", gap_steps=2.0) == [(13, 1, 3, 8)]
    assert lows("........ xxxxxxxx ........", gap_steps=2.0) == [(8, 6, 8, 11)]  # one longest pause in 8 steps, one at the ends


def test_only_what_touches_the_time_asked_for_and_cut_to_it() -> None:
    bins = "........ xxxxxxxx xxxx.... ........"
    assert lows(bins, from_steps=10) == [(10, 9, 10, 11)]
    assert lows(bins, to_steps=18) == [(8, 9, 10, 11)]
    assert lows(bins, from_steps=20) == []
    assert lows(bins, to_steps=8) == []
    assert lows(bins, from_steps=19) == [(19, 0, 1, 2)]
    assert lows(bins, to_steps=9) == [(8, 0, 1, 2)]
    assert lows(bins, from_steps=8, to_steps=20) == [(8, 11, 12, 13)]


def test_a_recovery_of_one_sample_makes_one_stretch_of_two_but_not_one_of_two_samples() -> None:
    assert lows("xxxx.xxx ........", shortest_steps=4) == [(0, 6, 8, 10)]
    assert lows("xxx..xxx ........", shortest_steps=4) == [(0, 2, 3, 4), (5, 2, 3, 4)]


def test_a_recovery_as_long_as_what_counts_is_one_however_slow_the_looks() -> None:
    assert len(lows("xxxx.xxx ........", shortest_steps=1.01)) == 1
    assert len(lows("xxxx.xxx ........", shortest_steps=0.99)) == 2


def low(
    start_s: float, best_s: float, slack_s: float = 0.0, lowest_v: float = 2.0, below_s: float | None = None
) -> LowInterval:
    return LowInterval(start_s, best_s - slack_s, best_s, best_s + slack_s, best_s if below_s is None else below_s, lowest_v)


def test_end_and_slack() -> None:
    assert low(1.0, 0.5, 0.125).end_s == 1.5
    assert low(1.0, 0.5, 0.125).slack_s == 0.125
    assert LowInterval(0.0, 0.0, 2.0, 1.0, 1.0, 0.0).slack_s == 0.0


def test_cutting_takes_the_same_from_every_figure_and_never_below_nothing() -> None:
    whole = LowInterval(1.0, 0.25, 1.0, 2.0, 0.75, 3.0)
    assert _cut(whole, 0.0, 4.0) is whole
    assert _cut(whole, 1.0, 2.0) is whole
    assert _cut(whole, 1.125, 4.0) == LowInterval(1.125, 0.125, 0.875, 1.875, 0.625, 3.0)
    assert _cut(whole, 0.0, 1.875) == LowInterval(1.0, 0.125, 0.875, 1.875, 0.625, 3.0)
    assert _cut(whole, 1.25, 1.5) == LowInterval(1.25, 0.0, 0.25, 1.25, 0.0, 3.0)


def test_two_stretches_are_one_where_the_feed_was_below_for_half_of_the_whole() -> None:
    # 1 s below, 2 s up, 1 s below: half of 4 s
    (one,) = _merge([low(0.0, 1.0, 0.25, 3.0), low(3.0, 1.0, 0.125, 1.0)], 2.0, TH)
    # the outer edges are as vague as half the spread of both: (0.5 + 0.25) / 2
    assert one == LowInterval(0.0, 3.625, 4.0, 4.375, 2.0, 1.0)
    assert len(_merge([low(0.0, 1.0), low(3.0, 1.0)], 1.9, TH)) == 2
    assert len(_merge([low(0.0, 1.0), low(3.25, 1.0)], 3.0, TH)) == 2
    assert len(_merge([low(0.0, 1.0), low(3.0, 0.9)], 3.0, TH)) == 2


def test_merging_goes_on_with_what_was_merged() -> None:
    (one,) = _merge([low(0.0, 1.0), low(1.5, 1.0), low(3.0, 1.0)], 0.5, TH)
    assert (one.start_s, one.best_s, one.below_s) == (0.0, 4.0, 3.0)
    assert _merge([], 1.0, TH) == []


def test_an_uneven_slack_widens_upwards_by_the_larger() -> None:
    lop = LowInterval(0.0, 1.0, 1.0, 2.0, 1.0, 0.0)  # may be 1 s longer, not shorter
    (one,) = _merge([lop, replace(lop, start_s=1.5)], 0.5, TH)
    assert (one.low_s, one.best_s, one.high_s) == (1.5, 2.5, 4.5)


def test_runs_speak_of_their_own_trigger_and_of_battery_negative_alone() -> None:
    trace, feed = sampled("........ xx......")
    near, far = MINIMUM_V + TH.trigger_near_v - 1e-6, MINIMUM_V + TH.trigger_near_v + 1e-6
    assert usable_runs(trace, feed, near, TH) is trace.runs
    assert usable_runs(trace, feed, far, TH) is None
    assert usable_runs(trace, feed, 2 * MINIMUM_V - near, TH) is trace.runs
    assert usable_runs(trace, feed, 2 * MINIMUM_V - far, TH) is None
    assert usable_runs(trace, replace(feed, against="module ground"), MINIMUM_V, TH) is None
    assert usable_runs(replace(trace, runs=None), feed, MINIMUM_V, TH) is None


def test_single_samples_make_their_own_runs() -> None:
    trace, feed = sampled(". x x . x")
    made = usable_runs(replace(trace, runs=None), feed, MINIMUM_V, TH)
    assert made is not None
    assert (made.trigger_v, made.longest.tolist()) == (MINIMUM_V, [0, 1, 1, 0, 1])
    at_limit = usable_runs(replace(trace, runs=None), feed, 2.0, TH)  # at the limit is not below it
    assert at_limit is not None
    assert not at_limit.longest.any()
    two = replace(trace, runs=None, conversions=np.array([1, 1, 2, 1, 1]))
    assert usable_runs(two, feed, MINIMUM_V, TH) is None


def in_bins(*rows: tuple[float, float, float], pause_before: int | None = None) -> tuple[Trace, Feed]:
    """Bins of 1 s and 8 samples with (mean, lowest, highest), without runs."""
    start_s = np.arange(len(rows), dtype=np.float64)
    if pause_before is not None:
        start_s[pause_before:] += 0.5
    mean_v, lowest_v, highest_v = (np.array(v) for v in zip(*rows, strict=True))
    key = Channel("key_switch", mean_v, lowest_v, highest_v, EXACT)
    top = np.full(len(rows), 12.5)
    channels = {"battery": Channel("battery", top, top, top, EXACT), "key_switch": key}
    trace = Trace(start_s, start_s + 1.0, np.full(len(rows), 8, dtype=np.int64), np.full(len(rows), 0.125), channels)
    return trace, feed_of(trace)


HIGH, SIXTH, WHOLE = (12.0, 12.0, 12.0), (11.0, 2.0, 12.0), (3.0, 2.0, 4.0)
HALF = (4.0, 2.0, 8.0)  # at least (6 - 4) / (6 - 2) = 1/2; at most (8 - 4) / (8 - 6) = 2, which is all
FOUR = (5.0, 2.0, 10.0)  # at least 1/4, at most 5/4: all


def bounds(*rows: tuple[float, float, float], pause_before: int | None = None) -> list[tuple[float, float, float]]:
    found = _from_bins(*in_bins(*rows, pause_before=pause_before), MINIMUM_V)
    for one in found:
        assert one.best_s == one.below_s == pytest.approx((one.low_s + one.high_s) / 2)
    return [(round(b.start_s, 9), round(b.low_s, 9), round(b.high_s, 9)) for b in found]


def test_the_share_of_a_bin_below_follows_from_its_mean() -> None:
    _, feed = in_bins(HIGH, SIXTH, WHOLE, HALF, FOUR, (6.0, 6.0, 6.0), (5.0, 5.0, 5.0), (9.0, 2.0, 6.0))
    least, most = share_below(feed, MINIMUM_V)
    assert least.tolist() == [0.0, 0.0, 0.75, 0.5, 0.25, 0.0, 1.0, 0.0]
    assert most.tolist() == pytest.approx([0.0, 1 / 6, 1.0, 1.0, 1.0, 0.0, 1.0, 1.0])


def test_from_bins_alone_a_stretch_lies_between_the_least_and_the_most_of_its_bins() -> None:
    assert bounds(HIGH, HIGH) == []
    # at the bin's end, a sixth of it long and two pauses: nothing is sure where no bin is wholly low
    assert bounds(HIGH, SIXTH, HIGH) == [(round(2 - 1 / 6, 9), 0.0, round(1 / 6 + 0.25, 9))]
    assert bounds(HIGH, HALF, HIGH) == [(1.0, 0.0, 1.25)]
    assert bounds(HIGH, WHOLE, HIGH) == [(1.0, 1.0, 1.25)]
    assert bounds(HIGH, WHOLE, WHOLE) == [(1.0, 2.0, 2.25)]
    assert bounds(WHOLE, HIGH) == [(0.0, 1.0, 1.25)]


def test_a_bin_partly_low_beside_a_low_one_belongs_to_it() -> None:
    assert bounds(HIGH, SIXTH, WHOLE, HALF, HIGH) == [(round(2 - 1 / 6, 9), 1.5, round(1 / 6 + 2.25, 9))]
    assert bounds(SIXTH, WHOLE) == [(round(1 - 1 / 6, 9), 1.0, round(1 / 6 + 1.25, 9))]
    assert bounds(WHOLE, FOUR) == [(0.0, 1.25, 2.25)]


def test_two_bins_partly_low_may_share_one_stretch() -> None:
    each = round(2 / 6 + 0.25, 9)
    assert bounds(SIXTH, SIXTH) == [(round(1 - 1 / 6, 9), 0.0, each), (round(2 - 1 / 6, 9), 0.0, each)]
    assert bounds(SIXTH, SIXTH, SIXTH)[1] == (round(2 - 1 / 6, 9), 0.0, round(3 / 6 + 0.25, 9))
    assert bounds(SIXTH, HIGH, SIXTH)[1] == (round(3 - 1 / 6, 9), 0.0, round(1 / 6 + 0.25, 9))


def test_a_pause_parts_neighbours() -> None:
    assert bounds(WHOLE, WHOLE, pause_before=1) == [(0.0, 1.0, 1.25), (1.5, 1.0, 1.25)]


def close_up(edge_s: float, falling: bool, filter_s: float = 0.0) -> CloseUp:
    return CloseUp(edge_s, falling, edge_s - 1e-3, 1e-5, {}, {}, filter_s)


def test_close_ups_of_both_edges_give_start_and_end() -> None:
    rough = LowInterval(1.0, 0.25, 0.5, 0.75, 0.5, 2.0)
    sharp = _sharpened(rough, (close_up(1.001, True, 1e-4), close_up(1.499, False)), MINIMUM_V)
    # a period, and a tenth of the filter's time constant, at the worse of the two edges
    assert (sharp.start_s, sharp.best_s) == pytest.approx((1.001, 0.498))
    assert (sharp.low_s, sharp.high_s) == pytest.approx((0.498 - 2e-5, 0.498 + 2e-5))
    assert (sharp.below_s, sharp.lowest_v) == pytest.approx((0.498, 2.0))
    assert _sharpened(replace(rough, below_s=0.25), (close_up(1.0, True), close_up(1.5, False)), MINIMUM_V).below_s == 0.25


def test_one_edge_alone_or_edges_the_wrong_way_round_give_nothing() -> None:
    rough = LowInterval(1.0, 0.25, 0.5, 0.75, 0.5, 2.0)
    assert _sharpened(rough, (close_up(1.0, True),), MINIMUM_V) is rough
    assert _sharpened(rough, (close_up(1.5, False),), MINIMUM_V) is rough
    assert _sharpened(rough, (close_up(1.5, True), close_up(1.0, False)), MINIMUM_V) is rough
    brief = replace(rough, best_s=0.001)
    assert _sharpened(brief, (close_up(1.0005, True), close_up(1.0005, False)), MINIMUM_V) is brief


def test_the_lowest_of_a_stretch_over_several_bins() -> None:
    trace, feed = sampled(".....xxx xxxxxxxx x....... ........")
    (one,) = find_low(trace, replace(feed, lowest_v=np.array([3.0, 1.0, 2.0, 12.0])), MINIMUM_V, 1e-3, 0.0, 1.0, TH)
    assert one.lowest_v == 1.0


def test_without_runs_the_bins_are_asked() -> None:
    trace, feed = in_bins(HIGH, WHOLE, HIGH)
    (one,) = find_low(trace, feed, MINIMUM_V, 0.001, 0.0, 3.0, TH)
    assert (one.start_s, one.low_s, one.high_s) == (1.0, 1.0, 1.25)
