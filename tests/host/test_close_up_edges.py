"""Durations at the vehicle from readings behind the input filter: simulated RC low-pass, noise, sampling (synthetic)."""

from __future__ import annotations

import numpy as np
import pytest

from firstcrank.analysis.close_up_edges import edge_near, unfiltered
from firstcrank.trace import CloseUp

FINE_S = 0.1e-6
PERIOD_S = 6e-6
LIMIT_V = 7.0
MINIMAL_TAU_S, BUILD_24_TAU_S = 56.4e-6, 90.9e-6  # 33k || 6.8k and 100k || 10k with 10 nF


def reading(feed_v: np.ndarray, tau_s: float, rng: np.random.Generator, noise_v: float) -> tuple[np.ndarray, float]:
    """What the converter reads every PERIOD_S of a feed on a grid of FINE_S, and the time of the first reading."""
    level, out = feed_v[0], np.empty_like(feed_v)
    share = 1.0 - np.exp(-FINE_S / tau_s)
    for i, volts in enumerate(feed_v):
        level += share * (volts - level)
        out[i] = level
    first = int(rng.integers(0, round(PERIOD_S / FINE_S)))
    seen = out[first :: round(PERIOD_S / FINE_S)]
    return seen + rng.normal(0.0, noise_v, len(seen)), first * FINE_S


def close_up(volts: np.ndarray, first_s: float, tau_s: float, falling: bool) -> CloseUp:
    """As the board makes it: the edge is where the reading crossed the trigger."""
    crossed = volts < LIMIT_V
    at = np.flatnonzero(crossed)[0] if falling else np.flatnonzero(crossed)[-1] + 1
    return CloseUp(first_s + at * PERIOD_S, falling, first_s, PERIOD_S, {"key_switch": volts}, {"key_switch": 0.0}, tau_s)


@pytest.mark.parametrize("tau_s", [MINIMAL_TAU_S, BUILD_24_TAU_S])
@pytest.mark.parametrize("low_v", [0.0, 3.0])
def test_a_dropout_of_100_us_at_the_vehicle_is_measured_within_10_us(tau_s: float, low_v: float) -> None:
    rng = np.random.default_rng(7)
    errors, uncorrected = [], []
    for _ in range(60):
        t = np.arange(0.0, 0.004, FINE_S)
        begin_s, length_s = 0.0015 + rng.uniform(0, PERIOD_S), 100e-6
        if tau_s == BUILD_24_TAU_S or low_v:
            length_s = 300e-6  # shorter ones do not take this filter across the limit for certain
        feed_v = np.where((t >= begin_s) & (t < begin_s + length_s), low_v, 12.0)
        volts, first_s = reading(feed_v, tau_s, rng, 0.006)
        edges = []
        for falling in (True, False):
            piece = close_up(volts, first_s, tau_s, falling)
            found = edge_near((piece,), falling, piece.edge_s, LIMIT_V)
            assert found is not None
            edges.append(found[0])
        errors.append(edges[1] - edges[0] - length_s)
        raw = [close_up(volts, first_s, tau_s, falling).edge_s for falling in (True, False)]
        uncorrected.append(raw[1] - raw[0] - length_s)
    assert np.abs(errors).max() < 10e-6
    assert np.abs(uncorrected).max() > 10e-6  # without the correction the filter would show


def test_a_close_up_without_a_known_filter_is_taken_as_it_is() -> None:
    volts = np.where(np.arange(100) < 50, 12.0, 0.0)
    piece = close_up(volts, 0.0, 0.0, True)
    assert edge_near((piece,), True, piece.edge_s, LIMIT_V) == (piece.edge_s, PERIOD_S)
    assert edge_near((piece,), False, piece.edge_s, LIMIT_V) is None


def test_unfiltered_undoes_the_filter() -> None:
    t = np.arange(0.0, 0.002, PERIOD_S)
    step = 12.0 * (1.0 - np.exp(-t / MINIMAL_TAU_S))  # closed form of a charging RC
    assert np.abs(unfiltered(step, PERIOD_S, MINIMAL_TAU_S)[2:] - 12.0).max() < 0.7  # first-order difference: tau against 6 us
