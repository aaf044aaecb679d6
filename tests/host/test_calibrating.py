"""Calibrating: a thousand simulated builds, and every way in which a person or a board can get it wrong."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import date

import numpy as np
import pytest

from firstcrank.analysis.uncertainty import of_difference, of_voltage
from firstcrank.calibrating.fit import fit
from firstcrank.calibrating.points import Meter, Point, check_point
from firstcrank.calibrating.procedure import calibrate, expanded_v
from firstcrank.calibration import Calibration, nominal_channel
from firstcrank.calibration_age import age_warning
from firstcrank.errors import CalibrationError
from firstcrank_sim.board.converter import (
    SPIKE_CODES,
    Converter,
    InputError,
    measured_calibration,
    sim_calibration,
    with_spikes,
)

METER = Meter("bench meter", 0.001, 0.010)
ROLES = ("battery", "key_switch", "starter_coil")
NOMINAL = Calibration("nominal", {role: nominal_channel(33e3, 6.8e3, 0.01, input_ohm=100e3) for role in ROLES})


class Board:
    """A built board: 1 % resistors, its own reference, offset and input resistance, noise, wide codes. `volts` on each lead."""

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
        return np.clip(np.rint(with_spikes(exact + self.rng.normal(0, self.noise_code, count))), 0, 4095)

    def read(self) -> tuple[Mapping[str, float], Mapping[str, float]]:
        seen = {role: self.codes(role) for role in ROLES}
        return {r: float(c.mean()) for r, c in seen.items()}, {r: float(c.std()) for r, c in seen.items()}


class Hands:
    """Does what is asked on a simulated board. `wiring` says which lead really reaches which input."""

    def __init__(self, board: Board, voltages: tuple[float, ...] = (6.0, 13.5), meter: Meter = METER) -> None:
        self.board, self.left, self.meter = board, list(voltages), meter
        self.messages: list[str] = []
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
        shown_v = true_v * self.gain + self.board.rng.uniform(-1, 1) * self.meter.offset_v
        return self.lies.get(true_v, round(shown_v, 3))

    def tell(self, text: str) -> None:
        self.messages.append(text)


def run(board: Board, hands: Hands) -> Calibration:
    return calibrate(hands, board.read, ROLES, hands.meter, NOMINAL, "b0").calibration


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


def test_a_voltage_on_a_wide_code_is_refused() -> None:
    board = Board(np.random.default_rng(5))
    on_spike_v = (SPIKE_CODES[1] - board.offset_code) / 4096 * board.reference_v / board.share["battery"]
    hands = Hands(board, (on_spike_v, 13.5))
    assert "only one known voltage" in run(board, hands).notes[0]  # only 13.5 V was taken
    assert any("wide code" in line for line in hands.messages)
    with pytest.raises(CalibrationError, match=r"no known voltage was taken.*wide code"):
        run(board, Hands(board, (on_spike_v,)))


def test_a_lead_still_on_a_battery_when_all_should_be_shorted() -> None:
    board = Board(np.random.default_rng(6))
    hands = Hands(board)
    hands.do = lambda text: board.volts.update(key_switch=12.0)  # type: ignore[method-assign]
    with pytest.raises(CalibrationError, match="key switch: reads a voltage with all leads shorted"):
        run(board, hands)


def test_a_misread_meter_is_the_outlier_and_only_that_point_is_taken_again() -> None:
    board = Board(np.random.default_rng(7))
    hands = Hands(board, (4.0, 6.0, 9.5, 13.5, 9.51))
    hands.lies = {9.5: 9.3}
    line = run(board, hands).channel("battery")
    (message,) = hands.messages
    assert re.search(r"9.30 V is -0.[12]\d V off the others' line: read the meter again", message)
    assert "Only this point is taken again" in message
    board.volts = dict.fromkeys(ROLES, 9.5)
    assert float(line.volts(board.codes("battery", 4000).mean())) == pytest.approx(9.5, abs=0.03)


class FollowsPrompts(Hands):
    """Types "9" for a cell of 8.6 V, then 13.2 V; whatever is to be read again is, as the meter shows it."""

    def __init__(self, board: Board, first_v: float = 9.0) -> None:
        super().__init__(board, ())
        self.next, self.asked_again, self.first_v = [(first_v, 8.6), (13.2, 13.2)], 0, first_v

    def volts(self, text: str) -> float:
        if not self.next:
            return math.nan
        reading_v, true_v = self.next.pop(0)
        self._put(dict.fromkeys(ROLES, true_v))
        return reading_v

    def tell(self, text: str) -> None:
        super().tell(text)
        found = re.search(r"the point at ([\d.]+) V", text)
        if found:
            self.asked_again += 1
            true_v = 13.2 if float(found[1]) > 11.0 else 8.6
            self.next.append((true_v, true_v))


def test_who_obeys_gets_a_good_calibration_from_a_slip() -> None:
    """Of three points no one can tell which is wrong; where the good one is blamed first, reading it again shows the other."""
    most = 0
    for seed in range(60):
        board = Board(np.random.default_rng(seed))
        hands = FollowsPrompts(board)
        line = run(board, hands).channel("key_switch")
        assert hands.asked_again in (1, 2)
        most = max(most, hands.asked_again)
        board.volts = dict.fromkeys(ROLES, 7.0)
        assert abs(float(line.volts(board.codes("key_switch", 2000).mean())) - 7.0) < expanded_v(line, 7.0) < 0.08
    assert most == 2


@pytest.mark.parametrize(
    ("points", "expected"),
    [
        ([(0.0, 2.0)], "at least the shorted"),
        ([(0.0, 2.0), (6.0, 1272.0), (12.0, 1000.0)], "higher voltage does not give"),
        ([(0.0, 2.0), (12.0, 4094.0)], "top of its range"),
        ([(0.0, 2.0), (12.0, 1800.0)], "wrong resistor"),
    ],
)
def test_points_that_make_no_line_are_refused(points: list[tuple[float, float]], expected: str) -> None:
    made = [Point(v, {"battery": code}, {"battery": 1.3}) for v, code in points]
    with pytest.raises(CalibrationError, match=expected):
        fit("battery", made, METER, NOMINAL.channel("battery"))


def slip(
    seed: int, typed_v: tuple[float, float], true_v: tuple[float, float], damage_v: float = 0.0
) -> tuple[float, float] | None:
    """(reading less 7 V, stated uncertainty) of a feed at 7 V after calibrating with a slip; None where it was refused."""
    board = Board(np.random.default_rng(seed))
    board.offset_code = damage_v
    points = []
    for shown_v, volts in ((0.0, 0.0), *zip(typed_v, true_v, strict=True)):
        board.volts = dict.fromkeys(ROLES, volts)
        mean, rms = board.read()
        points.append(Point(shown_v, mean, rms))
    try:
        line = fit("key_switch", points, Meter("m", 0.0005, 0.005), NOMINAL.channel("key_switch")).line
    except CalibrationError:
        return None
    board.volts = dict.fromkeys(ROLES, 7.0)
    return float(line.volts(board.codes("key_switch", 4000).mean())) - 7.0, expanded_v(line, 7.0)


@pytest.mark.parametrize("offset_code", [-8.0, 0.4, 14.0])
@pytest.mark.parametrize("typed_v", [9.0, 8.9, 8.8, 8.7])
def test_a_nine_volt_cell_called_nine_volts_is_refused(typed_v: float, offset_code: float) -> None:
    """It gives 8.6 V. Whether the pin can show 0 V (offset above) or not (below): the other point is right."""
    assert [slip(seed, (typed_v, 13.2), (8.6, 13.2), offset_code) for seed in range(40)] == [None] * 40


@pytest.mark.parametrize("offset_code", [-8.0, 0.4, 14.0])
def test_whatever_slip_is_kept_reads_within_its_uncertainty(offset_code: float) -> None:
    """Slips of 0 to 0.5 V either way, in either voltage: refused, or too small to matter at 7 V: all but one in a hundred of them within
    the stated U (95 % without any slip), none beyond it by a tenth."""
    kept, outside = 0, 0
    for seed in range(400):
        rng = np.random.default_rng([seed, 5])
        off = rng.uniform(-0.5, 0.5) * rng.uniform() ** 2
        typed_v = (8.6 + off, 13.2) if seed % 2 else (8.6, 13.2 + off)
        outcome = slip(seed, typed_v, (8.6, 13.2), offset_code)
        if outcome is not None:
            kept += 1
            outside += abs(outcome[0]) > outcome[1]
            assert abs(outcome[0]) <= 1.1 * outcome[1], (seed, off)
    assert kept > 40
    assert outside <= 0.01 * kept


def test_shorted_leads_far_from_code_0_are_refused() -> None:
    """0 V is where the pin shows it; with the pin at its stop the line must not come out above it."""
    above = [Point(v, {"battery": code}, {"battery": 1.3}) for v, code in ((0.0, 60.0), (9.0, 1850.0), (12.6, 2610.0))]
    assert any("reads a voltage with all leads shorted" in line for line in check_point(above[0], (), NOMINAL.channels))
    with pytest.raises(CalibrationError, match="0 V is code"):
        fit("battery", above, Meter("m", 0.01, 0.1), NOMINAL.channel("battery"))
    clipped = [Point(v, {"battery": code}, {"battery": 1.3}) for v, code in ((0.0, 0.0), (9.0, 1950.0), (12.6, 2680.0))]
    with pytest.raises(CalibrationError, match="battery"):
        fit("battery", clipped, METER, NOMINAL.channel("battery"))


def test_one_known_voltage_costs_and_the_cost_is_told() -> None:
    board = Board(np.random.default_rng(8))
    hands = Hands(board, (13.5,))
    alone = run(board, hands)
    assert "only one known voltage" in alone.notes[0]
    assert any("nothing would show a slip of the meter: what is left is ±" in line for line in hands.messages)
    both = run(board, Hands(board, (9.0, 13.5)))
    assert expanded_v(alone.channel("battery"), 12.0) > 3.0 * expanded_v(both.channel("battery"), 12.0)
    near = run(board, Hands(board, (12.4, 13.5)))  # 1.1 V apart shows no slip either
    assert "only one known voltage" in near.notes[0]


def test_the_prompt_asks_for_what_the_meter_shows() -> None:
    asked: list[str] = []

    class Listening(Hands):
        def volts(self, text: str) -> float:
            asked.append(text)
            return super().volts(text)

    board = Board(np.random.default_rng(9))
    run(board, Listening(board, (6.0, 13.5)))
    assert asked
    assert all("what the meter SHOWS, not what the battery is called" in text for text in asked)


def test_a_measured_calibration_grows_old() -> None:
    old = Calibration("measured", NOMINAL.channels, date="2025-01-01")
    assert "days old" in (age_warning(old, date(2026, 6, 1)) or "")
    assert age_warning(old, date(2025, 6, 1)) is None
    assert "still to come" in (age_warning(old, date(2024, 6, 1)) or "")
    assert age_warning(NOMINAL, date(2030, 1, 1)) is None
    assert "without a date" in (age_warning(Calibration("measured", NOMINAL.channels), date(2025, 6, 1)) or "")


@pytest.mark.parametrize(("rel", "offset"), [(-0.1, 0.0), (0.2, 0.0), (0.0, 1.0), (0.0, 0.0)])
def test_a_meter_must_be_a_meter(rel: float, offset: float) -> None:
    with pytest.raises(CalibrationError, match="accuracy"):
        Meter("x", rel, offset)


def test_the_benchs_measured_calibration_is_what_calibrating_gives() -> None:
    """Its stated uncertainty at every voltage, alone and in a drop, within a twentieth of a calibration made on a simulated board."""
    meter = Meter("m", 0.001, 0.004)
    nominal = sim_calibration(12).channel("battery")
    made = []
    for offset_code in (3.0, 14.0):
        converter = Converter(sim_calibration(12), errors={"battery": InputError(1.0, offset_code * nominal.gain_v_per_code)})
        points = []
        for volts in (0.0, 9.0, 12.6):
            codes = converter.codes("battery", np.full(4000, volts), 6e-6, np.random.default_rng(2))
            points.append(Point(volts, {"battery": float(codes.mean())}, {"battery": 1.3}))
        made.append(fit("battery", points, meter, nominal).line.uncertainty)
    stated = measured_calibration(12).channel("battery").uncertainty
    for u in made:
        for volts in (3.0, 7.0, 9.0, 12.0, 14.0):
            assert of_voltage(volts, stated, 100) == pytest.approx(of_voltage(volts, u, 100), rel=0.05)
            drop = of_difference(volts, stated, volts - 0.3, stated, 100)
            assert drop == pytest.approx(of_difference(volts, u, volts - 0.3, u, 100), rel=0.05)
