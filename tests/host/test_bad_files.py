"""Files that people write or edit: whatever is in them, one line that says what to do, never a traceback or "unexpected"."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from firstcrank.calibration import Calibration, read_calibration
from firstcrank.errors import CalibrationError, FirstcrankError, LimitsError, UsageError
from firstcrank.limits import Limits, read_limits, shipped
from firstcrank.tracefiles.saved_maps import ENVIRONMENT, saved_maps

HUGE = "9" * 5000
LARGE = "9" * 400  # an integer that no float holds
DEEP = "[" * 4000 + "]" * 4000

LINE = "gain_v_per_code = {}\noffset_v = 0.0\nu_gain_rel = 0.001\nu_offset_v = 0.01\n"
NOMINAL = 'kind = "nominal"\n[channels.battery]\nr_top_ohm = {}\nr_bottom_ohm = 6800\ntolerance_rel = 0.01\n'
MEASURED = 'kind = "measured"\n[channels.battery]\n' + LINE
VALUES = [
    '"0.0047"',
    "[0.0047]",
    HUGE,
    LARGE,
    "true",
    "nan",
    "inf",
    "-inf",
    DEEP,
    "{a = 1}",
    "1979-05-27",
    '"' + "x" * 5000 + '"',
]


def one_line(error: FirstcrankError, path: Path) -> str:
    text = str(error)
    assert "\n" not in text
    assert len(text) < 600 + len(str(path))
    return text


@pytest.mark.parametrize("value", VALUES, ids=lambda v: v[:12])
@pytest.mark.parametrize("form", [NOMINAL, MEASURED], ids=["nominal", "measured"])
def test_a_calibration_of_nonsense(tmp_path: Path, form: str, value: str) -> None:
    path = tmp_path / "board.toml"
    path.write_text(form.format(value))
    with pytest.raises(CalibrationError, match=r"board\.toml") as caught:
        read_calibration(path)
    one_line(caught.value, path)


@pytest.mark.parametrize(
    "text",
    [
        "channels = 5\nkind = 'nominal'\n",
        "channels = 5\nkind = 'measured'\n",
        "kind = 'measured'\nchannels = {battery = 3}\n",
        "kind = 'nominal'\nchannels = {battery = [1]}\n",
        "kind = 3\n[channels]\n",
        "kind = 'measured'\nnotes = 5\n[channels]\n",
        "kind = 'measured'\nnotes = [5]\n[channels]\n",
        "kind = 'measured'\ndate = 1979-05-27\n[channels]\n",
        NOMINAL.format("33e3") + "clamp = 'string'\n",
        NOMINAL.format("33e3") + "converter = 7\n",
        MEASURED.format("0.0047") + "terms = [1, 2]\n",
        MEASURED.format("0.0047") + "terms = 'abcde'\n",
        MEASURED.format("0.0047") + "converter = 'another'\n",
        MEASURED.format("0.0047") + "shared = [1e400, 0, 0]\n",
        "x" * 1_100_000,
        "a = " + DEEP,
    ],
    ids=lambda t: t[:30],
)
def test_a_calibration_of_another_shape(tmp_path: Path, text: str) -> None:
    path = tmp_path / "board.toml"
    path.write_text(text)
    with pytest.raises(CalibrationError, match=r"board\.toml") as caught:
        read_calibration(path)
    one_line(caught.value, path)


@pytest.mark.parametrize("data", [b"\xff\xfe\x00", b"\x00\x01", "kind = 'nominal'\n".encode("utf-16")])
def test_bytes_that_are_no_text(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "board.toml"
    path.write_bytes(data)
    for read, refused in ((read_calibration, CalibrationError), (read_limits, LimitsError)):
        with pytest.raises(refused) as caught:
            read(path)
        one_line(caught.value, path)


def test_a_byte_order_mark_is_passed_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x.toml"
    path.write_text("\ufeff" + NOMINAL.format("33e3"), "utf-8")
    assert read_calibration(path).channel("battery").gain_v_per_code > 0
    path.write_text("\ufeffmodule_minimum_v = 6.5\n", "utf-8")
    assert read_limits(path)["module_minimum_v"] == 6.5
    path.write_text("\ufeff[mine]\nbattery = 'CH1'\n", "utf-8")
    monkeypatch.setenv(ENVIRONMENT, str(path))
    assert saved_maps()["mine"].columns == {"battery": "CH1"}


@pytest.mark.parametrize("value", VALUES, ids=lambda v: v[:12])
@pytest.mark.parametrize("key", ["module_minimum_v", "system_v"])
def test_limits_of_nonsense(tmp_path: Path, key: str, value: str) -> None:
    path = tmp_path / "limits.toml"
    path.write_text(f"{key} = {value}\n")
    with pytest.raises(LimitsError, match=r"limits\.toml") as caught:
        read_limits(path)
    one_line(caught.value, path)


@pytest.mark.parametrize("value", ["5", HUGE, DEEP, "nan", "[1]", "1979-05-27"], ids=lambda v: v[:12])
def test_maps_of_nonsense(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, value: str) -> None:
    path = tmp_path / "maps.toml"
    path.write_text(f"[mine]\nbattery = {value}\n")
    monkeypatch.setenv(ENVIRONMENT, str(path))
    with pytest.raises(UsageError, match="maps file") as caught:
        saved_maps()
    one_line(caught.value, path)


@pytest.mark.parametrize("damage", ["text", [1], 10**400, None, True, float("nan")])
def test_tables_of_a_recording_or_the_board(damage: object) -> None:
    """The same by JSON, which can hold what TOML cannot."""
    calibration = json.loads(json.dumps(Calibration("nominal", {}).to_json()))
    line = {"gain_v_per_code": 0.0047, "offset_v": 0.0, "u_gain_rel": 0.001, "u_offset_v": 0.01}
    for key in line:
        with pytest.raises(CalibrationError, match=key):
            Calibration.from_json({**calibration, "channels": {"battery": {**line, key: damage}}})
    for key in ("channels", "notes", "kind"):
        with pytest.raises(CalibrationError):
            Calibration.from_json({**calibration, "channels": {"battery": line}, key: damage})
    limits: dict[str, Any] = {**shipped(12).to_json()}
    for key in ("system_v", "values", "sources"):
        with pytest.raises(LimitsError):
            Limits.from_json({**limits, key: damage})
    with pytest.raises(LimitsError):
        Limits.from_json({**limits, "values": {**limits["values"], "module_minimum_v": damage}})
