"""Driving a pin and letting it go names the part that is wrong. The voltages against the closed form and a table made by hand."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from firstcrank import calibration
from firstcrank.board.pin_network import CODES, FIRST_S, SECOND_S, SUPPLY_V, PinNetwork, networks

GOOD = PinNetwork(33e3, 6.8e3, 10e-9, 4700.0)
DATA = Path(calibration.__file__).parent / "data"


def codes(r_series: float, farad: float, r_bottom: float = 6.8e3, r_top: float = 33e3) -> list[float]:
    """What the pin would read, from its own circuit equations."""
    node = 1 / (1 / r_bottom + (1 / r_top if r_top else 0.0))
    start = SUPPLY_V * node / (node + r_series)
    return [start * math.exp(-t / (node * farad)) / SUPPLY_V * CODES if farad else 0.0 for t in (FIRST_S, SECOND_S)]


@pytest.mark.parametrize(
    ("series_ohm", "farad", "volts"),
    [(4700, 10e-9, 1.67), (470, 10e-9, 2.82), (47_000, 10e-9, 0.33), (4700, 100e-9, 1.78)],
)
def test_the_figures_after_four_microseconds(series_ohm: float, farad: float, volts: float) -> None:
    """Figures of an independent simulation of the build with its lead on a dead wire."""
    network = PinNetwork(33e3, 6.8e3, farad, series_ohm)
    assert network.after_v(FIRST_S, False) == pytest.approx(volts, abs=0.03)


@pytest.mark.parametrize("top", [33e3, 0.0])
@pytest.mark.parametrize("spread", [0.85, 1.0, 1.15])
def test_a_good_input_is_ok_open_or_on_a_dead_wire(top: float, spread: float) -> None:
    assert GOOD.assess(codes(4700, 10e-9 * spread, r_top=top))[0] == "ok"


@pytest.mark.parametrize(
    ("seen", "expected"),
    [
        (codes(470, 10e-9), "Series resistor too small"),
        (codes(47_000, 10e-9), "Series resistor too large"),
        (codes(4700, 0.0), "capacitor not fitted"),
        (codes(4700, 100e-9), "Capacitor too large"),
        (codes(4700, 2e-9), "Capacitor too small"),
        ([CODES - 1.0, CODES - 2.0], "Nothing pulls the pin down"),
        ([0.0, 0.0], "shorted to ground"),
        (codes(4700, 10e-9, r_bottom=680), "lower resistor, too small"),
    ],
)
@pytest.mark.parametrize("top", ["clip on a dead wire"])
def test_each_wrong_part_is_named(seen: list[float], expected: str, top: str) -> None:
    outcome, _, do = GOOD.assess(seen)
    assert outcome == "fail"
    assert expected in do


def test_both_builds_have_their_networks_and_a_live_wire_is_left_alone() -> None:
    for name in ("calibration_minimal_12v.toml", "calibration_minimal_24v.toml"):
        found = networks(DATA / name)
        assert {"battery", "key_switch", "starter_coil"} <= set(found)
        for network in found.values():
            share = network.r_bottom_ohm / (network.r_top_ohm + network.r_bottom_ohm)
            assert network.live_code / CODES * SUPPLY_V / share < 0.25
