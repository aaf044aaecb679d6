"""Steady and brief drop of the feed, phase by phase, on a start that a test writes down; shares of bins worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from firstcrank.analysis.key import OffTime
from firstcrank.analysis.losses import Losses
from firstcrank.analysis.low_intervals import LowInterval
from firstcrank.analysis.obligations import feed_drop
from firstcrank.analysis.travel import Bounce, Lies, TravelWindow
from firstcrank.analysis.view import View
from firstcrank.model.context import Context
from firstcrank.model.judgement import Finding, Interval
from firstcrank.model.vocabulary import CheckId, Phase, Result
from firstcrank.trace import Uncertainty

from .plain_view import BIN_S, a_feed, at, border, crank_of, limits_with, loss, plain_view, put

Volts = NDArray[np.float64]
LIMIT_V = 2.0  # brief; the steady limits are 1 V, and 0.5 V for a warning


def phase(view: View, name: Phase) -> Interval:
    """The first interval of a phase."""
    return next(view.named(name))


def steady(view: View, name: Phase = Phase.CRANK) -> Finding:
    """The steady drop's finding."""
    return feed_drop.steady(view, phase(view, name), feed_drop.drop_windows(view, view.th.feed.steady_s))


def brief(view: View, name: Phase = Phase.CRANK) -> Finding:
    """The brief drop's finding."""
    return feed_drop.brief(view, phase(view, name), feed_drop.drop_windows(view, view.th.feed.brief_s))


def lower(volts: float, from_s: float, to_s: float, feed: Volts | None = None) -> Volts:
    """A feed that is lower for a while."""
    values = (a_feed() if feed is None else feed).copy()
    values[at(from_s) : at(to_s)] -= volts
    return values


# --- steady


@pytest.mark.parametrize(
    ("more_v", "result"),
    [(0.0, Result.PASS), (0.35, Result.PASS), (0.45, Result.WARN), (0.85, Result.WARN), (0.95, Result.FAIL)],
)
def test_a_steady_drop_is_held_against_its_limits(more_v: float, result: Result) -> None:
    """0.1 V and more of 1 V, warned of from 0.5 V on."""
    limits = limits_with(feed_drop_warn_v=0.5, feed_drop_fail_v=1.0)
    finding = steady(plain_view(key_switch=lower(more_v, 3.5, 4.5), limits=limits))
    assert finding.result is result
    assert finding.value is not None
    assert finding.value.value == pytest.approx(0.1 + more_v)
    assert (finding.phase, finding.crank, finding.limit) == (Phase.CRANK, 1, 1.0)


def test_the_worst_half_second_counts_and_not_the_mean() -> None:
    finding = steady(plain_view(key_switch=lower(1.0, 3.5, 4.0)))
    assert finding.value is not None
    assert finding.value.value == pytest.approx(1.1)
    assert finding.at_s == pytest.approx(3.5, abs=BIN_S)
    half = steady(plain_view(key_switch=lower(1.0, 3.5, 3.75)))
    assert half.value is not None
    assert half.value.value == pytest.approx(0.6, abs=0.01)


def test_a_loaded_feed_has_a_limit_of_its_own() -> None:
    limits = limits_with(feed_drop_fail_v=1.0, feed_drop_loaded_fail_v=0.6)
    feed = lower(0.7, 3.0, 5.0)
    assert steady(plain_view(key_switch=feed, limits=limits)).result is not Result.FAIL
    assert steady(plain_view(key_switch=feed, limits=limits, context=Context(feed_kind="loaded"))).result is Result.FAIL


def test_too_close_to_tell_is_undecided() -> None:
    u = Uncertainty(0.0, 0.05)
    near = steady(plain_view(key_switch=lower(0.85, 3.5, 4.5), u=u))
    assert near.result is Result.UNDECIDED
    assert "too close to" in near.reason
    exact = steady(plain_view(key_switch=lower(0.9, 3.5, 4.5), u=u))
    assert "exactly at" in exact.reason


def test_a_lead_at_the_top_of_its_range_makes_a_drop_undecided() -> None:
    feed = lower(1.5, 3.5, 4.5)
    share = 0.998
    for top_v, result in ((10.0 / share - 0.001, Result.UNDECIDED), (10.0 / share + 0.001, Result.FAIL)):
        view = plain_view(key_switch=feed, full_scale_v={"battery": top_v})
        assert steady(view).result is result
    assert steady(plain_view(key_switch=feed, full_scale_v={"key_switch": 8.4})).result is Result.UNDECIDED


