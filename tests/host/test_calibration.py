"""Calibration: codes to volts, nominal lines from resistor values, the TOML and JSON forms."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcrank import wire
from firstcrank.analysis.uncertainty import of_voltage
from firstcrank.calibration import OLDER, Calibration, ChannelCalibration, nominal_channel, read_calibration
from firstcrank.converters import as_given, converter_of
from firstcrank.errors import CalibrationError
from firstcrank.nominal_files import nominal_file
from firstcrank.roles import ROLES
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
    ("damage", "expected"),
    [
        (lambda d: d.pop("kind"), "kind"),
        (lambda d: d["channels"]["battery"].pop("gain_v_per_code"), "gain_v_per_code"),
        (lambda d: d["channels"]["battery"].update(u_offset_v=-1.0), "offset_v"),
        (lambda d: d["channels"].update(radio=d["channels"]["battery"]), "radio"),
    ],
)
def test_unusable_json_names_the_key(damage: Callable[[dict[str, Any]], object], expected: str) -> None:
    data: dict[str, Any] = {**Calibration("measured", {"battery": LINE}).to_json()}
    damage(data)
    with pytest.raises(CalibrationError, match=expected):
        Calibration.from_json(data)


OLD = {  # as an earlier version kept it
    "kind": "measured",
    "date": "2026-01-02",
    "meter": "m: 0.1 % + 2 mV",
    "board": "b0",
    "notes": [],
    "channels": {
        "battery": {
            "gain_v_per_code": 0.00472,
            "offset_v": -0.012,
            "u_gain_rel": 0.0005,
            "u_offset_v": 0.006,
            "u_shared_gain_rel": 0.0006,
            "noise_v": 0.006,
            "spike_v": 0.0123,
            "filter_s": 5.6e-5,
        }
    },
}


def test_an_older_calibration_reads_with_the_usual_terms_and_a_note() -> None:
    """Its line was fitted to plain codes, so they stay plain, and the steps are stated in full: 4.5 / sqrt(3) codes."""
    calibration = Calibration.from_json(OLD)
    line = calibration.channel("battery")
    assert calibration.notes == (OLDER,)
    assert line.volts(1535) == pytest.approx(1535 * 0.00472 - 0.012)
    u = line.uncertainty
    assert u.steps_v == pytest.approx(max(4.5 / 3**0.5 * 0.00472, 0.0123))
    assert min(u.drift_rel, u.shared_drift_rel, u.leakage_v, u.settling_v) > 0.0
    was = Uncertainty(0.0005, 0.006, 0.0006, 0.006)
    assert of_voltage(12.0, u) > 2.0 * of_voltage(12.0, was)
    again = Calibration.from_json(calibration.to_json())
    assert again.notes == (OLDER,)
    assert of_voltage(7.0, again.channel("battery").uncertainty) == pytest.approx(of_voltage(7.0, u), rel=1e-5)


def test_a_board_keeps_all_leads_in_one_frame() -> None:
    """A calibration of every role goes over the wire as one command."""
    line = nominal_channel(33e3, 6.8e3, 0.01, filter_f=1e-8, input_ohm=1e5)
    full = replace(
        LINE, uncertainty=replace(line.uncertainty, pivot_v=6.12345678, shared_pivot_v=6.7, shared_slope_rel=1 / 3e3)
    )
    kept = Calibration(
        "measured", dict.fromkeys(ROLES, full), date="2026-01-02", meter="a meter with a long name", board="b" * 16
    )
    assert len(json.dumps({"store": kept.to_json()})) < wire.MAX_BODY_BYTES - 200


def test_another_converter_behind_the_inputs(tmp_path: Path) -> None:
    """An MCP3208 does not load the divider; half of an RP2040's least input resistance behind 5.64 k + 4.7 k makes its 12.00 V 12.59."""
    with resources.as_file(resources.files("firstcrank.data") / "calibration_minimal_12v.toml") as path:
        own, external, newer = (read_calibration(path, name).channel("battery") for name in (None, "mcp3208", "rp2350"))
    for name, same in (("mcp3208", external), ("rp2350", newer)):
        with nominal_file(12, name) as path:
            assert read_calibration(path).channel("battery") == same
    code = 12.0 * 6.8 / 39.8 / 3.3 * 4096  # an even converter, 33 k over 6.8 k
    assert external.volts(code) == pytest.approx(12.0, abs=0.001)
    assert own.volts(as_given("rp2040", code)) == pytest.approx(12.0 / (1.0 - 0.5 * 10.338 / 110.338), abs=0.001)
    assert (external.converter, newer.converter) == ("mcp3208", "rp2350")
    assert of_voltage(12.0, external.uncertainty) < 0.7 * of_voltage(12.0, own.uncertainty)
    file = tmp_path / "mine.toml"
    file.write_text(
        'kind = "nominal"\n[channels.battery]\nr_top_ohm = 1e5\nr_bottom_ohm = 22e3\ntolerance_rel = 0.01\nclamp = "bav199"\n'
        'converter = "rp2040"\n'
    )
    output = read_calibration(file, "mcp3208").channel("battery")
    assert output.converter == "rp2040"  # what the file says of its own board wins
    clamp_v, pin_v = 5e-9 * 2**1.5 * 1e5, 1e-6 * 2**-4.5 * 1e5  # BAV199's sheet and the pin's, at 40 degC
    assert output.uncertainty.leakage_v == pytest.approx((clamp_v**2 + pin_v**2) ** 0.5 / 3**0.5)


