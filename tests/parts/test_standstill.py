"""Standstills against a lead's own noise, at their borders. Noise here is drawn from a seed, its size is known."""

from __future__ import annotations

from math import ceil, erf, erfc, log, sqrt

import numpy as np
import pytest
from numpy.typing import NDArray

from firstcrank.analysis.standstill import quietest_sigma, stand_still, stands_alone, straight_runs

Volts = NDArray[np.float64]
STEP_V = 0.004


def noisy(count: int, sigma_steps: float, level_steps: int = 3000, seed: int = 1) -> Volts:
    """White noise in whole steps of the converter."""
    noise = np.random.default_rng(seed).normal(0.0, sigma_steps, count)
    return np.asarray(np.round(level_steps + noise))


def alternating(windows: int, steps: float, level: float = 3000.0) -> Volts:
    """Up and down at every reading: second differences are four times the half swing, all of one size."""
    return np.asarray(level + steps * (np.arange(windows * 50) % 2))


@pytest.mark.parametrize("sigma", [1.0, 3.0, 10.0])
def test_noise_is_measured_in_steps(sigma: float) -> None:
    """Of 200 windows the twentieth quietest: somewhat below the whole."""
    found = quietest_sigma(noisy(10_000, sigma), 250.0)
    assert 0.7 * sigma < found < sigma


def test_of_a_regular_swing_the_noise_is_exact() -> None:
    """Swing of 1 step: second differences of +-2 steps, mean square 4, so sigma = sqrt(4 / 6 - 1 / 12)."""
    assert quietest_sigma(alternating(10, 1.0), 250.0) == pytest.approx(sqrt(4 / 6 - 1 / 12))
    assert quietest_sigma(alternating(10, 3.0), 250.0) == pytest.approx(sqrt(36 / 6 - 1 / 12))


def test_ten_windows_must_live_and_move() -> None:
    assert quietest_sigma(alternating(9, 1.0), 250.0) == 0.0
    assert quietest_sigma(alternating(10, 1.0)[:-1], 250.0) == 0.0
    assert quietest_sigma(alternating(10, 0.4), 250.0) == 0.0
    assert quietest_sigma(alternating(10, 0.6), 250.0) > 0.0
    dead = alternating(11, 1.0)
    dead[70] = dead[170] = 250.0
    assert quietest_sigma(dead, 250.0) == 0.0
    assert quietest_sigma(dead, 249.0) > 0.0
    assert quietest_sigma(-alternating(10, 1.0), 250.0) > 0.0


def test_less_than_the_quantisation_is_no_noise() -> None:
    one_change = np.full(500, 3000.0)
    one_change[25::50] += 1.0  # second differences 1, -2, 1 in each window: a mean square of 6 / 48, less than 6 / 12
    assert quietest_sigma(one_change, 250.0) == 0.0


def least_run(sigma: float) -> int:
    """Readings in a row that chance makes the same once in 1e11, by the normal distribution."""
    same = 1.0 - erfc(0.5 / sigma / sqrt(2.0))
    return ceil(log(1e-11) / log(same))


def with_run(length: int, *, first: int = 300, level: float = 3100.0, step_v: float = STEP_V, count: int = 600) -> Volts:
    """A swing of 3 steps, and so many readings of one and the same value."""
    steps = np.concatenate((alternating(10, 3.0), alternating(10, 3.0)))[:count]
    steps[first : first + length] = level
    return np.asarray(steps * step_v)


SIGMA = sqrt(36 / 6 - 1 / 12)


@pytest.mark.parametrize(("more", "found"), [(-1, []), (0, [1])])
def test_a_run_that_chance_does_not_make(more: int, found: list[int]) -> None:
    least = least_run(SIGMA)
    assert 8 <= least <= 30
    runs = stand_still(with_run(least + more, count=1000), STEP_V)
    assert runs == [(300, 300 + least)] * len(found)


def test_runs_at_both_ends_are_seen() -> None:
    volts = with_run(60, first=0, count=1000)
    volts[-60:] = volts[0]
    assert stand_still(volts, STEP_V) == [(0, 60), (940, 1000)]


def test_steps_too_coarse_or_unknown_tell_nothing() -> None:
    for step_v, scale, found in ((0.005, 1.0, True), (0.0051, 1.0, False), (0.0051, 2.0, True), (0.0, 1.0, False)):
        volts = with_run(100, step_v=step_v or STEP_V, level=6100.0, count=1000) + 12.0
        assert bool(stand_still(volts, step_v, scale)) is found


