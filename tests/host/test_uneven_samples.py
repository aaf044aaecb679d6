"""A board that samples between its other work looks at uneven times: no dropout may be said to be shorter than it can have been."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from firstcrank.analysis.low_intervals import _from_runs
from firstcrank.trace import KeyRuns

SAMPLES_PER_BIN = 20


@dataclass
class Sampled:
    """What _from_runs needs of a trace and of its feed."""

    start_s: np.ndarray
    end_s: np.ndarray
    conversions: np.ndarray
    gap_s: np.ndarray
    lowest_v: np.ndarray

    def __len__(self) -> int:
        return len(self.start_s)


def run_at(below: list[bool]) -> int:
    return [*below, False].index(False)


@given(
    steps_us=st.lists(st.integers(80, 900), min_size=8 * SAMPLES_PER_BIN, max_size=8 * SAMPLES_PER_BIN),
    begin=st.floats(0.2, 0.5),
    length_us=st.integers(100, 30_000),
)
def test_the_upper_bound_holds(steps_us: list[int], begin: float, length_us: int) -> None:
    at_s = np.cumsum(steps_us) * 1e-6
    begin_s = begin * at_s[-1]
    end_s = min(begin_s + length_us * 1e-6, 0.9 * at_s[-1])
    below = ((at_s >= begin_s) & (at_s < end_s)).reshape(-1, SAMPLES_PER_BIN)
    gap_s = np.full(len(below), max(steps_us) * 1e-6)
    first, after = at_s.reshape(-1, SAMPLES_PER_BIN)[:, 0], np.append(at_s[SAMPLES_PER_BIN::SAMPLES_PER_BIN], at_s[-1])
    head = np.array([run_at(row.tolist()) for row in below])
    tail = np.array([run_at(row[::-1].tolist()) for row in below])
    trace = Sampled(first, after, np.full(len(below), SAMPLES_PER_BIN), gap_s, np.where(below.any(axis=1), 0.0, 12.0))
    found = _from_runs(trace, trace, 7.0, KeyRuns(7.0, below.sum(axis=1), head, tail), slice(0, len(trace)))  # type: ignore[arg-type]
    assert len(found) == int(below.any())
    for one in found:
        assert one.high_s >= end_s - begin_s - 1e-9


def test_one_late_look_is_not_a_short_dropout() -> None:
    """1.15 ms, seen once between two samples 0.6 ms away, beside nineteen that lie 0.1 ms apart: it may have been over 1 ms."""
    trace = Sampled(np.array([0.0]), np.array([0.0031]), np.array([SAMPLES_PER_BIN]), np.array([0.0006]), np.array([0.0]))
    (found,) = _from_runs(trace, trace, 7.0, KeyRuns(7.0, np.array([1]), np.array([0]), np.array([0])), slice(0, 1))  # type: ignore[arg-type]
    assert found.best_s < 0.001 < found.high_s
