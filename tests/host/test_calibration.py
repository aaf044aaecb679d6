"""Calibration: codes to volts, nominal lines from resistor values, the TOML and JSON forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcrank.calibration import Calibration, ChannelCalibration, nominal_channel, read_calibration
from firstcrank.errors import CalibrationError
from firstcrank.trace import Uncertainty

LINE = ChannelCalibration(0.00447, -0.012, Uncertainty(0.002, 0.005, 0.001, 0.006), filter_s=1.8e-4, converter="rp2040")


def test_negative_readings_are_kept() -> None:
    """An offset below zero must show: clamping it to 0 V would hide a lead on the wrong post."""
    assert LINE.volts(0) == pytest.approx(-0.012)


@given(st.integers(0, 4095))
def test_code_undoes_volts(code: int) -> None:
    assert LINE.code(float(LINE.volts(code))) == code


def test_code_stays_in_range() -> None:
    assert LINE.code(1000.0) == 4095
    assert LINE.code(-1000.0) == 0


def test_json_round_trip() -> None:
    calibration = Calibration("measured", {"battery": LINE}, date="2026-01-02", meter="0.5 %", board="b0", notes=("n",))
    assert Calibration.from_json(calibration.to_json()) == calibration


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda d: d.pop("kind"), "kind"),
        (lambda d: d["channels"]["battery"].pop("gain_v_per_code"), "gain_v_per_code"),
        (lambda d: d["channels"]["battery"].update(u_offset_v=-1.0), "offset_v"),
        (lambda d: d["channels"].update(radio=d["channels"]["battery"]), "radio"),
    ],
)
def test_unusable_json_names_the_key(spoil: object, said: str) -> None:
    data = Calibration("measured", {"battery": LINE}).to_json()
    spoil(data)  # type: ignore[operator]
    with pytest.raises(CalibrationError, match=said):
        Calibration.from_json(data)


@pytest.mark.parametrize("gain", [0.0, -0.001, math.nan, math.inf])
def test_gain_must_be_positive(gain: float) -> None:
    with pytest.raises(CalibrationError, match="gain"):
        ChannelCalibration(gain, 0.0, Uncertainty(0.0, 0.0))


def test_a_missing_role_is_never_guessed() -> None:
    with pytest.raises(CalibrationError, match="no line for key_switch"):
        Calibration("nominal", {"battery": LINE}).channel("key_switch")


def test_nominal_line_is_the_divider() -> None:
    """Hand figures: 100 k over 22 k is 122/22; at 3.3 V the top code reads 4095/4096 of 18.3 V."""
    line = nominal_channel(100e3, 22e3, 0.01)
    assert line.gain_v_per_code == pytest.approx(3.3 / 4096 * 122 / 22)
    assert line.full_scale_v == pytest.approx(18.3 * 4095 / 4096)
    assert line.uncertainty.gain_rel == pytest.approx(0.0066926, rel=1e-4)


def test_nominal_toml(tmp_path) -> None:
    file = tmp_path / "board.toml"
    file.write_text('kind = "nominal"\n[channels.battery]\nr_top_ohm = 1e5\nr_bottom_ohm = 22e3\ntolerance_rel = 0.01\n')
    assert read_calibration(file).channel("battery").gain_v_per_code == pytest.approx(3.3 / 4096 * 122 / 22)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("not toml [", "board.toml"),
        ('kind = "nominal"\n[channels.battery]\nr_top_ohm = 1e5\ncolour = 3\n', "colour"),
        ('kind = "nominal"\n[channels.battery]\nr_top_ohm = 0\nr_bottom_ohm = 1\ntolerance_rel = 0.01\n', "r_top_ohm"),
        ('kind = "guess"\n[channels]\n', "guess"),
    ],
)
def test_unusable_toml_says_why(tmp_path, text: str, said: str) -> None:
    file = tmp_path / "board.toml"
    file.write_text(text)
    with pytest.raises(CalibrationError, match=said):
        read_calibration(file)


def test_volts_keep_the_shape() -> None:
    assert LINE.volts(np.zeros((3, 2))).shape == (3, 2)
