"""The command line as a user meets it: exit codes, JSON, one plain line for every trouble, prompts while recording."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from firstcrank.cli.main import COMMANDS, main

from .recording_edits import as_format_1
from .sim_recording import recorded


def run(*args: str) -> int:
    with pytest.raises(SystemExit) as left:
        main(list(args))
    return int(left.value.code or 0)


@pytest.fixture
def healthy(tmp_path: Path) -> Path:
    path = tmp_path / "healthy.fcr"
    path.write_bytes(recorded("healthy"))
    return path


@pytest.fixture
def failing(tmp_path: Path) -> Path:
    path = tmp_path / "failing.fcr"
    path.write_bytes(recorded("feed_dead_in_start"))
    return path


@pytest.fixture
def short(tmp_path: Path) -> Path:
    path = tmp_path / "short.fcr"
    path.write_bytes(recorded("short_crank"))
    return path


def test_help_lists_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--help") == 0
    output = capsys.readouterr().out
    assert all(name in output for name in COMMANDS)


@pytest.mark.parametrize("name", list(COMMANDS))
def test_every_command_loads_and_has_help(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(name, "--help") == 0
    assert "Usage: firstcrank" in capsys.readouterr().out


def test_exit_codes_of_judge(healthy: Path, failing: Path, short: Path) -> None:
    assert run("judge", str(healthy)) == 0
    assert run("judge", str(failing)) == 1
    assert run("judge", str(short)) == 3


def test_of_several_files_the_worst_counts(healthy: Path, failing: Path, short: Path, tmp_path: Path) -> None:
    missing = str(tmp_path / "missing.fcr")
    assert run("judge", str(healthy), str(short)) == 3
    assert run("judge", str(healthy), str(short), str(failing)) == 1
    assert run("judge", str(failing), missing) == 4
    assert run("judge", str(failing), missing, "--limits", str(tmp_path / "none.toml")) == 2


def test_json_is_one_object_a_file_and_nothing_else(healthy: Path, failing: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("judge", "--json", str(healthy), str(failing)) == 1
    lines = capsys.readouterr().out.splitlines()
    good, bad = map(json.loads, lines)
    assert (good["verdict"], bad["verdict"]) == ("PASS", "FAIL")
    for judged in (good, bad):
        wanted = {
            "file",
            "verdict",
            "reasons",
            "findings",
            "dropouts",
            "cranks",
            "assumptions",
            "not_measured",
            "likely_causes",
        }
        assert wanted <= set(judged)
        for finding in judged["findings"]:
            assert {"check", "result", "measured", "uncertainty", "limit", "unit", "at_s"} <= set(finding)
            assert finding["result"] in ("pass", "fail", "warn", "no verdict", "not measured")
        for crank in judged["cranks"]:
            assert {"start_s", "end_s", "speed_rpm", "speed_uncertainty_rpm"} <= set(crank)
    for dropout in bad["dropouts"]:
        assert {"role", "phase", "start_s", "duration_s", "lowest_v", "counts"} <= set(dropout)
    ids = {finding["check"].split(".")[0] for finding in good["findings"]}
    spine = {"key_feed_dropout", "key_feed_drop_steady", "key_feed_drop_brief", "key_feed_chatter"}
    assert spine | {"battery_rest", "battery_minimum", "battery_crank"} <= ids
    assert bad["likely_causes"][0]["cause"] == "feed_dead_in_start"


def test_a_pass_is_worded_for_the_feed_and_lists_what_was_not_measured(
    healthy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run("judge", str(healthy))
    output = capsys.readouterr().out
    assert "Key feed: PASS" in output
    assert "Not measured" in output
    assert "Intake heater" in output


def test_unasked_answers_are_assumptions_and_options_replace_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "start.fcr"
    path.write_bytes(as_format_1(recorded("healthy"), answers={}))
    code = run("judge", "--json", str(path))
    judged = json.loads(capsys.readouterr().out)
    assert code == 0
    assert any("vehicle's own key" in line for line in judged["assumptions"])
    assert run("judge", str(path), "--remote-start") == 3
    assert run("judge", str(path), "--module-unplugged") == 3


@pytest.mark.parametrize(
    ("args", "code", "expected"),
    [
        (("judge",), 2, "Missing argument"),
        (("judge", "x.fcr", "--system", "6"), 2, "'6' is not one of"),
        (("nonsense",), 2, "No such command"),
        (("record", "--port", "sim:no_such_thing", "--yes"), 2, "no_such_thing"),
        (("record", "--port", "/dev/no_such_port", "--yes"), 4, "there is no port /dev/no_such_port"),
        (("record", "--port", "sim:other_firmware", "--yes"), 4, "firstcrank board install"),
        (("record", "--port", "sim:bare_prompt", "--yes"), 4, "firstcrank board install"),
        (("record", "--port", "sim:silent_board", "--yes"), 4, "nothing answers"),
    ],
)
def test_trouble_is_one_plain_line_and_its_code(
    args: tuple[str, ...],
    code: int,
    expected: str,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(*args) == code
    errors = capsys.readouterr().err
    assert expected in errors
    assert "Traceback" not in errors


def test_no_board_and_two_boards(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    def listed(*devices: str) -> None:
        found = [SimpleNamespace(device=d, serial_number="S" + d[-1], description="", vid=0x2E8A, pid=0x0005) for d in devices]
        other = SimpleNamespace(device="/dev/ttyS0", serial_number=None, description="", vid=None, pid=None)
        monkeypatch.setattr("serial.tools.list_ports.comports", lambda: [*found, other])

    listed()
    assert run("record", "--yes") == 4
    assert "no board found: plug it in" in capsys.readouterr().err
    assert run("board", "list") == 0
    listed("/dev/ttyACM0", "/dev/ttyACM1")
    assert run("record", "--yes") == 4
    errors = capsys.readouterr().err
    assert "2 boards found" in errors
    assert "--port" in errors
    assert "/dev/ttyACM1" in errors


def test_record_on_the_bench_tells_what_to_do_and_keeps_the_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "start.fcr"
    assert run("record", "--port", "sim:healthy", "--out", str(path), "--yes", "--key-start", "--module-plugged") == 0
    output = capsys.readouterr().out
    order = [
        "Before you touch the key",
        "KEY OFF",
        "Turn the key ON",
        "When it goes out CRANK AT ONCE",
        "LEAVE THE KEY ON",
        "Key feed: PASS",
    ]
    places = [output.index(text) for text in order]
    assert places == sorted(places)
    assert path.exists()
    assert run("judge", str(path)) == 0


def test_an_existing_recording_is_never_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "start.fcr"
    path.write_bytes(b"precious")
    assert run("record", "--port", "sim:healthy", "--out", str(path), "--yes") == 2
    assert path.read_bytes() == b"precious"


def test_a_cable_pulled_in_the_crank_keeps_what_came_and_gives_no_verdict(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "start.fcr"
    assert run("record", "--port", "sim:cable_pulled", "--out", str(path), "--yes", "--key-start", "--module-plugged") == 3
    assert path.stat().st_size > 10_000
    assert "cable" in capsys.readouterr().out


def test_limits_written_out_are_read_again(tmp_path: Path, healthy: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "limits.toml"
    assert run("limits", "write", str(path)) == 0
    assert run("limits", "write", str(path)) == 2
    assert run("judge", str(healthy), "--limits", str(path)) == 0
    path.write_text(path.read_text().replace("[module_minimum_v]\nvalue = 7.0", "[module_minimum_v]\nvalue = -7.0"))
    assert run("judge", str(healthy), "--limits", str(path)) == 2
    assert "module_minimum_v is -7 V, must lie between 1 and 30" in capsys.readouterr().err


@pytest.mark.slow
def test_demo_comes_out_as_it_should() -> None:
    done = subprocess.run([sys.executable, "-m", "firstcrank.cli.main", "demo"], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.index("Key feed: FAIL") < done.stdout.index("Key feed: PASS")
    assert max(map(len, done.stdout.splitlines())) <= 80


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("host_stalls", "are missing at"),
        ("board_restarts", "breaks off"),
        ("corrupted_bytes", "lost or damaged on the way"),
        ("healthy_24v_with_12v_limits", "use --system 24"),
    ],
)
def test_what_went_wrong_on_the_way_is_no_verdict(
    name: str, expected: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "start.fcr"
    path.write_bytes(recorded(name.removesuffix("_with_12v_limits")))
    options = ["--system", "12"] if name.startswith("healthy_24v") else []
    assert run("judge", "--json", str(path), *options) == 3
    judged = json.loads(capsys.readouterr().out)
    assert any(expected in reason for reason in judged["reasons"]), judged["reasons"]


def test_an_unexpected_error_is_one_line_too(
    monkeypatch: pytest.MonkeyPatch, healthy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("a bug of ours")

    monkeypatch.setattr("firstcrank.tracefiles.table.load", broken)
    assert run("judge", str(healthy)) == 4
    errors = capsys.readouterr().err
    assert "RuntimeError: a bug of ours" in errors
    assert len(errors.splitlines()) == 1
    monkeypatch.setenv("FIRSTCRANK_TRACEBACK", "1")
    with pytest.raises(RuntimeError):
        main(["judge", str(healthy)])
