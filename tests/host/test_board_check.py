"""The board check: each thing that can be wrong with a board is one line with what to do, and a bad board is not fit."""

from __future__ import annotations

import functools
import json
from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from firstcrank import wire
from firstcrank.board.before_crank import warnings_of
from firstcrank.board.check import Answers, ask_board, check
from firstcrank.calibration import Calibration
from firstcrank.cli.lead_map import channels_of
from firstcrank.cli.main import main
from firstcrank.errors import UsageError
from firstcrank.link.board_client import BoardClient
from firstcrank.link.open import open_link
from firstcrank.wire_bodies import IdentityBody, InputBody, SelfCheckBody

TODAY = date(2026, 6, 1)


@functools.cache
def asked(name: str = "healthy") -> Answers:
    client = BoardClient(open_link(f"sim:{name}"))
    client.handshake()
    return ask_board(client, channels_of(()))


def outcome(answers: Answers, what: str) -> tuple[str, str, str]:
    assert asked().calibration is not None
    lines = check(answers, asked().calibration or pytest.fail("no calibration"), TODAY)
    found = [line for line in lines if what in line.what]
    assert len(found) == 1, [line.what for line in lines]
    return found[0].outcome, found[0].seen, found[0].do


def with_input(role: str, **changed: object) -> Answers:
    answers = asked()
    entries = [{**entry, **changed} if entry["role"] == role else entry for entry in answers.selfcheck["inputs"]]
    inputs: list[InputBody] = json.loads(json.dumps(entries))
    return replace(answers, selfcheck={**answers.selfcheck, "inputs": inputs})


def measured(day: str) -> Calibration:
    calibration = asked().calibration
    assert calibration is not None
    return replace(calibration, kind="measured", date=day)


def test_a_good_board_is_fit() -> None:
    assert asked().calibration is not None
    lines = check(asked(), asked().calibration or pytest.fail("no calibration"), TODAY)
    assert {line.outcome for line in lines} == {"ok", "not checked"}
    assert all(line.do for line in lines if line.what == "supply and reference")


@pytest.mark.parametrize(
    ("role", "changed", "result", "expected"),
    [
        ("battery", {"highest_code": 4095, "mean_code": 4095.0}, "fail", "at the top"),
        ("battery", {"stuck": True}, "warn", "never changes"),
        ("key switch", {"rms_code": 40.0}, "warn", "restless"),
        ("key switch", {"mean_code": 0.0, "lowest_code": 0, "highest_code": 0}, "ok", "all read the same"),
        ("starter coil", {"mean_code": 0.0, "lowest_code": 0, "highest_code": 0}, "fail", "at the bottom"),
    ],
)
def test_inputs(role: str, changed: dict[str, object], result: str, expected: str) -> None:
    got, seen, do = outcome(with_input(role.replace(" ", "_"), **changed), f"input {role}")
    assert got == result
    assert expected in seen
    assert do or result == "ok"


def test_two_inputs_that_read_the_same_are_pointed_at() -> None:
    battery = next(e for e in asked().selfcheck["inputs"] if e["role"] == "battery")
    got = outcome(with_input("key_switch", mean_code=battery["mean_code"] + 1.0), "inputs battery and key switch")
    assert got[0] == "warn"


@pytest.mark.parametrize(
    ("calibration", "result", "expected"),
    [
        (None, "warn", "none on the board"),
        ("2026-05-01", "ok", "measured 2026-05-01"),
        ("2025-05-01", "warn", "396 days old"),
        ("", "warn", "without a date"),
    ],
)
def test_calibration(calibration: str | None, result: str, expected: str) -> None:
    answers = replace(asked(), calibration=None if calibration is None else measured(calibration))
    got, seen, do = outcome(answers, "calibration")
    assert (got, bool(do)) == (result, result == "warn")
    assert expected in seen


@pytest.mark.parametrize(
    ("ratio", "result"), [(1.0, "ok"), (1.009, "ok"), (0.985, "fail"), (1.02, "fail"), (None, "not checked")]
)
def test_clock(ratio: float | None, result: str) -> None:
    assert outcome(replace(asked(), clock_ratio=ratio), "clock")[0] == result


