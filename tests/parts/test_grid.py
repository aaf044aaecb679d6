"""The even grid and the moving mean, worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from firstcrank.analysis.grid import resampled, smoothed
from firstcrank.thresholds.speed import SPEED


def test_the_grid_is_that_of_the_first_to_before_the_last_time() -> None:
    grid_s, volts = resampled(np.asarray([1.0, 1.5, 2.0]), np.asarray([10.0, 11.0, 9.0]), 8.0)
    assert grid_s.tolist() == [1.0, 1.125, 1.25, 1.375, 1.5, 1.625, 1.75, 1.875]
    assert volts.tolist() == [10.0, 10.25, 10.5, 10.75, 11.0, 10.5, 10.0, 9.5]


def test_the_grid_is_400_hz_where_no_other_is_asked() -> None:
    grid_s, _ = resampled(np.asarray([3.0, 3.01]), np.asarray([0.0, 1.0]))
    assert np.diff(grid_s) == pytest.approx(0.0025)
    assert len(grid_s) == 4
    assert SPEED.grid_hz == 400.0


def test_two_points_are_the_fewest() -> None:
    assert [len(v) for v in resampled(np.asarray([1.0]), np.asarray([10.0]), 4.0)] == [0, 0]
    assert [len(v) for v in resampled(np.zeros(0), np.zeros(0), 4.0)] == [0, 0]
    assert [v.tolist() for v in resampled(np.asarray([1.0, 1.25]), np.asarray([10.0, 12.0]), 4.0)] == [[1.0], [10.0]]


@pytest.mark.parametrize(
    ("width", "expected"),
    [
        (0, [0.0, 6.0, 0.0, 12.0, 0.0]),
        (1, [0.0, 6.0, 0.0, 12.0, 0.0]),
        (2, [3.0, 3.0, 6.0, 6.0, 0.0]),  # each with the next; the last is held
        (3, [2.0, 2.0, 6.0, 4.0, 4.0]),  # each with both beside it; the ends are held
        (4, [1.5, 4.5, 4.5, 3.0, 3.0]),  # one before, two behind
        (5, [1.2, 3.6, 3.6, 3.6, 2.4]),
        (6, [0.0, 6.0, 0.0, 12.0, 0.0]),  # wider than the curve: as it is
    ],
)
def test_a_moving_mean(width: int, expected: list[float]) -> None:
    assert smoothed(np.asarray([0.0, 6.0, 0.0, 12.0, 0.0]), width) == pytest.approx(expected)


def test_ends_are_held_at_their_own_value() -> None:
    assert smoothed(np.asarray([3.0, 6.0, 9.0]), 3) == pytest.approx([4.0, 6.0, 8.0])