def test_too_few_readings_tell_nothing() -> None:
    assert stand_still(with_run(30, first=0, count=499), STEP_V) == []
    short = np.concatenate((with_run(0, count=500), np.full(30, 12.4)))
    assert stand_still(short, STEP_V) == [(500, 530)]
    exactly = with_run(0, count=500)
    exactly[0:20] = 3003 * STEP_V
    assert stand_still(exactly, STEP_V) == [(0, 20)]


@pytest.mark.parametrize(
    ("level_v", "scale", "found"), [(0.99, 1.0, False), (1.01, 1.0, True), (1.99, 2.0, False), (2.01, 2.0, True)]
)
def test_a_dead_lead_may_stand_still(level_v: float, scale: float, found: bool) -> None:
    volts = with_run(100, level=round(level_v / STEP_V) + (1 if found else 0), count=1000)
    volts[300:400] = level_v
    assert bool(stand_still(volts, STEP_V, scale)) is found


def test_noise_is_that_of_the_live_lead() -> None:
    """A lead that stirs at 1.5 V, which is dead at 24 V, and stands at 12 V."""
    volts = with_run(0, count=1000) - 10.5
    volts[300:400] = 12.0
    assert stand_still(volts, STEP_V) == [(300, 400)]
    assert stand_still(volts, STEP_V, 2.0) == []


def test_a_quiet_lead_proves_nothing() -> None:
    """A swing of 0.8 steps gives sqrt(4 * 0.64 / 6 - 1 / 12) = 0.586 steps of noise, one of 0.7 gives 0.493."""
    for swing, found in ((0.8, True), (0.7, False)):
        steps = alternating(20, swing)
        steps[300:700] = 3100.0
        assert bool(stand_still(steps * STEP_V, STEP_V)) is found


def test_a_lead_is_no_noisier_than_it_may_be() -> None:
    """Its own noise makes 60 readings in a row impossible; with noise of a step at rest they still are, with half a step they are not."""
    volts = with_run(60, count=1000)
    for most_steps, found in ((10.0, True), (1.0, True), (0.51, False), (0.4, False), (0.0, False)):
        assert bool(stand_still(volts, STEP_V, most_v=most_steps * STEP_V)) is found, most_steps


# --- a straight line


def with_line(rows: int, rise_steps: float = 40.0, *, sigma: float = 2.0, first: int = 400, count: int = 1200) -> Volts:
    """White noise of so many steps, and a line of so many rows that rises by so much, rounded to steps."""
    steps = np.round(3000.0 + np.random.default_rng(7).normal(0.0, sigma, count))
    steps[first : first + rows] = np.round(3000.0 + np.linspace(0.0, rise_steps, rows))
    return np.asarray(steps * STEP_V)


def least_line(volts: Volts) -> int:
    """Twice what chance alone makes once in 1e11, by the normal distribution: second differences of noise within one step."""
    sigma = quietest_sigma(np.round(np.delete(volts, slice(400, 500)) / STEP_V), 1.0 / STEP_V)
    within = erf(1.5 / sqrt(6.0 * (sigma**2 + 1.0 / 12.0)) / sqrt(2.0))
    return 2 * ceil(log(1e-11) / log(within))


@pytest.mark.parametrize("rise_steps", [0.0, 40.0, -15.0, 300.0])
def test_a_line_is_placed(rise_steps: float) -> None:
    ((first, past),) = straight_runs(with_line(300, rise_steps), STEP_V)
    assert abs(first - 400) <= 3
    assert abs(past - 700) <= 3


@pytest.mark.parametrize(("more", "found"), [(-6, False), (6, True)])  # neighbours in the noise may fit by chance
def test_how_long_a_line_must_be(more: int, found: bool) -> None:
    volts = with_line(100)
    rows = least_line(volts) + 2 + more
    assert 20 <= rows <= 100
    assert bool(straight_runs(with_line(rows), STEP_V)) is found


def test_a_quiet_lead_that_slopes_was_not_filled_in() -> None:
    """At rest its noise is no step, it rises slowly, and later the crank shakes it."""
    steps = np.round(3000.0 + np.linspace(0.0, 200.0, 4000))
    steps[3000:] += np.round(np.random.default_rng(3).normal(0.0, 5.0, 1000))
    assert straight_runs(steps * STEP_V, STEP_V) == []
    assert (
        straight_runs(steps[2700:] * STEP_V, STEP_V) != []
    )  # 0.23 of it: where most of a lead is noisy, a line is none of its own


