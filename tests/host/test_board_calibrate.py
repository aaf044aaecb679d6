"""firstcrank board calibrate as typed, on the simulated board with leads that somebody moves from one voltage to the next."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from firstcrank import wire
from firstcrank.calibrating.procedure import expanded_v
from firstcrank.calibration import Calibration, read_calibration
from firstcrank.cli.board import board as board_command
from firstcrank.errors import LinkLostError
from firstcrank.link import open as link_open
from firstcrank.trace import FloatArray
from firstcrank_sim.board.converter import Converter, drawn_converter
from firstcrank_sim.board.simulated_board import SimulatedBoard

SHORTED = dict.fromkeys(("battery", "key_switch", "starter_coil"), 0.0)
BATTERY_ALONE, KEY_ALONE = {**SHORTED, "battery": 12.5}, {**SHORTED, "key_switch": 12.5}
LOW, HIGH = dict.fromkeys(SHORTED, 6.2), dict.fromkeys(SHORTED, 14.8)


class Leads:
    """The voltages on the leads at each reading in turn; the last stays."""

    def __init__(self, *turns: dict[str, float]) -> None:
        self.turns = [turns[0], *turns]  # the first is gone with the first reading

    def volts(self, role: str, t: FloatArray) -> FloatArray:
        return np.full(t.shape, self.turns[0][role])


class Handled(SimulatedBoard):
    """Somebody moves the leads between readings. `pulled`: the cable goes at this reading."""

    def __init__(self, leads: Leads, converter: Converter, pulled: int = 99) -> None:
        super().__init__("handled", leads, converter, 5)
        self.leads, self.pulled, self.readings = leads, pulled, 0
        self.deframer = wire.Deframer()
        self.kept: list[Calibration] = []
        self.asked: set[int] = set()

    def write(self, data: bytes) -> None:
        for frame in self.deframer.feed(data):
            self.asked.add(frame.kind)
            if frame.kind == wire.START:
                self.readings += 1
                if self.readings == self.pulled:
                    raise LinkLostError("handled: the cable was pulled")
                if len(self.leads.turns) > 1:
                    self.leads.turns.pop(0)
        super().write(data)

    def stored(self) -> Calibration:
        table = self._tables["calibration"]
        assert isinstance(table, dict)
        return Calibration.from_json(table)


def drawn(seed: int = 4) -> Converter:
    """A board built to the notes, its errors drawn from what the shipped calibration allows."""
    with resources.as_file(resources.files("firstcrank.data") / "calibration_minimal_12v.toml") as path:
        return drawn_converter(read_calibration(path), np.random.default_rng(seed))


def typed(monkeypatch: pytest.MonkeyPatch, folder: Path, device: Handled, lines: list[str], *more: str) -> tuple[Result, Path]:
    monkeypatch.setattr(link_open, "open_link", lambda port: device)
    monkeypatch.setenv("XDG_DATA_HOME", str(folder))
    meter = ["--meter", "bench meter", "--meter-percent", "0.05", "--meter-mv", "5"]
    result = CliRunner().invoke(board_command, ["calibrate", *meter, *more], input="\n".join(lines) + "\n")
    return result, folder


def test_the_whole_way(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    converter = drawn()
    device = Handled(Leads(SHORTED, BATTERY_ALONE, KEY_ALONE, LOW, HIGH), converter)
    out = tmp_path / "mine.toml"
    result, _ = typed(monkeypatch, tmp_path, device, ["", "", "", "six", "6,2", "14.8 V", ""], "--out", str(out))
    assert result.exit_code == 0, result.output
    assert "'six' is no voltage" in result.output
    stored = device.stored()
    assert stored.kind == "measured"
    assert stored.meter == "bench meter: 0.050% + 5 mV"
    for role in SHORTED:
        line = stored.channel(role)
        true_v = 10.0
        code = converter.codes(role, np.full(4000, true_v), 6e-6, np.random.default_rng(1)).mean()
        assert abs(float(line.volts(code)) - true_v) < expanded_v(line, true_v) < 0.1
    copy = read_calibration(out)
    assert copy.channels == stored.channels
    assert copy.date == stored.date


def test_without_out_a_copy_lies_in_the_data_folder(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    device = Handled(Leads(SHORTED, BATTERY_ALONE, KEY_ALONE, HIGH), drawn())
    result, folder = typed(monkeypatch, tmp_path, device, ["", "", "", "14.8", "", ""])
    assert result.exit_code == 0, result.output
    assert "nothing would show a slip of the meter: what is left is ±" in result.output
    (copy,) = folder.glob("firstcrank/calibrations/*.toml")
    assert str(copy) in result.output.replace("\n", "")
    assert read_calibration(copy).board == device.stored().board != ""


@pytest.mark.parametrize("pulled", [2, 4, 5])
def test_unplugged_in_the_middle_leaves_the_board_as_it_was(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, pulled: int
) -> None:
    device = Handled(Leads(SHORTED, BATTERY_ALONE, KEY_ALONE, LOW, HIGH), drawn(), pulled)
    before = device.stored()
    result, folder = typed(monkeypatch, tmp_path, device, ["", "", "", "6.2", "14.8", ""])
    assert isinstance(result.exception, LinkLostError)
    assert device.stored() == before
    assert not list(folder.glob("firstcrank/calibrations/*"))


def test_a_wrong_lead_can_be_put_right(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    off = {**HIGH, "key_switch": 0.0}
    device = Handled(Leads(SHORTED, BATTERY_ALONE, KEY_ALONE, off, HIGH, LOW), drawn())
    result, _ = typed(monkeypatch, tmp_path, device, ["", "", "", "14.8", "14.8", "6.2", ""])
    assert result.exit_code == 0, result.output
    assert "key switch: reads nothing" in result.output
    assert "not taken" in result.output


@pytest.mark.parametrize("seed", [4, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (7, 9))])
def test_a_battery_typed_by_its_name_costs_that_point_only(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, seed: int) -> None:
    """A "9 V" cell gives 8.6 V: named once the second voltage is there, read again as the meter shows it, all else kept."""
    cell, battery = dict.fromkeys(SHORTED, 8.6), dict.fromkeys(SHORTED, 13.2)
    device = Handled(Leads(SHORTED, BATTERY_ALONE, KEY_ALONE, cell, battery, cell), drawn(seed))
    before = device.stored()
    result, _ = typed(monkeypatch, tmp_path, device, ["", "", "", "9", "13.2", "8.6 volts", ""])
    assert result.exit_code == 0, result.output
    assert "9.00 V is +0.4" in result.output
    assert "Only this point is taken again" in result.output
    assert device.stored() != before
    line = device.stored().channel("key_switch")
    assert float(line.volts(line.real_code(7.0))) == pytest.approx(7.0)
    assert abs(line.offset_v) < 0.12


def test_only_short_recordings_are_read(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The board's slow self-check is not asked: calibrating samples as recordings do."""
    device = Handled(Leads(SHORTED, BATTERY_ALONE, KEY_ALONE, LOW, HIGH), drawn())
    result, _ = typed(monkeypatch, tmp_path, device, ["", "", "", "6.2", "14.8", ""])
    assert result.exit_code == 0, result.output
    assert device.readings == 5
    assert wire.SELF_CHECK not in device.asked


def test_inputs_for_grounds_get_their_own_voltages(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The better build: its ground inputs reach 4 V, so 12 V on them would say nothing."""
    short = {**SHORTED, "module_ground": 0.0}
    cell, two_cells = {**short, "module_ground": 1.55}, {**short, "module_ground": 3.1}
    turns = (short, *({**short, role: 12.5} for role in SHORTED), {**short, **LOW}, {**short, **HIGH}, cell, two_cells)
    converter = drawn()
    device = Handled(Leads(*turns), converter)
    leads = [f"--lead={role}={26 + n}" for n, role in enumerate(short)]
    lines = ["", "", "", "", "6.2", "14.8", "", "1.55", "3.1", ""]
    result, _ = typed(monkeypatch, tmp_path, device, lines, *leads)
    assert result.exit_code == 0, result.output
    assert "on these leads: module ground" in result.output
    line = device.stored().channel("module_ground")
    code = converter.codes("module_ground", np.full(4000, -0.4), 8e-6, np.random.default_rng(1)).mean()
    assert float(line.volts(code)) == pytest.approx(-0.4, abs=0.02)
