"""Ways to a wrong answer that somebody found who knew documents and command line alone, each by its name.

They were seen to fail on that version (6144047: 31 failed; e8e0b2c: 6), but for the borders, which hold what must stay, and some values.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firstcrank.trace import Trace

from .ask import FAIL, NO, PASS, verdict
from .maker import Crank, Made, Setup

STRONG = Crank(10.0, 2.0, sag_v=0.8, inrush_v=1.8, swing_v=0.2)


def second_crank(lead: bool, part: Crank = STRONG) -> Made:
    """A sound first crank; before the second the starter lead comes off, and the feed is dead in it."""
    made = Made(Setup(cranks=(Crank(), part), end_s=16.0, lead=lead))
    if lead:
        made.put("starter_coil", 0.0, 9.0, 99.0)
    return made.feed(0.0, 9.9, 99.0)


@pytest.mark.parametrize("lead", [True, False])
@pytest.mark.parametrize("part", [STRONG, Crank(10.0, 0.6, sag_v=0.8, inrush_v=1.8, swing_v=0.2)])
def test_a_second_crank_that_nobody_judged(lead: bool, part: Crank) -> None:
    assert verdict(second_crank(lead, part).bins()) == NO


@pytest.mark.parametrize(
    ("sag_v", "inrush_v"),
    [
        (0.15, 0.0),  # the solenoid clicks
        (0.9, 0.0),  # lamps or a glow plug on the wire
        (0.8, 0.4),
        (1.2, 2.4),  # the starter spins free
        (3.8, 0.0),  # it stands still
    ],
)
@pytest.mark.parametrize("rows", [False, True])
def test_a_live_starter_wire_is_no_engine_being_turned(sag_v: float, inrush_v: float, rows: bool) -> None:
    made = Made(Setup(cranks=(Crank(3.0, 3.0, sag_v=sag_v, inrush_v=inrush_v, swing_v=0.0),)))
    assert verdict(made.rows() if rows else made.bins()) == NO


def noisy(made: Made, noise_v: float, seed: int) -> Trace:
    """Rows of 0.2 ms with white noise on every lead."""
    fine, rng = made.rows(8), np.random.default_rng(seed)
    channels = {}
    for role, channel in fine.channels.items():
        values = np.round((channel.mean_v + rng.normal(0.0, noise_v, len(fine))) / 0.0005) * 0.0005
        channels[role] = replace(channel, mean_v=values, lowest_v=values, highest_v=values)
    return replace(fine, channels=channels)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("noise_v", [0.011, 0.02, 0.03])
def test_noise_on_a_live_starter_wire_is_no_engine_being_turned(noise_v: float, seed: int) -> None:
    """The starter spins free; then it stands still."""
    for sag_v, inrush_v in ((1.2, 2.4), (3.8, 0.0)):
        made = Made(Setup(cranks=(Crank(3.0, 3.0, sag_v=sag_v, inrush_v=inrush_v, swing_v=0.0),)))
        assert verdict(noisy(made, noise_v, seed)) == NO


def test_border_a_noisy_logger_sees_an_engine_turn() -> None:
    assert [verdict(noisy(Made(), 0.03, seed)) for seed in range(4)] == [PASS] * 4


def resampled(hz: float, *, cubic: bool = False) -> Trace:
    """Read so many times a second, with a loss between two readings, and written 10,000 times a second."""
    made = Made()
    at_s = np.arange(0.0, made.t[-1], 1.0 / hz)
    loss_s = float(at_s[np.searchsorted(at_s, 4.5)]) + 0.05 / hz
    made.feed(0.0, loss_s, 0.9 / hz)
    fine = made.rows()
    channels = {}
    for role, channel in fine.channels.items():
        slow = np.interp(at_s, made.t, made.volts[role])
        values = np.interp(fine.start_s, at_s, slow)
        if cubic:
            values = np.convolve(values, np.hanning(41) / np.hanning(41).sum(), "same")
        values = np.round(values / 0.0005) * 0.0005
        channels[role] = replace(channel, mean_v=values, lowest_v=values, highest_v=values)
    return replace(fine, channels=channels)


@pytest.mark.parametrize("hz", [50.0, 100.0, 250.0, 500.0])
@pytest.mark.parametrize("cubic", [False, True])
def test_rows_that_are_dense_and_readings_that_are_not(hz: float, cubic: bool) -> None:
    assert verdict(resampled(hz, cubic=cubic)) == NO


@pytest.mark.parametrize(("constant_s", "each", "loss_s"), [(0.002, 4, 0.0011), (0.0009, 8, 0.0011), (0.0013, 32, 0.0012)])
def test_readings_behind_a_slow_filter(constant_s: float, each: int, loss_s: float) -> None:
    """Its time constant, rows of so many times 24 us, and a loss to 4 V that the filter hides or makes short."""
    fine = Made(Setup(lead=False)).feed(4.0, 4.5, loss_s).rows(each)
    share = 1.0 - np.exp(-float(np.median(np.diff(fine.start_s))) / constant_s)
    channels = {}
    for role, channel in fine.channels.items():
        values = channel.mean_v.copy()
        for i in range(1, len(values)):
            values[i] = values[i - 1] + share * (channel.mean_v[i] - values[i - 1])
        channels[role] = replace(channel, mean_v=values, lowest_v=values, highest_v=values)
    assert verdict(replace(fine, channels=channels)) == NO


def test_border_a_sharp_edge_shows_a_fast_logger() -> None:
    assert verdict(Made().rows()) == PASS


def filled_in(length_s: float) -> Trace:
    """A loss, and over it a straight line from the reading before to the one behind; readings of 0.5 mV."""
    fine = Made().rows()
    channels = {}
    for role, channel in fine.channels.items():
        values = channel.mean_v.copy()
        if role == "key_switch":
            first, past = np.searchsorted(fine.start_s, [4.5, 4.5 + length_s])
            values[first:past] = np.linspace(values[first - 1], values[past], past - first)
        values = np.round(values / 0.0005) * 0.0005
        channels[role] = replace(channel, mean_v=values, lowest_v=values, highest_v=values)
    return replace(fine, channels=channels)


@pytest.mark.parametrize("length_s", [0.01, 0.1, 0.3])
def test_a_stretch_that_was_filled_in(length_s: float) -> None:
    assert verdict(filled_in(length_s)) == NO


def sourced(drop_v: float = 0.0) -> Made:
    """A strong battery, and a lead on the feed's source that lies so much below it while cranking; the feed follows it."""
    made = Made(Setup(cranks=(Crank(3.0, 3.0, inrush_v=0.9),)))
    made.lead("feed_source", lambda own: own.volts["battery"] - 0.02)
    for role in ("key_switch", "feed_source"):
        made.drop(drop_v, 3.0, 3.0, role)
    return made


