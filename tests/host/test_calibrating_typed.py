"""What people type for a voltage and a meter's accuracy."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from firstcrank.calibrating.typed import meter_volts, share, volts
from firstcrank.cli.board import board as board_command
from firstcrank.errors import CalibrationError, UsageError


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12.6", 12.6),
        ("12,6", 12.6),
        (" 12,6 V ", 12.6),
        ("9 volts", 9.0),
        ("9volt", 9.0),
        ("8900 mV", 8.9),
        (".5", 0.5),
        ("-0.4", -0.4),
        ("12. V", 12.0),
    ],
)
def test_voltages(text: str, value: float) -> None:
    assert volts(text) == pytest.approx(value)


@pytest.mark.parametrize("text", ["six", "", "1_2", "12.6.1", "1e3", "nan", "inf", "12 A", "12 12", "٣", "9" * 400, "V"])
def test_no_voltages(text: str) -> None:
    with pytest.raises(UsageError) as caught:
        volts(text)
    assert len(str(caught.value)) < 100


@pytest.mark.parametrize(
    ("text", "value"),
    [("20", 0.02), ("20 mV", 0.02), ("0.02 V", 0.02), ("2 counts of 10 mV", 0.02), ("2x10mV", 0.02), ("3 digits 1", 0.003)],
)
def test_the_volts_of_a_meter(text: str, value: float) -> None:
    assert meter_volts(text) == pytest.approx(value)


@pytest.mark.parametrize(("text", "value"), [("0.5", 0.005), ("0,5 %", 0.005), ("0.5%", 0.005), ("1 percent", 0.01)])
def test_the_share_of_a_meter(text: str, value: float) -> None:
    assert share(text) == pytest.approx(value)


@pytest.mark.parametrize("text", ["much", "20 mV", "5 % 5", ""])
def test_no_share(text: str) -> None:
    with pytest.raises(UsageError):
        share(text)


def test_a_meter_without_error_is_refused_before_a_board_is_looked_for(tmp_path: Path) -> None:
    typed = ["calibrate", "--meter", "m", "--meter-percent", "0 %", "--meter-mv", "0"]
    result = CliRunner().invoke(board_command, typed)
    assert isinstance(result.exception, CalibrationError)
    assert "no meter is without error" in str(result.exception)


def test_a_meters_accuracy_is_asked_again() -> None:
    result = CliRunner().invoke(board_command, ["calibrate"], input="m\nmuch\n0,0 %\nwhat\n0 counts of 10 mV\n")
    assert "'much' is no accuracy: write 0.5 %" in result.output
    assert "'what' is no voltage" in result.output
    assert isinstance(result.exception, CalibrationError)
