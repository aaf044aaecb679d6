"""Earlier calibrations stay, what has moved since is told with its uncertainty, and a sheet can be printed."""

from __future__ import annotations

from dataclasses import replace
from importlib import resources
from pathlib import Path

import pytest
from click.testing import CliRunner

from firstcrank.calibrating.history import kept_calibrations, movements, since_last
from firstcrank.calibrating.procedure import expanded_v
from firstcrank.calibrating.sheet import sheet
from firstcrank.calibration import Calibration, read_calibration
from firstcrank.cli.board import board as board_command
from firstcrank.cli.board_calibrate import _toml
from firstcrank.trace import Uncertainty

from .test_board_calibrate import BATTERY_ALONE, HIGH, KEY_ALONE, LOW, SHORTED, Handled, Leads, drawn, typed

OWN = Uncertainty(gain_rel=0.0, offset_v=0.010, noise_v=0.0)


def measured(date: str, moved_v: float = 0.0, board: str = "b0a2d1") -> Calibration:
    """The nominal lines as if measured: own uncertainty 10 mV each; `battery` reads `moved_v` higher."""
    with resources.as_file(resources.files("firstcrank.data") / "calibration_minimal_12v.toml") as path:
        nominal = read_calibration(path)
    lines = {role: replace(nominal.channel(role), uncertainty=OWN) for role in ("battery", "key_switch", "starter_coil")}
    lines["battery"] = replace(lines["battery"], offset_v=lines["battery"].offset_v + moved_v)
    return Calibration("measured", lines, date=date, meter="DMM 4: 0.500% + 20 mV", board=board)


def keep(folder: Path, calibration: Calibration) -> Path:
    path = folder / f"{calibration.board}_{calibration.date}.toml"
    path.write_text(_toml(calibration.to_json()), "utf-8")
    return path


@pytest.mark.parametrize(("moved_v", "real"), [(0.030, True), (0.028, False), (-0.030, True), (0.0, False)])
def test_a_movement_is_real_beyond_both_uncertainties(moved_v: float, real: bool) -> None:
    """10 mV each: 2 sqrt(10^2 + 10^2) = 28.3 mV together (JCGM 100 5.1.2, uncorrelated; k = 2)."""
    battery, key, _ = movements(measured("2026-03-02"), measured("2026-11-20", moved_v))
    assert battery.by_v == pytest.approx(moved_v, abs=1e-9)
    assert battery.expanded_v == pytest.approx(0.02828, abs=1e-5)
    assert battery.real is real
    assert not key.real
    assert f"moved by {moved_v * 1e3:+.0f} mV" in battery.text
    assert "since 2026-03-02" in battery.text


def test_an_input_through_another_converter_is_not_compared() -> None:
    earlier = measured("2026-03-02")
    other = {role: replace(line, converter="mcp3208") for role, line in earlier.channels.items()}
    assert movements(earlier, replace(measured("2026-11-20"), channels=other)) == ()


def test_the_newest_of_board_and_copies_is_compared_with(tmp_path: Path) -> None:
    keep(tmp_path, measured("2026-03-02", 0.1))
    on_board = measured("2026-05-01", 0.2)
    now = measured("2026-11-20", 0.23)
    kept = kept_calibrations(tmp_path, "b0a2d1")
    assert [calibration.date for _, calibration in kept] == ["2026-03-02"]
    assert since_last(kept, on_board, now)[0].by_v == pytest.approx(0.03)
    assert since_last(kept, None, now)[0].by_v == pytest.approx(0.13)
    assert since_last((), None, now) == ()
    assert since_last((), replace(on_board, kind="nominal"), now) == ()


def test_broken_copies_and_other_boards_are_left_out(tmp_path: Path) -> None:
    keep(tmp_path, measured("2026-03-02"))
    keep(tmp_path, measured("2026-04-02", board="b0a2d1ff"))
    (tmp_path / "b0a2d1_2026-05-05.toml").write_text("kind = [", "utf-8")
    assert [path.name for path, _ in kept_calibrations(tmp_path, "b0a2d1")] == ["b0a2d1_2026-03-02.toml"]


def test_the_command_lists_compares_and_writes_a_sheet(tmp_path: Path) -> None:
    keep(tmp_path, measured("2026-03-02"))
    keep(tmp_path, measured("2026-11-20", 0.03))
    page = tmp_path / "sheet.html"
    result = CliRunner().invoke(
        board_command, ["calibrations", "--folder", str(tmp_path), "--sheet", str(page), "--by", "Hale <b>"]
    )
    assert result.exit_code == 0, result.output
    assert result.output.index("2026-03-02") < result.output.index("2026-11-20")
    assert "battery: moved by +30 mV" in result.output
    text = page.read_text("utf-8")
    assert "Hale &lt;b&gt;" in text
    assert "battery: moved by +30 mV" in text
    assert f"<td>{expanded_v(measured('2026-11-20').channel('battery'), 12.0) * 1e3:.0f}</td>" in text


def test_several_boards_are_asked_for_by_name(tmp_path: Path) -> None:
    keep(tmp_path, measured("2026-03-02"))
    keep(tmp_path, measured("2026-03-02", board="other"))
    assert CliRunner().invoke(board_command, ["calibrations", "--folder", str(tmp_path)]).exit_code != 0
    named = CliRunner().invoke(board_command, ["calibrations", "other", "--folder", str(tmp_path)])
    assert named.exit_code == 0
    assert "other_2026-03-02.toml" in named.output


def test_an_empty_folder_says_what_to_do(tmp_path: Path) -> None:
    result = CliRunner().invoke(board_command, ["calibrations", "--folder", str(tmp_path)])
    assert "firstcrank board calibrate" in result.output


def test_above_its_range_a_sheet_states_nothing() -> None:
    low = {"battery": replace(measured("x").channel("battery"), gain_v_per_code=8.0 / 4095)}
    assert sheet(replace(measured("2026-03-02"), channels=low), ()).count("<td>-</td>") == 3  # 9, 12 and 14 V of 8 V


def test_calibrating_again_tells_what_has_moved_since(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for round_number in range(2):
        device = Handled(Leads(SHORTED, BATTERY_ALONE, KEY_ALONE, LOW, HIGH), drawn())
        result, folder = typed(monkeypatch, tmp_path, device, ["", "", "", "6.2", "14.8", ""])
        assert result.exit_code == 0, result.output
        assert ("moved by" in result.output) == bool(round_number)
    assert len(list(folder.glob("firstcrank/calibrations/*.toml"))) == 2
