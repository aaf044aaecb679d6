"""One loss of the feed: which bins it touches, whether it follows its source, and its kind at each border."""

from __future__ import annotations

import math

import numpy as np
import pytest

from firstcrank.analysis.cranks import CrankInterval
from firstcrank.analysis.feed import feed_of
from firstcrank.analysis.key import Key
from firstcrank.analysis.losses import _is_tolerated, _kind, bins_of, follows_source, tolerated_bins, undecided_bins
from firstcrank.analysis.low_intervals import LowInterval
from firstcrank.analysis.travel import Bounce, Lies, TravelWindow
from firstcrank.limits import shipped
from firstcrank.thresholds import thresholds_for

from .plain_trace import BIN_S, plain_trace
from .plain_view import border, crank_of, loss

LIMITS = shipped(12)  # minimum 7 V, dead below 2 V, a loss counts from 1 ms on, a bounce takes up to 10 ms, a drop up to 1 V
TH = thresholds_for(12)
COUNT = 2048
WINDOW = TravelWindow((0.0, 4.0), (0.0, 4.0), "as the key turned to START")
TRACE = plain_trace({"battery": np.full(COUNT, 12.5), "key_switch": np.full(COUNT, 12.0)})


def low(start_s: float, best_s: float, slack_s: float = 0.0, lowest_v: float = 0.0) -> LowInterval:
    return LowInterval(start_s, best_s - slack_s, best_s, best_s + slack_s, best_s, lowest_v)


@pytest.mark.parametrize(
    ("start", "end", "first", "past"),
    [(10.0, 11.0, 10, 11), (10.5, 10.5, 10, 11), (9.9, 11.1, 9, 12), (10.0, 10.0, 10, 11), (0.0, 0.5, 0, 1), (2049.0, 2050.0, 2047, 2048)],
)  # fmt: skip
def test_a_stretch_touches_at_least_one_bin(start: float, end: float, first: int, past: int) -> None:
    assert bins_of(TRACE, start * BIN_S, end * BIN_S) == slice(first, past)


def follows(feed_v: float, battery_v: float, *, leaves: int = 0, bins: int = 512) -> bool:
    """A loss of so many bins in which the feed lies at 0 V for the first `leaves` of them."""
    battery, key = np.full(COUNT, 12.5), np.full(COUNT, 12.0)
    battery[100 : 100 + bins], key[100 : 100 + bins] = battery_v, feed_v
    key[100 : 100 + leaves] = 0.0
    trace = plain_trace({"battery": battery, "key_switch": key})
    return follows_source(trace, feed_of(trace), LIMITS, low(100 * BIN_S, bins * BIN_S), TH)


def test_a_feed_follows_its_source_within_the_drop_allowed() -> None:
    assert follows(5.0, 6.0)
    assert not follows(5.0, 6.001)
    assert follows(6.999, 7.999)
    assert not follows(6.999, 8.0)  # a source a volt over the minimum is no reason to be below it


def test_a_loss_of_its_own_within_may_take_a_twentieth_of_the_time() -> None:
    assert follows(5.0, 5.5, leaves=25)  # of 512: 25.6
    assert not follows(5.0, 5.5, leaves=26)


def test_a_loss_of_its_own_is_never_nearly_half_of_a_short_one() -> None:
    assert not follows(5.0, 5.5, leaves=1, bins=1)


def test_a_brief_loss_within_a_bin_leaves_its_source_too() -> None:
    battery, key = np.full(COUNT, 6.0), np.full(COUNT, 5.5)
    for lowest_v, expected in ((5.0, True), (4.999, False)):
        trace = plain_trace({"battery": battery, "key_switch": key}, lowest={"key_switch": np.full(COUNT, lowest_v)})
        assert follows_source(trace, feed_of(trace), LIMITS, low(1.0, 1.0), TH) is expected


def kind_of(
    one: LowInterval, bounce: Bounce | None = None, *, key: Key | None = None, cranks: tuple[CrankInterval, ...] = ()
) -> tuple[str, str]:
    return _kind(TRACE, feed_of(TRACE), LIMITS, one, bounce, key or Key(None, None), cranks, TH)


def bounce_of(*members: LowInterval, lies: str = "INSIDE") -> Bounce:
    return Bounce(WINDOW, members, Lies[lies])


def test_a_loss_counts_where_it_surely_lasts_longer_than_the_shortest() -> None:
    assert kind_of(low(1.0, 0.002)) == ("counts", "")
    assert kind_of(low(1.0, 0.0012, 0.0002))[0] == "undecided"
    assert kind_of(low(1.0, 0.0012, 0.0003))[0] == "undecided"
    assert kind_of(low(1.0, 0.0012, 0.0001)) == ("counts", "")
    assert kind_of(low(1.0, 0.0008, 0.0003))[0] == "undecided"
    assert kind_of(low(1.0, 0.0008, 0.0001)) == ("short", "")