def test_frames_lost_or_damaged_are_the_cable() -> None:
    frames = wire.Deframer().feed(asked().recording)
    bins = [i for i, f in enumerate(frames) if f.kind == wire.BINS]
    kept = [f for i, f in enumerate(frames) if i != bins[len(bins) // 2]]
    data = b"".join(wire.encode_frame(f.kind, f.recording_id, f.sequence, f.body) for f in kept)
    got, seen, do = outcome(replace(asked(), recording=data), "link")
    assert got == "fail"
    assert "1 gaps" in seen
    assert "cable" in do
    assert outcome(replace(asked(), damaged_frames=3), "link")[0] == "fail"
    assert outcome(replace(asked(), recording=b""), "sampling")[0] == "fail"


class TailFirst:
    """A link whose first bytes are the end of something the board said while the port was closed."""

    def __init__(self) -> None:
        self.link = open_link("sim:healthy")
        self.name = self.link.name
        self.tail = b'"state": "idle"}' * 16 + b"\x00"

    def read(self, timeout_s: float) -> bytes:
        tail, self.tail = self.tail, b""
        return tail + self.link.read(timeout_s)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.link, name)


def test_what_a_closed_port_left_behind_is_no_damage() -> None:
    """MicroPython's USB buffer holds 256 bytes and more of an identity that nobody took."""
    client = BoardClient(TailFirst())
    client.handshake()
    answers = ask_board(client, channels_of(()))
    assert client.damaged_frames == 1
    assert answers.damaged_frames == 0
    assert outcome(answers, "link")[0] == "ok"


@pytest.mark.parametrize(
    ("speed", "result", "expected"),
    [(300_000.0, "ok", "takes 300 kB/s"), (40_000.0, "fail", "40 kB/s"), (0.0, "fail", "nothing"), (None, "ok", "")],
)
def test_the_links_speed(speed: float | None, result: str, expected: str) -> None:
    found = outcome(replace(asked(), link_bytes_per_s=speed), "link")
    assert found[0] == result
    assert expected in found[1]


@pytest.mark.parametrize(
    ("changes", "what", "result", "expected"),
    [
        ({"short_of_memory": "160000 bytes"}, "memory for recording", "fail", "160000"),
        ({"alone_error": "of version 1"}, "working alone", "fail", "version 1"),
        ({"error": "KeyError: x"}, "last error", "warn", "KeyError"),
        ({"restarts": 2, "causes": {"the reset pin": 2}, "missed": 1}, "restarts", "warn", "1 with the key on"),
    ],
)
def test_what_the_board_lived_through(changes: IdentityBody, what: str, result: str, expected: str) -> None:
    found = outcome(replace(asked(), identity={**asked().identity, **changes}), what)
    assert found[0] == result
    assert expected in found[1]
    assert found[2]


@pytest.mark.parametrize(
    ("counters", "result", "expected"),
    [
        ({"converter_late_us": 110}, "ok", "110 us"),
        ({"converter_late_us": 15_000}, "fail", "15000 us"),
        ({"converter_late_us": 110, "converter_errors": 2}, "fail", "2 conversions failed"),
    ],
)
def test_the_converters_speed_and_errors(counters: dict[str, int], result: str, expected: str) -> None:
    frame = wire.encode_frame(wire.END, b"12345678", 9, json.dumps({"why": "", "counters": counters}).encode())
    found = outcome(replace(asked(), recording=asked().recording + b"\x00" + frame), "converter")
    assert found[0] == result
    assert expected in found[1]


def test_before_the_crank_it_is_told_what_the_board_cannot_do() -> None:
    assert warnings_of(asked().identity) == ()
    (line,) = warnings_of({**asked().identity, "short_of_memory": "160000 bytes of memory are free and 167640 are needed"})
    assert "160000" in line
    assert "NO VERDICT" in line


def test_a_slower_way_than_wished_for_is_told() -> None:
    frames = wire.Deframer().feed(asked().recording)
    data = b""
    for f in frames:
        body = f.body
        if f.kind == wire.STREAM:
            body = json.dumps({**json.loads(body), "acquisition_why": "GP4 is not an ADC pin"}).encode()
        data += wire.encode_frame(f.kind, f.recording_id, f.sequence, body)
    found = outcome(replace(asked(), recording=data), "sampling")
    assert found[0] == "warn"
    assert "GP4" in found[1]


def test_old_micropython_and_little_memory_are_warned_of() -> None:
    identity: IdentityBody = {**asked().identity, "micropython": "1.20.0", "synthetic": False}
    assert outcome(replace(asked(), identity=identity), "firmware")[0] == "warn"
    selfcheck: SelfCheckBody = {**asked().selfcheck, "free_bytes": 9000, "temperature_c": 85.0}
    assert outcome(replace(asked(), selfcheck=selfcheck), "memory")[0] == "warn"
    assert outcome(replace(asked(), selfcheck=selfcheck), "temperature")[0] == "warn"


def run(*args: str) -> int:
    with pytest.raises(SystemExit) as left:
        main(["board", "check", *args])
    return int(left.value.code or 0)


def test_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("--port", "sim:healthy") == 0
    assert "fit for use" in capsys.readouterr().out
    assert run("--port", "sim:healthy", "--json") == 0
    report = json.loads(capsys.readouterr().out)
    assert report["fit"] is True
    assert {"what", "outcome", "seen", "do"} == set(report["checks"][0])
    assert run("--port", "sim:bare_prompt") == 4
    assert "firstcrank board install" in capsys.readouterr().err
    assert run("--port", "sim:healthy", "--lead", "battery=26") == 2


@pytest.mark.parametrize(
    "leads", [("battery=26", "battery=27"), ("battery=26", "key_switch=26"), ("radio=26",), ("battery=x",)]
)
def test_leads_that_cannot_be(leads: tuple[str, ...]) -> None:
    with pytest.raises(UsageError, match="--lead"):
        channels_of(leads)
