"""Which calibration a recording gets, and what is told about it: age, another converter, none at all."""

from __future__ import annotations

import io
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from firstcrank.calibration import Calibration, CalibrationTable, read_calibration
from firstcrank.cli.record import choose_calibration
from firstcrank.errors import CalibrationError
from firstcrank.limits import shipped

TODAY = date(2026, 6, 1)


class Board:
    """Answers for the calibration that it keeps."""

    def __init__(self, stored: CalibrationTable | None, chip: str = "Raspberry Pi Pico with RP2040") -> None:
        self.identity, self.stored = {"chip": chip}, stored

    def ask(self, kind: int, answer: int, table: dict[str, Any]) -> dict[str, Any]:
        return {"calibration": self.stored}


def measured(days_old: int) -> Calibration:
    nominal = choose(Board(None))[0]
    return Calibration("measured", nominal.channels, date=(TODAY - timedelta(days_old)).isoformat())


def choose(board: Board, file: Path | None = None, acquisition: str = "auto") -> tuple[Calibration, str]:
    output = io.StringIO()
    console = Console(file=output, width=200)
    return choose_calibration(board, file, shipped(12), console, acquisition, TODAY), output.getvalue()  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("days_old", "expected"), [(10, ""), (400, "The calibration is 400 days old"), (-30, "is this computer's clock right?")]
)
def test_an_old_calibration_is_told_before_the_crank(days_old: int, expected: str) -> None:
    _, output = choose(Board(measured(days_old).to_json()))
    assert expected in output
    assert ("firstcrank board calibrate" in output) == bool(expected)


def test_an_old_file_is_told_as_well(tmp_path: Path) -> None:
    from firstcrank.cli.board_calibrate import _toml

    file = tmp_path / "mine.toml"
    file.write_text(_toml(measured(500).to_json()), "utf-8")
    assert "500 days old" in choose(Board(None), file)[1]
    assert read_calibration(file).kind == "measured"


@pytest.mark.parametrize(("chip", "acquisition"), [("Pico2 with RP2350", "auto"), ("Pico with RP2040", "spi_mcp3208")])
def test_a_measured_line_of_another_converter_is_refused(chip: str, acquisition: str) -> None:
    with pytest.raises(CalibrationError, match=r"measured through rp2040, and this board samples through"):
        choose(Board(measured(1).to_json(), chip), acquisition=acquisition)


@pytest.mark.parametrize(
    ("chip", "acquisition", "name"),
    [("RP2040", "auto", "rp2040"), ("RP2350", "rp2_dma", "rp2350"), ("RP2040", "spi_mcp3208", "mcp3208")],
)
def test_without_any_the_nominal_one_is_the_converters(chip: str, acquisition: str, name: str) -> None:
    calibration, output = choose(Board(None, chip), acquisition=acquisition)
    assert calibration.channel("battery").converter == name
    assert "not calibrated" in output