def test_a_bounce_surely_within_the_travel_and_surely_short_is_tolerated() -> None:
    fine, too_long = low(1.0, 0.0099), low(1.0, 0.0101)
    assert kind_of(fine, bounce_of(fine)) == ("tolerated", "")
    assert kind_of(too_long, bounce_of(too_long)) == ("counts", "")
    short = low(1.0, 0.0005)
    assert kind_of(short, bounce_of(short)) == ("tolerated", "")
    assert kind_of(short, bounce_of(short, lies="VAGUE")) == ("short", "")
    assert kind_of(fine, bounce_of(fine, lies="VAGUE")) == ("undecided", "it may or may not be a bounce of the key's travel")
    vague = low(1.0, 0.0101, 0.0005)
    assert kind_of(vague, bounce_of(vague)) == (
        "undecided", "it may or may not be longer than the bounce allowed while the key travels"
    )  # fmt: skip


def test_tolerated_by_itself() -> None:
    assert not _is_tolerated(None, 1.0)
    exact = bounce_of(low(1.0, 0.25))
    assert _is_tolerated(exact, 0.25)
    assert not _is_tolerated(exact, 0.2499)
    assert not _is_tolerated(bounce_of(low(1.0, 0.25), lies="VAGUE"), 0.25)


def test_a_feed_that_never_comes_back_is_undecided() -> None:
    gone = Key(None, None, dead_from_s=3.0)
    assert kind_of(low(3.0, 1.0), key=gone)[0] == "undecided"
    assert kind_of(low(3.0, 0.999), key=gone) == ("counts", "")  # it came back before the end
    assert kind_of(low(3.0, 1.0)) == ("counts", "")
    assert kind_of(low(2.0, 1.0), key=gone) == ("counts", "")


def test_dead_for_half_a_second_before_the_crank_may_have_been_the_key() -> None:
    on = Key(border(0.5), None)
    crank = (crank_of(2.0, 3.0, wide_s=0.25),)  # live from 1.75 s at the earliest
    assert kind_of(low(1.0, 0.5), key=on, cranks=crank)[0] == "undecided"
    assert kind_of(low(1.0, 0.499), key=on, cranks=crank) == ("counts", "")
    assert kind_of(low(1.0, 0.5, lowest_v=2.0), key=on, cranks=crank) == ("counts", "")
    assert kind_of(low(1.0, 0.5, lowest_v=1.99), key=on, cranks=crank)[0] == "undecided"
    assert kind_of(low(1.0, 0.5), cranks=crank) == ("counts", "")
    assert kind_of(low(1.25, 0.5), key=on, cranks=crank) == ("counts", "")  # it ends with the crank's begin
    assert kind_of(low(1.0, 0.5), key=on)[0] == "undecided"


def test_as_low_as_the_minimum_by_the_exact_reading() -> None:
    assert kind_of(low(1.0, 0.1, lowest_v=7.0)) == ("counts", "")
    assert kind_of(low(1.0, 0.1, lowest_v=7.001)) == ("undecided", "that is too close to the module's minimum to tell")


def touched(chosen: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> tuple[int, int]:
    at = np.flatnonzero(chosen)
    return int(at[0]), int(at[-1])


def test_bins_of_a_tolerated_bounce_and_of_what_is_undecided() -> None:
    one = low(10.5 * BIN_S, 3 * BIN_S)
    fine, wide = bounce_of(one), bounce_of(one, lies="VAGUE")
    allowed_s = 4 * BIN_S
    assert touched(tolerated_bins(TRACE, (fine,), allowed_s)) == (10, 13)
    assert not tolerated_bins(TRACE, (wide,), allowed_s).any()
    short = loss(one.start_s, 3 * BIN_S, kind="short")
    assert touched(undecided_bins(TRACE, (short,), (wide,), allowed_s)) == (10, 13)
    assert not undecided_bins(TRACE, (short,), (fine,), allowed_s).any()
    assert not undecided_bins(TRACE, (loss(one.start_s, 3 * BIN_S),), (wide,), allowed_s).any()
    assert touched(undecided_bins(TRACE, (loss(20.5 * BIN_S, BIN_S, kind="undecided"),), (), allowed_s)) == (20, 21)


def test_the_input_smears_a_loss_by_a_tenth_of_a_millisecond() -> None:
    smear = 1e-4 / BIN_S
    for extra, first, last in ((0.001, 10, 13), (-0.001, 9, 14)):
        one = low((10 + smear + extra) * BIN_S, (4 - 2 * smear - 2 * extra) * BIN_S)
        assert touched(tolerated_bins(TRACE, (bounce_of(one),), 1.0)) == (first, last)
        undecided = loss(one.start_s, one.best_s, kind="undecided")
        assert touched(undecided_bins(TRACE, (undecided,), (), 1.0)) == (first, last)
    assert math.isclose(smear, 0.0512)
