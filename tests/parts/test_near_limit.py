"""Where the feed may be below the minimum for as long as counts: the level, the share of a bin, losses and dead time left out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from firstcrank.analysis.intervals import Stretch
from firstcrank.analysis.near_limit import _lost, near_minimum
from firstcrank.model.judgement import Dropout
from firstcrank.trace import Uncertainty

from .plain_view import BIN_S, a_feed, at, limits_with, loss, plain_view, put

BY_50_MV = Uncertainty(0.0, 0.025)  # a standard uncertainty: the expanded one is twice that


def near(
    volts: float, bins: int = 1, *, shortest_s: float = 0.001, start_s: float = 6.0, losses: tuple[Dropout, ...] = ()
) -> tuple[Stretch, ...]:
    feed = put(a_feed(), volts, start_s, start_s + bins * BIN_S)
    return near_minimum(plain_view(key_switch=feed, u=BY_50_MV, dropouts=losses, limits=limits_with(dropout_min_s=shortest_s)))


def test_near_is_within_the_expanded_uncertainty_of_the_minimum() -> None:
    assert near(7.049) == ((6.0, 6.0 + BIN_S),)
    assert near(7.051) == ()


def test_it_must_last_as_long_as_counts() -> None:
    assert near(7.0, 1, shortest_s=BIN_S) == ((6.0, 6.0 + BIN_S),)
    assert near(7.0, 1, shortest_s=0.0045) == ()
    assert near(7.0, 2, shortest_s=0.0045) == ((6.0, 6.0 + 2 * BIN_S),)


def test_time_before_on_is_left_out() -> None:
    assert near(7.0, 256, start_s=0.5) == ((1.0 + BIN_S, 1.5),)  # ON at the latest
    assert near(7.0, 4, start_s=0.5) == ()


def test_of_a_bin_only_the_share_that_may_be_low_counts() -> None:
    # mean 11 V, highest 12 V: a level of 7.05 V leaves (12 - 11) / (12 - 7.05) of 3.9 ms, 0.79 ms
    at_s = at(6.0)
    mean_v, low_v, high_v = (put(a_feed(), v, 6.0, 6.0 + BIN_S) for v in (11.0, 7.0, 12.0))
    assert low_v[at_s] == 7.0
    for shortest_s, count in ((0.00078, 1), (0.0008, 0)):
        view = plain_view(
            key_switch=mean_v, lowest={"key_switch": low_v}, highest={"key_switch": high_v}, u=BY_50_MV,
            limits=limits_with(dropout_min_s=shortest_s),
        )  # fmt: skip
        assert len(near_minimum(view)) == count


def test_a_loss_is_judged_as_a_loss_with_the_bins_beside_it() -> None:
    view = plain_view(dropouts=(loss(6.0 + 0.5 * BIN_S, BIN_S),))
    chosen = np.flatnonzero(_lost(view)) - at(6.0)
    assert chosen.tolist() == [-1, 0, 1, 2]
    assert near(7.0, 3, losses=(loss(6.0 + 0.5 * BIN_S, BIN_S),)) == ()
    assert not _lost(plain_view()).any()
    first = replace(loss(0.0, 0.5 * BIN_S))
    assert np.flatnonzero(_lost(plain_view(dropouts=(first,)))).tolist() == [0, 1]
