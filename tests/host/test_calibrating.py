"""Calibrating: a thousand simulated builds, and every way in which a person or a board can get it wrong."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest

from firstcrank.calibrating.fit import Meter, Point, fit
from firstcrank.calibrating.procedure import age_warning, calibrate
from firstcrank.calibration import Calibration, nominal_channel
from firstcrank.errors import CalibrationError

METER = Meter("bench meter", 0.001, 0.010)
ROLES = ("battery", "key_switch", "starter_coil")
NOMINAL = Calibration("nominal", {role: nominal_channel(33e3, 6.8e3, 0.01, input_ohm=100e3) for role in ROLES})
SPIKES = (512, 1536, 2560, 3584)


class Board:
    """A built board: 1 % resistors, its own reference, offset and input resistance, noise, code spikes. `volts` on each lead."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.reference_v = 3.3 * (1 + rng.uniform(-0.01, 0.01))
        self.offset_code = rng.uniform(-2.0, 3.0)
        self.input_ohm = rng.uniform(100e3, 1e7)
        self.share = {}
        for role in ROLES:
            top, bottom = 33e3 * (1 + rng.uniform(-0.01, 0.01)), 6.8e3 * (1 + rng.uniform(-0.01, 0.01))
            loaded = 1 / (1 / bottom + 1 / self.input_ohm)
            self.share[role] = loaded / (top + loaded)
        self.volts = dict.fromkeys(ROLES, 0.0)
        self.noise_code = 1.3

    def codes(self, role: str, count: int = 256) -> np.ndarray:
        exact = self.volts[role] * self.share[role] / self.reference_v * 4096 + self.offset_code
        noisy = np.clip(np.rint(exact + self.rng.normal(0, self.noise_code, count)), 0, 4095)
        for spike in SPIKES:
            missing = (noisy > spike - 9) & (noisy < spike)
            noisy[missing] = np.where(noisy[missing] < spike - 4.5, spike - 9, spike)
        return noisy

    def read(self) -> tuple[Mapping[str, float], Mapping[str, float]]:
        seen = {role: self.codes(role) for role in ROLES}
        return {r: float(c.mean()) for r, c in seen.items()}, {r: float(c.std()) for r, c in seen.items()}


class Hands:
    """Does what is asked on a simulated board. `wiring` says which lead really reaches which input."""

    def __init__(self, board: Board, voltages: tuple[float, ...] = (6.0, 13.5), meter: Meter = METER) -> None:
        self.board, self.left, self.meter, self.told = board, list(voltages), meter, []
        self.wiring = {role: role for role in ROLES}
        self.gain = 1 + board.rng.uniform(-1, 1) * meter.reading_rel
        self.forgot: str | None = None
        self.lies: dict[float, float] = {}

    def _put(self, leads: dict[str, float]) -> None:
        for role in ROLES:
            self.board.volts[self.wiring[role]] = 0.0 if role == self.forgot else leads.get(role, 0.0)

    def do(self, text: str) -> None:
        if "shorted" in text:
            self._put({})
        else:
            self._put({role: 12.6 for role in ROLES if f"the {role.replace('_', ' ')} lead alone" in text})

    def volts(self, text: str) -> float:
        if not self.left:
            return math.nan
        true_v = self.left.pop(0)
        self._put(dict.fromkeys(ROLES, true_v))
        said = true_v * self.gain + self.board.rng.uniform(-1, 1) * self.meter.offset_v
        return self.lies.get(true_v, round(said, 3))

    def tell(self, text: str) -> None:
        self.told.append(text)


def run(board: Board, hands: Hands) -> Calibration:
    return calibrate(hands, board.read, ROLES, hands.meter, NOMINAL, "b0").calibration


@pytest.mark.slow
def test_a_thousand_builds_are_accurate_and_say_how_accurate() -> None:
    """At most 0.3 % of reading plus 20 mV over 0 to 16 V away from the code spikes; the stated uncertainty covers 95 %.

    Three known voltages, a meter of 0.1 % plus 10 mV.
    """
    covered, checked, worst = 0, 0, 0.0
    for seed in range(1000):
        board = Board(np.random.default_rng(seed))
        calibration = run(board, Hands(board, (3.0, 9.0, 14.5)))
        true_v = float(board.rng.uniform(0.3, 16.0))
        board.volts = dict.fromkeys(ROLES, true_v)
        for role in ROLES:
            codes = board.codes(role)
            near = min(abs(float(codes.mean()) - s) for s in SPIKES) < 20
            line = calibration.channel(role)
            error_v = abs(float(line.volts(codes.mean())) - true_v)
            u = line.uncertainty
            stated_v = 2.0 * math.sqrt(
                u.offset_v**2
                + (true_v * u.gain_rel) ** 2
                + (true_v * u.shared_gain_rel) ** 2
                + (line.spike_v**2 if near else 0.0)
            )
            checked += 1
            covered += error_v <= stated_v
            if not near:
                worst = max(worst, error_v / (0.003 * true_v + 0.020))
    assert worst <= 1.0
    assert covered / checked >= 0.95


