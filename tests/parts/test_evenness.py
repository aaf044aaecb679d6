"""Evenness of the compressions on rhythms drawn compression by compression."""

from __future__ import annotations

import numpy as np
import pytest

from firstcrank.analysis.crank_speed import Rhythm
from firstcrank.analysis.evenness import Uneven, _depths, unevenness

POINTS = 20  # of one compression


def rhythm_of(depths: list[float], spare: int = 1, begin: float = 0.0) -> Rhythm:
    """A top of 0 V on both sides of each low; `spare` compressions more at both ends. The phase turns once a compression."""
    shape = np.zeros(POINTS)
    shape[8:12] = -1.0
    every = [depths[0]] * spare + depths + [depths[-1]] * spare
    swing_v = np.concatenate([depth * shape for depth in every])
    at_s = np.arange(len(swing_v), dtype=np.float64) * 0.005
    return Rhythm(10.0, at_s, np.asarray(swing_v), np.asarray(2.0 * np.pi * (begin + (np.arange(len(swing_v)) + 0.5) / POINTS)))


def with_weak(cycles: int, weak: float, cylinders: int = 4, which: int = 2) -> list[float]:
    return [weak if i % cylinders == which else 1.0 for i in range(cycles * cylinders)]


def jagged(mean: float, spread: float) -> list[float]:
    """Four cycles of four cylinders; one compression's repeats lie `spread` above and below `mean` in turn."""
    depths = with_weak(4, mean)
    for cycle in range(4):
        depths[cycle * 4 + 2] += spread if cycle % 2 else -spread
    return depths


def figures(found: Uneven | None) -> list[float]:
    assert found is not None
    return [found.cylinders, found.deficit, found.u]


# --- depths


def test_depths_in_their_order_without_the_first_and_the_last_two() -> None:
    """The phase begins within the first whole turn, so the turns at both ends are left out: they are not whole."""
    depths = [0.1, 0.2, 0.3, 0.4, 0.5, 0.6]
    rhythm = rhythm_of(depths, spare=2)  # turns 0.025 to 9.975: ten compressions, numbers 2 to 7 are those above
    assert _depths(rhythm).tolist() == pytest.approx(depths)


@pytest.mark.parametrize("tops", [(0.4, 0.2), (0.2, 0.4)])
def test_a_depth_is_from_the_mean_of_the_tops_beside_it(tops: tuple[float, float]) -> None:
    rhythm = rhythm_of([0.5] * 3, spare=2)
    rhythm.swing_v[3 * POINTS : 4 * POINTS] = 0.0
    rhythm.swing_v[3 * POINTS + 9], rhythm.swing_v[3 * POINTS + 10] = (
        tops  # the last of the first half, the first of the second
    )
    rhythm.swing_v[3 * POINTS + 11] = -0.6
    assert _depths(rhythm)[1] == pytest.approx(0.5 * (0.4 + 0.2) + 0.6)


def test_a_compression_of_two_points_is_left_out() -> None:
    for points, count in ((3, 6), (2, 0)):
        turns = (np.arange(10 * points) + 0.5) / points
        swing_v = np.asarray(np.tile([0.0, -1.0, 0.0][:points], 10), dtype=np.float64)
        assert len(_depths(Rhythm(10.0, turns, swing_v, np.asarray(2 * np.pi * turns)))) == count


# --- what stands out


@pytest.mark.parametrize("which", [0, 1, 2, 3])
def test_one_of_four_that_sags_less(which: int) -> None:
    found = unevenness(rhythm_of(with_weak(4, 0.8, which=which), spare=2), 4)
    assert figures(found) == pytest.approx([4, 0.2, 0.0])


@pytest.mark.parametrize(("weak", "seen"), [(0.89, True), (0.91, False), (1.0, False), (1.2, False)])
def test_a_tenth_less_than_the_others(weak: float, seen: bool) -> None:
    assert (unevenness(rhythm_of(with_weak(4, weak), spare=2), 4) is not None) is seen


def test_three_whole_cycles_are_the_fewest() -> None:
    assert unevenness(rhythm_of(with_weak(3, 0.5), spare=2), 4) is not None
    assert unevenness(rhythm_of(with_weak(3, 0.5)[:-1], spare=2), 4) is None


def test_a_part_of_a_cycle_at_the_end_is_left_out() -> None:
    found = unevenness(rhythm_of([*with_weak(3, 0.8), 5.0, 5.0], spare=2), 4)
    assert figures(found) == pytest.approx([4, 0.2, 0.0])


def test_of_one_cylinder_none_stands_out() -> None:
    assert unevenness(rhythm_of(with_weak(8, 0.5, 2, 0), spare=2), 1) is None
    two = unevenness(rhythm_of(with_weak(8, 0.5, 2, 0), spare=2), 2)
    assert figures(two) == pytest.approx([2, 0.5, 0.0])


def test_no_depth_at_all_is_no_unevenness() -> None:
    assert unevenness(rhythm_of([0.0] * 16, spare=2), 4) is None


def test_the_uncertainty_is_the_scatter_of_the_repeats_and_that_of_the_others() -> None:
    """Repeats 0.1 above and below: variance 4/3 of 0.01 with four of them, a quarter of that mean over four cylinders, over 4 cycles."""
    found = unevenness(rhythm_of(jagged(0.6, 0.1), spare=2), 4)
    assert figures(found) == pytest.approx([4, 0.4, np.sqrt(0.01 * 4 / 3 / 4 / 4)])
    others = [0.9, 1.0, 0.5, 1.1] * 4  # the others' scatter 0.1, of a mean of three
    apart = unevenness(rhythm_of(others, spare=2), 4)
    assert figures(apart) == pytest.approx([4, 0.5, 0.1 / np.sqrt(3.0)])


@pytest.mark.parametrize("level", [4.0, 0.25])
def test_figures_are_shares_of_the_others_mean(level: float) -> None:
    found = unevenness(rhythm_of([level * depth for depth in jagged(0.6, 0.1)], spare=2), 4)
    assert figures(found) == pytest.approx([4, 0.4, np.sqrt(0.01 * 4 / 3 / 4 / 4)])


def test_three_and_a_half_times_its_uncertainty() -> None:
    """u is `spread` / sqrt(12): a deficit of 0.2 is 3.5 times that at a spread of 0.198."""
    assert unevenness(rhythm_of(jagged(0.8, 0.195), spare=2), 4) is not None
    assert unevenness(rhythm_of(jagged(0.8, 0.201), spare=2), 4) is None


def test_in_plain_words() -> None:
    assert Uneven(6, 0.234, 0.01).sentence == "one compression in 6 sags 23% less than the others"