def test_noise_alone_draws_no_line() -> None:
    for sigma in (0.6, 1.0, 3.0):
        volts = np.round(3000.0 + np.random.default_rng(8).normal(0.0, sigma, 200_000)) * STEP_V
        assert straight_runs(volts, STEP_V) == [], sigma


def test_a_lead_that_is_quiet_coarse_dead_or_short_draws_no_line() -> None:
    line = with_line(300)
    assert straight_runs(with_line(300, sigma=0.3), STEP_V) == []
    assert straight_runs(line * 0.0051 / STEP_V, 0.0051) == []
    assert straight_runs(line * 0.0051 / STEP_V, 0.0051, 2.0)
    assert straight_runs(line, 0.0) == []
    assert straight_runs(with_line(60, first=100, count=499), STEP_V) == []
    dead = line.copy()
    dead[400:700] -= 3000.0 * STEP_V
    assert straight_runs(dead, STEP_V) == []


# --- one lead alone


def pair(still: slice = slice(1000, 1200), count: int = 2000) -> tuple[Volts, Volts]:
    """Two leads of 12 V in steps of 20 mV that swing by two steps; one of them stands still for a while."""
    beside = np.asarray(12.0 + 0.02 * (np.arange(count) % 3), dtype=np.float64)
    one = beside - 0.1
    one[still] = 11.9
    return one, beside


def alone(one: Volts, beside: Volts, step_v: float = 0.02, beside_step_v: float = 0.02) -> tuple[int, int] | None:
    return stands_alone(one, step_v, beside, beside_step_v)


def test_four_windows_of_a_lead_that_stands_still_alone() -> None:
    assert alone(*pair()) == (1000, 1200)
    assert alone(*pair(slice(1000, 1199))) is None
    assert alone(*pair(slice(1001, 1251))) == (1050, 1250)
    assert alone(*pair(slice(0, 200))) == (0, 200)
    assert alone(*pair(slice(1800, 2000))) == (1800, 2000)


def test_the_longest_is_shown() -> None:
    one, beside = pair(slice(1000, 1200), 4000)
    one[2000:2300] = 11.9
    one[3000:3200] = 11.9
    assert alone(one, beside) is None  # with others elsewhere it is no standstill of one time
    one, beside = pair(slice(1000, 1250), 30_000)
    one[2000:2200] = 11.9
    assert alone(one, beside) == (1000, 1250)


def test_a_standstill_that_changes_its_value_between_windows_is_two() -> None:
    one, beside = pair(slice(1000, 1200))
    one[1100:1200] = 11.88
    assert alone(one, beside) is None


def test_steps_must_be_known_and_windows_many() -> None:
    assert alone(*pair(), step_v=0.0) is None
    assert alone(*pair(), beside_step_v=0.0) is None
    one, beside = pair(slice(0, 200), 499)
    assert alone(one, beside) is None


@pytest.mark.parametrize(("windows", "found"), [(23, False), (24, True)])
def test_twenty_windows_elsewhere_must_be_noisy(windows: int, found: bool) -> None:
    assert (alone(*pair(slice(0, 200), windows * 50)) is not None) is found


@pytest.mark.parametrize(("still_elsewhere", "found"), [(0, True), (1, True), (2, False)])
def test_elsewhere_it_stirred_in_nearly_every_window(still_elsewhere: int, found: bool) -> None:
    """One of 50 windows is 0.02."""
    one, beside = pair(slice(0, 200), 54 * 50)
    for k in range(still_elsewhere):
        one[(10 + 3 * k) * 50 : (11 + 3 * k) * 50] = 11.9
    assert (alone(one, beside) is not None) is found


@pytest.mark.parametrize(("swing_steps", "found"), [(1.4, False), (1.6, True), (8.4, True), (8.6, False)])
def test_the_other_shows_noise_and_no_more(swing_steps: float, found: bool) -> None:
    """Between two steps there are two readings only; a crank or a ramp moves by many."""
    one, beside = pair()
    beside = np.asarray(12.0 + 0.02 * swing_steps * (np.arange(2000) % 2), dtype=np.float64)
    assert (alone(one, beside) is not None) is found


@pytest.mark.parametrize("which", [0, 1])
def test_both_leads_live(which: int) -> None:
    for level_v, found in ((1.05, True), (0.97, False)):
        leads = list(pair())
        leads[which] = leads[which] - leads[which].min() + level_v
        assert (alone(leads[0], leads[1]) is not None) is found
        leads[which] = -leads[which] if found else leads[which]
        assert (alone(leads[0], leads[1]) is not None) is found
