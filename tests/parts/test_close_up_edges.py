"""When the feed crossed the limit, got back from a reading behind a first-order filter: v(t) = V exp(-t / tau), any textbook."""

from __future__ import annotations

import numpy as np
import pytest

from firstcrank.analysis.close_up_edges import edge_near, unfiltered
from firstcrank.trace import CloseUp, FloatArray

PERIOD_S, TAU_S, LIMIT_V, HIGH_V = 6e-6, 56e-6, 7.0, 12.0
COUNT = 128


def reading(fell_s: float, falling: bool, tau_s: float = TAU_S) -> tuple[FloatArray, FloatArray]:
    """(times, reading) of a feed that goes from 12 V to 0 V at `fell_s`, or back."""
    at_s = np.arange(COUNT, dtype=np.float64) * PERIOD_S
    gone = np.exp(-np.clip(at_s - fell_s, 0.0, None) / tau_s)
    return at_s, np.asarray(HIGH_V * (gone if falling else 1.0 - gone), dtype=np.float64)


def close_up(fell_s: float, falling: bool, filter_s: float = TAU_S, start_s: float = 2.0) -> CloseUp:
    """Its edge where the reading, which lags, crosses the limit."""
    at_s, volts = reading(fell_s, falling)
    crossed = (volts < LIMIT_V) if falling else (volts >= LIMIT_V)
    edge_s = start_s + float(at_s[np.flatnonzero(crossed)[0]])
    return CloseUp(edge_s, falling, start_s, PERIOD_S, {"key_switch": volts}, {"key_switch": 0.0}, filter_s)


@pytest.mark.parametrize("falling", [True, False])
@pytest.mark.parametrize("fell_s", [150e-6, 203e-6, 298.7e-6])
def test_the_feed_crossed_when_it_did(falling: bool, fell_s: float) -> None:
    seen = close_up(fell_s, falling)
    lag_s = TAU_S * float(np.log(HIGH_V / LIMIT_V) if falling else np.log(HIGH_V / (HIGH_V - LIMIT_V)))
    assert seen.edge_s - 2.0 >= fell_s + lag_s - PERIOD_S, "the reading lags"
    found = edge_near((seen,), falling, 2.0 + fell_s, LIMIT_V)
    assert found is not None
    assert found[0] == pytest.approx(2.0 + fell_s, abs=PERIOD_S)
    assert found[1] == pytest.approx(PERIOD_S + 0.1 * TAU_S)


@pytest.mark.parametrize("falling", [True, False])
def test_a_lead_converted_later_is_that_much_later(falling: bool) -> None:
    seen = close_up(203e-6, falling)
    later = CloseUp(seen.edge_s + 4e-6, falling, 2.0, PERIOD_S, seen.volts, {"key_switch": 4e-6}, TAU_S)
    one, other = (edge_near((c,), falling, 2.0, LIMIT_V) for c in (seen, later))
    assert one is not None
    assert other is not None
    assert other[0] - one[0] == pytest.approx(4e-6, abs=1e-9)


def test_without_a_filter_or_without_readings_the_edge_is_the_readings() -> None:
    seen = close_up(203e-6, True)
    for volts, filter_s in ((seen.volts, 0.0), ({}, TAU_S), ({"key_switch": np.zeros(1)}, TAU_S)):
        bare = CloseUp(seen.edge_s, True, 2.0, PERIOD_S, volts, {"key_switch": 0.0}, filter_s)
        found = edge_near((bare,), True, seen.edge_s, LIMIT_V)
        assert found is not None
        assert found[0] == seen.edge_s


def test_only_an_edge_of_its_direction_and_within_2_ms_is_taken_and_the_nearest() -> None:
    seen = close_up(203e-6, True, 0.0)
    later = CloseUp(seen.edge_s + 0.0015, True, 2.0015, PERIOD_S, seen.volts, {"key_switch": 0.0}, 0.0)
    assert edge_near((seen,), False, seen.edge_s, LIMIT_V) is None
    assert edge_near((seen,), True, seen.edge_s + 0.0021, LIMIT_V) is None
    assert edge_near((seen,), True, seen.edge_s - 0.0021, LIMIT_V) is None
    assert edge_near((), True, 0.0, LIMIT_V) is None
    for at_s, nearest in ((seen.edge_s + 0.0007, seen), (seen.edge_s + 0.0008, later)):
        found = edge_near((seen, later), True, at_s, LIMIT_V)
        assert found is not None
        assert found[0] == nearest.edge_s


def test_the_input_is_got_back_from_the_output() -> None:
    """A ramp of 1 V/ms behind the filter is late by tau: v_out = v_in - rate * tau once it has settled."""
    ramp = np.arange(40, dtype=np.float64) * 0.006
    assert unfiltered(ramp, PERIOD_S, TAU_S)[1:] == pytest.approx(ramp[1:] + 1000.0 * TAU_S)
    assert unfiltered(np.full(5, 3.0), PERIOD_S, TAU_S) == pytest.approx(np.full(5, 3.0))
    assert unfiltered(ramp, PERIOD_S, 0.0) == pytest.approx(ramp)