@pytest.mark.parametrize(("one", "other"), [("battery", "key_switch"), ("key_switch", "starter_coil")])
def test_swapped_inputs_are_named(one: str, other: str) -> None:
    board = Board(np.random.default_rng(1))
    hands = Hands(board)
    hands.wiring = {**hands.wiring, one: other, other: one}
    with pytest.raises(CalibrationError, match="swapped"):
        run(board, hands)


def test_a_lead_that_is_off_is_named() -> None:
    board = Board(np.random.default_rng(2))
    hands = Hands(board)
    hands.forgot = "starter_coil"
    with pytest.raises(CalibrationError, match="starter coil: reads nothing"):
        run(board, hands)


def test_a_wrong_resistor_is_named() -> None:
    board = Board(np.random.default_rng(3))
    board.share["key_switch"] *= 0.7
    with pytest.raises(CalibrationError, match=r"key switch: reads 0.* another divider"):
        run(board, Hands(board))


def test_a_noisy_supply_or_a_running_engine_is_noticed() -> None:
    board = Board(np.random.default_rng(4))
    board.noise_code = 25.0
    with pytest.raises(CalibrationError, match="noisy"):
        run(board, Hands(board))


def test_a_voltage_on_a_code_spike_is_refused() -> None:
    board = Board(np.random.default_rng(5))
    on_spike_v = (1536 - board.offset_code) / 4096 * board.reference_v / board.share["battery"]
    hands = Hands(board, (on_spike_v, 13.5))
    assert "second one" in run(board, hands).notes[0]  # only 13.5 V was taken
    assert any("code spike" in line for line in hands.told)
    with pytest.raises(CalibrationError, match=r"no known voltage was taken.*code spike"):
        run(board, Hands(board, (on_spike_v,)))


def test_a_lead_still_on_a_battery_when_all_should_be_shorted() -> None:
    board = Board(np.random.default_rng(6))
    hands = Hands(board)
    hands.do = lambda text: board.volts.update(key_switch=12.0)  # type: ignore[method-assign]
    with pytest.raises(CalibrationError, match="key switch: reads a voltage with all leads shorted"):
        run(board, hands)


def test_a_misread_meter_is_the_outlier() -> None:
    board = Board(np.random.default_rng(7))
    hands = Hands(board, (4.0, 6.0, 9.5, 13.5))
    hands.lies = {9.5: 9.05}
    with pytest.raises(CalibrationError, match=r"9.05 V is .* read the meter again"):
        run(board, hands)


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ([(0.0, 2.0)], "at least the shorted"),
        ([(0.0, 2.0), (3.0, 640.0)], "span"),
        ([(0.0, 2.0), (6.0, 1272.0), (12.0, 1000.0)], "higher voltage does not give"),
        ([(0.0, 2.0), (12.0, 4094.0)], "top of its range"),
        ([(0.0, 2.0), (12.0, 1800.0)], "wrong resistor"),
    ],
)
def test_points_that_make_no_line_are_refused(points: list[tuple[float, float]], said: str) -> None:
    made = [Point(v, {"battery": code}, {"battery": 1.3}) for v, code in points]
    with pytest.raises(CalibrationError, match=said):
        fit("battery", made, METER, NOMINAL.channel("battery"))


def test_one_known_voltage_is_taken_and_noted() -> None:
    board = Board(np.random.default_rng(8))
    assert "second one" in run(board, Hands(board, (13.5,))).notes[0]


def test_a_measured_calibration_grows_old() -> None:
    old = Calibration("measured", NOMINAL.channels, date="2025-01-01")
    assert "days old" in (age_warning(old, "2026-06-01") or "")
    assert age_warning(old, "2025-06-01") is None
    assert age_warning(NOMINAL, "2030-01-01") is None
    assert "no date" in (age_warning(Calibration("measured", NOMINAL.channels), "2025-06-01") or "")


@pytest.mark.parametrize(("rel", "offset"), [(-0.1, 0.0), (0.2, 0.0), (0.0, 1.0)])
def test_a_meter_must_be_a_meter(rel: float, offset: float) -> None:
    with pytest.raises(CalibrationError, match="accuracy"):
        Meter("x", rel, offset)
