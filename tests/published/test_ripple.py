"""Crank speed against the textbook relation f = rpm x cylinders / 120 (four-stroke), and against what is no crank at all."""

from __future__ import annotations

import numpy as np
import pytest

from firstcrank.analysis.crank_speed import crank_speed
from firstcrank.analysis.evenness import unevenness
from firstcrank.thresholds.speed import SPEED
from firstcrank.trace import Channel, Trace, Uncertainty

# rpm -> ripple Hz for 3, 4, 5, 6, 8 cylinders: the relation's own table.
TABLE = {
    100: (2.5, 3.333, 4.167, 5.0, 6.667),
    130: (3.25, 4.333, 5.417, 6.5, 8.667),
    150: (3.75, 5.0, 6.25, 7.5, 10.0),
    180: (4.5, 6.0, 7.5, 9.0, 12.0),
    240: (6.0, 8.0, 10.0, 12.0, 16.0),
    300: (7.5, 10.0, 12.5, 15.0, 20.0),
}
CYLINDERS = (3, 4, 5, 6, 8)


def trace_of(battery: np.ndarray, step_s: float = 0.000768, noise_v: float = 0.005) -> Trace:
    start = np.arange(len(battery), dtype=np.float64) * step_s
    seen = battery + np.random.default_rng(0).normal(0, noise_v, len(battery))
    channel = Channel("battery", seen, seen - 0.01, seen + 0.01, Uncertainty(0.002, 0.005))
    return Trace(start, start + step_s, np.full(len(battery), 128), np.full(len(battery), 6e-6), {"battery": channel})


def ripple(
    hz: float, length_s: float = 3.0, swing_v: float = 0.3, each: np.ndarray | None = None, step_s: float = 0.000768
) -> np.ndarray:
    """A crank's battery: compressions of `hz`, each as deep as `each` says in turn."""
    t = np.arange(int((length_s + 1.0) / step_s)) * step_s
    depth = np.ones(1) if each is None else each
    which = np.floor(t * hz).astype(int) % len(depth)
    dip = depth[which] * swing_v * np.sin(np.pi * ((t * hz) % 1.0)) ** 2
    return np.where(t < 0.5, 12.5, 10.4 - 1.5 * np.exp(-(t - 0.5) / 0.08) - dip)


@pytest.mark.parametrize("rpm", sorted(TABLE))
@pytest.mark.parametrize("at", range(5))
def test_the_relation(rpm: int, at: int) -> None:
    hz, cylinders = TABLE[rpm][at], CYLINDERS[at]
    assert hz == pytest.approx(rpm * cylinders / 120.0, abs=6e-4)
    speed = crank_speed(trace_of(ripple(hz)), 0.5, 3.9, cylinders)
    assert speed.rpm is not None, speed.note
    assert speed.rpm == pytest.approx(rpm, rel=0.02)
    assert abs(speed.rpm - rpm) <= max(speed.expanded_rpm or 0.0, 0.01 * rpm)


@pytest.mark.parametrize("cylinders", [4, 6, 8])
def test_the_laboratory_ripple_of_2_hz_is_no_crank_speed(cylinders: int) -> None:
    """ISO 16750-2 and LV 124 start profiles ripple at 2 Hz: 60, 40, 30 rpm, which no starter turns a diesel at."""
    assert 2.0 * 120.0 / cylinders < SPEED.lowest_rpm
    t = np.arange(int(5.0 / 0.000768)) * 0.000768
    battery = np.where(t < 0.5, 12.5, 7.5 + 1.0 * np.sin(2 * np.pi * 2.0 * t))
    speed = crank_speed(trace_of(battery), 0.5, 4.8, cylinders)
    assert speed.rpm is None
    assert "implausible" in speed.note


@pytest.mark.parametrize("cylinders", CYLINDERS)
def test_an_uneven_engine_is_never_read_at_half_or_double_speed(cylinders: int) -> None:
    each = np.ones(cylinders)
    each[1] = 0.4
    speed = crank_speed(trace_of(ripple(180 * cylinders / 120.0, 4.0, each=each)), 0.5, 4.9, cylinders)
    assert speed.rpm is None or speed.rpm == pytest.approx(180, rel=0.02)


@pytest.mark.parametrize(
    ("battery", "begin_s", "end_s", "step_s", "cylinders", "expected"),
    [
        (ripple(9.0), 0.5, 1.2, 0.000768, 6, "steady cranking"),
        (ripple(9.0, step_s=0.05), 0.5, 3.9, 0.05, 6, "too far apart"),
        (ripple(9.0, swing_v=0.0), 0.5, 3.9, 0.000768, 6, "refused"),
        (ripple(9.0), 0.5, 3.9, 0.000768, None, "--cylinders"),
    ],
)
def test_what_cannot_be_told_is_refused(
    battery: np.ndarray, begin_s: float, end_s: float, step_s: float, cylinders: int | None, expected: str
) -> None:
    speed = crank_speed(trace_of(battery, step_s), begin_s, end_s, cylinders)
    assert speed.rpm is None
    assert expected in speed.note


def test_one_weak_compression_in_four_is_one_sentence() -> None:
    each = np.array([1.0, 0.86, 1.0, 1.0])
    speed = crank_speed(trace_of(ripple(6.0, 4.5, each=each), noise_v=0.002), 0.5, 5.4, 4)
    assert speed.rhythm is not None
    found = unevenness(speed.rhythm, 4)
    assert found is not None
    assert found.sentence.startswith("one compression in 4 sags 1")
    assert found.deficit == pytest.approx(0.14, abs=0.05)
    even = crank_speed(trace_of(ripple(6.0, 4.5), noise_v=0.002), 0.5, 5.4, 4)
    assert even.rhythm is not None
    assert unevenness(even.rhythm, 4) is None