def test_what_is_judged_begins_behind_the_rise_and_leaves_the_key_off_out() -> None:
    settle_s = 0.05
    gone = OffTime(border(5.5), border(6.0, BIN_S))
    view = plain_view(cranks=(crank_of(3.0, 5.0), crank_of(6.5, 7.0)), between=(gone,), off=border(7.6))
    judged = feed_drop.judged_bins(view)
    first = np.flatnonzero(judged)[0] * BIN_S
    assert 1.0 + BIN_S + settle_s <= first < 1.0 + 2 * BIN_S + settle_s
    assert judged[at(5.5) - 1]
    assert not judged[at(5.5) : at(6.0)].any()
    again = at(6.0) + int(np.flatnonzero(judged[at(6.0) :])[0])
    assert again * BIN_S == pytest.approx(6.0 + BIN_S + settle_s, abs=BIN_S)
    assert not judged[at(7.6) :].any()


def test_a_phase_shorter_than_half_a_window_is_covered_by_its_neighbours_and_a_longer_one_is_lacking() -> None:
    view = plain_view()
    keep = np.ones(len(view.trace), dtype=bool)
    for at_s in np.arange(3.0, 5.0, 0.4):  # a hole of 0.2 s in every 0.4 s of the crank
        keep[at(float(at_s)) : at(float(at_s) + 0.2)] = False
    trace = view.trace
    channels = {
        role: replace(c, mean_v=c.mean_v[keep], lowest_v=c.lowest_v[keep], highest_v=c.highest_v[keep])
        for role, c in trace.channels.items()
    }
    holed = plain_view(
        trace={
            "start_s": trace.start_s[keep], "end_s": trace.end_s[keep], "conversions": trace.conversions[keep],
            "gap_s": trace.gap_s[keep], "channels": channels,
        }
    )  # fmt: skip
    finding = steady(holed)
    assert finding.result is Result.UNDECIDED
    assert "not shown" in finding.reason
    short = plain_view(cranks=(crank_of(3.0, 3.2),))
    finding = steady(short, Phase.TURN)
    assert finding.result is Result.PASS


@pytest.mark.parametrize(("live_s", "result"), [(0.25, Result.PASS), (0.27, Result.UNDECIDED)])
def test_half_a_window_and_a_bounce_is_the_longest_that_is_covered(live_s: float, result: Result) -> None:
    view = plain_view(limits=limits_with(turn_bounce_max_s=0.01))
    windows = feed_drop.drop_windows(view, 0.5)
    none = replace(windows, mean_v=np.full(len(windows.mean_v), np.nan))
    interval = Interval(Phase.CRANK, 3.0, 3.0 + live_s, border(3.0), 1)
    assert feed_drop.steady(view, interval, none).result is result


# --- brief, and bounces of the travel


@pytest.mark.parametrize(("more_v", "result"), [(1.85, Result.PASS), (1.95, Result.FAIL)])
def test_a_brief_drop_is_a_mean_over_ten_milliseconds(more_v: float, result: Result) -> None:
    limits = limits_with(feed_drop_brief_fail_v=LIMIT_V)
    assert brief(plain_view(key_switch=lower(more_v, 4.0, 4.012), limits=limits)).result is result
    assert brief(plain_view(key_switch=lower(2 * more_v, 4.0, 4.0 + BIN_S), limits=limits)).result is Result.PASS, "4 of 12 ms"


def near_start(long_s: float, from_s: float = 2.95, allowed_s: float = 0.03) -> Finding:
    """A drop of 4 V in the travel, shortly before START."""
    limits = limits_with(turn_bounce_max_s=allowed_s, feed_drop_brief_fail_v=LIMIT_V)
    feed = lower(4.0, from_s, from_s + long_s)
    return brief(plain_view(key_switch=feed, limits=limits), Phase.TURN)


def test_a_drop_as_short_as_a_bounce_in_the_travel_is_one_and_is_told() -> None:
    finding = near_start(0.02)
    assert finding.result is Result.WARN
    assert finding.tolerated
    assert ": a bounce of the key's travel" in finding.reason
    assert finding.at_s == pytest.approx(2.95, abs=BIN_S)


def test_a_longer_drop_in_the_travel_fails_and_a_drop_elsewhere_too() -> None:
    assert near_start(0.04).result is Result.FAIL
    assert near_start(0.02, from_s=3.5).result is Result.PASS, "another phase"
    limits = limits_with(turn_bounce_max_s=0.03, feed_drop_brief_fail_v=LIMIT_V)
    assert brief(plain_view(key_switch=lower(4.0, 4.0, 4.02), limits=limits)).result is Result.FAIL


def test_a_drop_at_the_vague_end_of_the_travel_is_undecided() -> None:
    """0.15 s before START the travel is sure, up to 0.3 s it may be."""
    finding = near_start(0.02, from_s=2.75)
    assert finding.result is Result.UNDECIDED
    assert "may or may not" in finding.reason
    assert not finding.tolerated


# --- how long a drop lasts round a bounce


