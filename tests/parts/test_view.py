"""What is asked of a view: times, chosen bins, means with their uncertainty, the battery at rest."""

from __future__ import annotations

import numpy as np
import pytest

from firstcrank.analysis.key import OffTime
from firstcrank.analysis.view import _rest_v
from firstcrank.model.vocabulary import Phase
from firstcrank.trace import Uncertainty

from .plain_trace import flat, plain_trace
from .plain_view import BIN_S, a_feed, at, border, crank_of, plain_view, put


def test_the_feed_has_to_be_good_from_on_to_off() -> None:
    view = plain_view(off=border(7.5, BIN_S), on=border(1.0, BIN_S))
    assert (view.live_from_s, view.on_s) == (1.0, 1.0 + BIN_S)
    assert (view.live_to_s, view.off_s) == (7.5, 7.5)
    chosen = np.flatnonzero(view.live())
    assert (chosen[0], chosen[-1]) == (at(1.0), at(7.5) - 1)


def test_without_on_from_where_it_was_fed_back_or_first_live() -> None:
    assert plain_view(on=None, fed_back_until_s=1.5).live_from_s == 1.5
    late = plain_view(on=None, key_switch=put(a_feed(), 0.0, 0.0, 2.0))
    assert (late.live_from_s, late.on_s, late.off_s, late.live_to_s) == (2.0, None, None, 8.0)
    never = plain_view(on=None, key_switch=np.zeros(2048))
    assert never.live_from_s == 8.0


def test_time_with_the_key_off_between_cranks_is_not_live() -> None:
    gone = OffTime(border(5.5), border(6.0))
    live = plain_view(cranks=(crank_of(3.0, 5.0), crank_of(6.5, 7.0)), between=(gone,)).live()
    assert live[at(5.5) - 1]
    assert live[at(6.0)]
    assert not live[at(5.5) : at(6.0)].any()


def test_bins_wholly_inside() -> None:
    view = plain_view()
    assert np.flatnonzero(view.within(1.0, 1.0 + 2 * BIN_S)).tolist() == [256, 257]
    assert np.flatnonzero(view.within(1.0 + 0.1 * BIN_S, 1.0 + 2.9 * BIN_S)).tolist() == [257]
    assert int(view.in_phase(Phase.CRANK).sum()) == at(2.0)
    assert [i.name for i in view.named(Phase.AFTER, Phase.TURN)] == [Phase.TURN, Phase.AFTER]


def test_means_are_weighted_by_time_and_their_uncertainty_by_conversions() -> None:
    u = Uncertainty(0.0, 0.01, noise_v=0.32)
    view = plain_view(u=u)
    chosen = view.within(3.0, 3.0 + 2 * BIN_S)
    value = view.mean("battery", chosen)
    assert value.value == pytest.approx(10.0)
    assert value.u == pytest.approx(np.hypot(0.01, 0.32 / np.sqrt(64)))
    apart = view.difference("battery", "key_switch", chosen)
    assert apart.value == pytest.approx(0.1)
    assert apart.u == pytest.approx(np.sqrt(2) * np.hypot(0.01, 0.32 / np.sqrt(64)))


def test_the_battery_at_rest_is_its_median_before_on_or_in_the_first_second() -> None:
    battery = flat(4.0, 12.0)
    battery[:300] = 12.5  # of 512 in a second
    trace = plain_trace({"battery": battery, "key_switch": battery})
    assert _rest_v(trace, 0.5) == 12.5
    assert _rest_v(trace, None) == 12.5
    battery[:300] = 12.0
    battery[200:512] = 12.5
    assert _rest_v(trace, 0.3) == 12.0
    assert _rest_v(trace, None) == 12.5


def test_the_first_second_is_512_bins_and_not_one_more() -> None:
    battery = flat(4.0, 12.5)
    battery[:256] = 12.0
    assert _rest_v(plain_trace({"battery": battery, "key_switch": battery}), None) == pytest.approx(12.25)


def test_where_the_key_was_on_from_the_first_sample_ten_bins_are_asked() -> None:
    battery = flat(4.0, 12.0)
    battery[:5] = 11.0
    trace = plain_trace({"battery": battery, "key_switch": battery})
    assert _rest_v(trace, 0.0) == pytest.approx(11.5), "five of ten"
