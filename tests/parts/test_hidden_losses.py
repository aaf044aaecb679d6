"""Openings that a bin can't show one by one: the area missing from its mean that its longest run does not explain."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firstcrank.analysis.feed import feed_of
from firstcrank.analysis.hidden_losses import hidden_losses
from firstcrank.thresholds import thresholds_for
from firstcrank.trace import Channel, KeyRuns, Trace, Uncertainty

TH = replace(thresholds_for(12).feed, input_s=0.0)  # a quick input: areas are those of the openings alone
EXACT = Uncertainty(0.0, 0.0)
PER_BIN, STEP_S = 32, 1e-4


def bins_with(
    mean_v: float,
    *,
    longest: int = 2,
    head: int = 0,
    tail: int = 0,
    low_v: float = 2.0,
    source_v: float = 12.0,
    filter_s: float = 0.0,
) -> Trace:
    """Nine bins at 12 V, the fifth with openings down to `low_v` and this mean."""
    mean, lowest, top = np.full(9, 12.0), np.full(9, 12.0), np.full(9, 12.0)
    source = np.full(9, 12.0)
    mean[4], lowest[4], source[4] = mean_v, low_v, source_v
    runs = []
    for value in (longest, head, tail):
        row = np.zeros(9, dtype=np.int64)
        row[4] = value
        runs.append(row)
    start = np.arange(9, dtype=np.float64) * PER_BIN * STEP_S
    return Trace(
        start, np.asarray(start + PER_BIN * STEP_S, dtype=np.float64), np.full(9, PER_BIN, dtype=np.int64), np.full(9, STEP_S),
        {"battery": Channel("battery", source, source, source, EXACT), "key_switch": Channel("key_switch", mean, lowest, top, EXACT)},
        runs=KeyRuns(6.0, runs[0], runs[1], runs[2], filter_s),
    )  # fmt: skip


def hidden(trace: Trace, *, minimum_v: float = 6.0) -> tuple[int, float]:
    chosen = np.zeros(9, dtype=bool)
    chosen[4] = True
    return hidden_losses(trace, feed_of(trace), minimum_v, chosen, TH)


def mean_of(samples_low: float, low_v: float = 2.0) -> float:
    return 12.0 - (12.0 - low_v) * samples_low / PER_BIN


@pytest.mark.parametrize(("samples", "more"), [(2.0, 0), (2.28, 0), (2.32, 1), (3.99, 1), (4.01, 2), (5.99, 2), (6.01, 3)])
def test_each_area_of_the_longest_that_is_missing_is_one_opening_more(samples: float, more: int) -> None:
    count, time_s = hidden(bins_with(mean_of(samples)))
    assert count == more
    assert time_s == pytest.approx(more * 2 * STEP_S)


def test_runs_at_the_ends_explain_their_share() -> None:
    assert hidden(bins_with(mean_of(5.0), head=1, tail=2))[0] == 1  # the longest is the tail: 3 shown, 2 missing
    assert hidden(bins_with(mean_of(4.0), longest=2, head=1, tail=1))[0] == 0
    assert hidden(bins_with(mean_of(3.0), longest=2, head=2, tail=1))[0] == 0
    assert hidden(bins_with(mean_of(6.0), longest=2, head=2, tail=2))[0] == 1


def test_a_bin_low_throughout_or_not_at_all_hides_none() -> None:
    assert hidden(bins_with(2.0, longest=PER_BIN, head=PER_BIN, tail=PER_BIN)) == (0, 0.0)
    assert hidden(bins_with(mean_of(8.0), longest=0)) == (0, 0.0)


def test_a_shallow_graze_is_no_opening() -> None:
    assert hidden(bins_with(mean_of(8.0, 10.99), low_v=10.99))[0] == 3
    assert hidden(bins_with(mean_of(8.0, 11.01), low_v=11.01))[0] == 0


def test_what_the_source_lost_too_is_not_missing() -> None:
    # the mean is 2.5 V down; with its source 2 V down, only 0.5 V are the feed's own: 1.6 samples, which the run of 2 explains
    assert hidden(bins_with(mean_of(8.0), source_v=12.0))[0] == 3
    assert hidden(bins_with(mean_of(8.0), source_v=10.0))[0] == 0
    assert hidden(bins_with(mean_of(8.0), source_v=11.0))[0] == 2  # 1.5 V: 4.8 samples, 2.8 more than shown, of 2 each


def test_the_input_s_flanks_widen_each_opening() -> None:
    # a run of 2 with a time constant of 2 steps explains 4 samples
    assert hidden(bins_with(mean_of(4.0), filter_s=2 * STEP_S))[0] == 0
    assert hidden(bins_with(mean_of(7.9), filter_s=2 * STEP_S))[0] == 1
    assert hidden(bins_with(mean_of(8.1), filter_s=2 * STEP_S))[0] == 2


def test_without_runs_or_bins_nothing_can_be_told() -> None:
    trace = bins_with(mean_of(8.0))
    assert hidden(replace(trace, runs=None)) == (0, 0.0)
    assert hidden(trace, minimum_v=7.0) == (0, 0.0)
    assert hidden_losses(trace, feed_of(trace), 6.0, np.zeros(9, dtype=bool), TH) == (0, 0.0)