def excursion(means: Volts, lowest: Volts, highest: Volts, first: int, past: int) -> tuple[float, float]:
    """(least, likely) in bins, of drops over 2 V, battery 12 V throughout."""
    battery = np.full(len(means), 12.0)
    view = plain_view(
        bin_s=1.0, battery=battery, key_switch=means, lowest={"key_switch": lowest}, highest={"key_switch": highest}, on=None,
        cranks=(),
    )  # fmt: skip
    judged = np.ones(len(means), dtype=bool)
    return feed_drop._excursion_s(view, first, past, LIMIT_V, judged)


def test_whole_bins_over_the_limit_count_whole() -> None:
    means = np.array([11.0, 9.0, 8.0, 9.0, 11.0])
    assert excursion(means, means, means, 2, 3) == pytest.approx((3.0, 3.0))
    assert excursion(means, means, means, 1, 4) == pytest.approx((3.0, 3.0))


def test_part_of_a_bin_is_worked_out_from_its_mean() -> None:
    """Drops of 0 to 4 V with a mean of 3: at least (3 - 2) / (4 - 2) of it lies over 2 V, likely (3 - 0) / (4 - 0)."""
    means, lowest, highest = np.full(3, 12.0), np.full(3, 12.0), np.full(3, 12.0)
    means[1], lowest[1], highest[1] = 9.0, 8.0, 12.0
    least, likely = excursion(means, lowest, highest, 1, 2)
    assert least == pytest.approx(0.5)
    assert likely == pytest.approx(0.75)
    means[1] = 11.5  # a mean drop of 0.5 V: perhaps nothing but a spike
    least, likely = excursion(means, lowest, highest, 1, 2)
    assert least == 0.0
    assert likely == pytest.approx(0.125)


def test_it_reaches_as_far_as_bins_that_may_lie_over_and_no_further() -> None:
    means = np.array([8.0, 8.0, 12.0, 8.0, 8.0, 12.0, 8.0])
    assert excursion(means, means, means, 3, 5)[0] == pytest.approx(2.0)
    assert excursion(means, means, means, 0, 1)[0] == pytest.approx(2.0)
    assert excursion(means, means, means, 6, 7)[0] == pytest.approx(1.0)


def test_a_feed_above_its_source_within_a_bin_drops_by_nothing_there() -> None:
    """Highest 13 V: 0 V and not -1 V is the least of the bin's drop, so the mean of 2 V of 0 to 4 V is half of it."""
    means, lowest, highest = np.full(3, 12.0), np.full(3, 12.0), np.full(3, 12.0)
    means[1], lowest[1], highest[1] = 10.0, 8.0, 13.0
    assert excursion(means, lowest, highest, 1, 2)[1] == pytest.approx(0.5)


def with_bounce(around_s: float, allowed_s: float = 0.03) -> Finding:
    """A tolerated bounce of 8 ms at 2.95 s, and the feed 3 V low for so long on both sides of it."""
    limits = limits_with(turn_bounce_max_s=allowed_s, feed_drop_brief_fail_v=LIMIT_V)
    feed = lower(3.0, 2.95 - around_s, 2.958 + around_s) if around_s else a_feed()
    feed = put(feed, 0.0, 2.95, 2.958)
    view = plain_view(key_switch=feed, limits=limits, dropouts=(loss(2.95, 0.008, kind="tolerated", phase=Phase.TURN),))
    low = LowInterval(at(2.95) * BIN_S, 0.0078, 0.0078, 0.0078, 0.0078, 0.0)
    window = TravelWindow((2.85, 3.0), (2.7, 3.005), "as the key turned to START")
    view = replace(view, losses=Losses(view.dropouts, (Bounce(window, (low,), Lies.INSIDE),), {}, ()))
    return brief(view, Phase.TURN)


def test_a_tolerated_bounce_is_left_out_only_while_the_drop_round_it_is_as_short() -> None:
    assert with_bounce(0.0).result is Result.PASS
    longer = with_bounce(0.03)
    assert longer.result in (Result.FAIL, Result.UNDECIDED)
    assert "around a bounce" in longer.reason or "drop" in longer.reason


# --- above its source


def test_a_feed_above_its_source_has_another_one() -> None:
    def asked(above_v: float) -> Finding:
        view = plain_view(key_switch=put(a_feed(), 10.0 + above_v, 3.0, 5.0))
        windows = feed_drop.drop_windows(view, view.th.feed.steady_s)
        return feed_drop.above_source(view, phase(view, Phase.CRANK), windows)

    for above_v, result in ((-0.1, Result.PASS), (0.29, Result.PASS), (0.31, Result.UNDECIDED), (2.0, Result.UNDECIDED)):
        finding = asked(above_v)
        assert finding.result is result, above_v
        assert finding.check is CheckId.FEED_ABOVE_SOURCE
        assert finding.value is not None
        assert finding.value.value == pytest.approx(above_v)
    assert "leads exchanged" in asked(0.31).reason