def test_a_source_lead_behind_the_switch() -> None:
    """The switch drops 1.6 V in START, and the lead on its output sees nothing of it."""
    made = sourced(1.6)
    assert verdict(made.put("feed_source", 0.0, 0.0, 1.0).bins()) == NO


def test_a_source_lead_behind_the_same_bad_joint() -> None:
    assert verdict(sourced(1.6).bins()) == NO


def test_a_source_that_dips_beside_a_sound_battery_is_no_inrush() -> None:
    made = sourced()
    for role in ("key_switch", "feed_source"):
        made.put(role, 6.4, 4.5, 0.004)
    assert verdict(made.bins()) == FAIL


def test_border_a_source_lead_in_its_place() -> None:
    assert verdict(sourced().bins()) == PASS


@pytest.mark.parametrize("length_s", [0.003, 0.006, 0.016])
@pytest.mark.parametrize("rows", [False, True])
def test_a_ground_clip_that_blinks_is_no_supply_fault(length_s: float, rows: bool) -> None:
    made = Made()
    for role in tuple(made.volts):
        made.put(role, 0.0, 4.5, length_s)
    assert verdict(made.rows() if rows else made.bins()) == NO


@pytest.mark.parametrize("after_s", [0.32, 0.36])
def test_a_charger_soon_after_an_aborted_crank_makes_it_no_longer(after_s: float) -> None:
    """1.75 s of cranking without a starter lead, 0.14 s from one compression to the next."""
    part = Crank(3.0, 1.75, sag_v=4.2, inrush_v=0.4, swing_v=0.2, hz=7.0)
    made = Made(Setup(cranks=(part,), lead=False, end_s=12.0))
    for role in ("battery", "key_switch"):
        made.change(role, 4.75 + after_s, 99.0, lambda t, v: v + 1.4 - 0.1 * np.exp(-(t - 4.75 - after_s) / 0.3))
    assert verdict(made.bins()) == NO