@pytest.mark.parametrize(
    ("acquisition", "chip", "name"),
    [
        ("auto", "Raspberry Pi Pico with RP2040", "rp2040"),
        ("rp2_dma", "Raspberry Pi Pico2 with RP2350", "rp2350"),
        ("spi_mcp3208", "Raspberry Pi Pico with RP2040", "mcp3208"),
        ("portable", "", "rp2040"),
    ],
)
def test_which_converter_samples(acquisition: str, chip: str, name: str) -> None:
    assert converter_of(acquisition, chip) == name


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


@pytest.mark.parametrize("value", [-1e-12, -1.0, math.nan, math.inf])
@pytest.mark.parametrize("name", ["filter_f", "noise_code"])
def test_a_capacitor_or_noise_below_0_is_refused(name: str, value: float) -> None:
    """A capacitor of minus the converter's own divides by 0; another one makes the stated uncertainty smaller than it is."""
    with pytest.raises(CalibrationError, match=name):
        nominal_channel(33e3, 6.8e3, 0.01, **{name: value})  # type: ignore[arg-type]


def test_nominal_toml(tmp_path: Path) -> None:
    file = tmp_path / "board.toml"
    file.write_text('kind = "nominal"\n[channels.battery]\nr_top_ohm = 1e5\nr_bottom_ohm = 22e3\ntolerance_rel = 0.01\n')
    assert read_calibration(file).channel("battery").gain_v_per_code == pytest.approx(3.3 / 4096 * 122 / 22)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("not toml [", "board.toml"),
        ('kind = "nominal"\n[channels.battery]\nr_top_ohm = 1e5\ncolour = 3\n', "colour"),
        ('kind = "nominal"\n[channels.battery]\nr_top_ohm = 0\nr_bottom_ohm = 1\ntolerance_rel = 0.01\n', "r_top_ohm"),
        (
            'kind = "nominal"\n[channels.battery]\nr_top_ohm = 1\nr_bottom_ohm = 1\ntolerance_rel = 0.01\nfilter_f = -1e-12\n',
            "filter_f",
        ),
        ('kind = "guess"\n[channels]\n', "guess"),
    ],
)
def test_unusable_toml_says_why(tmp_path: Path, text: str, expected: str) -> None:
    file = tmp_path / "board.toml"
    file.write_text(text)
    with pytest.raises(CalibrationError, match=expected):
        read_calibration(file)


def test_volts_keep_the_shape() -> None:
    assert LINE.volts(np.zeros((3, 2))).shape == (3, 2)
