"""Serial ports: errors reported as what to do, real pseudo-terminals, and the probe that a stranger's port must survive."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
import serial

from firstcrank import wire
from firstcrank.cli import choose_port
from firstcrank.errors import (
    FirstcrankError,
    LinkLostError,
    NoBoardError,
    PortBusyError,
    PortPermissionError,
    WrongFirmwareError,
)
from firstcrank.link import ports
from firstcrank.link.board_client import BoardClient
from firstcrank.link.open import open_link
from firstcrank.link.serial_port import SerialLink

pty = pytest.importorskip("pty", reason="pseudo-terminals exist on Linux and macOS only")


class Script:
    """A link whose board answers from a list; a byte that was not expected fails the test."""

    name = "script"
    synthetic = False

    def __init__(self, *answers: bytes) -> None:
        self.answers = list(answers)
        self.sent = bytearray()
        self.clock_s = 0.0

    def read(self, timeout_s: float) -> bytes:
        self.clock_s += timeout_s
        return self.answers.pop(0) if self.answers else b""

    def write(self, data: bytes) -> None:
        assert data == wire.PROBE, f"only the probe may reach a port that has not said it is ours, not {data!r}"
        self.sent += data

    def now_s(self) -> float:
        return self.clock_s

    def close(self) -> None:
        pass


def identity(**changed: object) -> bytes:
    table = {"product": "firstcrank", "firmware": wire.FIRMWARE_VERSION, "wire": wire.VERSION, "state": "idle", **changed}
    return wire.encode_frame(wire.IDENTITY, wire.NO_RECORDING, 0, json.dumps(table).encode())


@pytest.fixture
def terminal() -> Iterator[tuple[int, str]]:
    board, host = pty.openpty()
    yield board, os.ttyname(host)
    for number in (board, host):
        with contextlib.suppress(OSError):  # a test may have closed it, as a pulled cable does
            os.close(number)


@pytest.mark.parametrize(
    ("error", "kind", "expected"),
    [
        (PermissionError(errno.EACCES, "Permission denied"), PortPermissionError, "dialout"),
        (
            serial.SerialException(errno.EACCES, "could not open port: [Errno 13] Permission denied"),
            PortPermissionError,
            "dialout",
        ),
        (serial.SerialException("[Errno 16] Device or resource busy"), PortBusyError, "close the other program"),
        (serial.SerialException("Could not exclusively lock port x: [Errno 11]"), PortBusyError, "close the other program"),
        (serial.SerialException(errno.ENOENT, "could not open port"), NoBoardError, "there is no port"),
        (ValueError("invalid URL, protocol 'x' not known"), NoBoardError, "cannot be opened"),
    ],
)
def test_opening_errors_say_what_to_do(
    error: Exception, kind: type[FirstcrankError], expected: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(url: str, **_: object) -> None:
        raise error

    monkeypatch.setattr(serial, "serial_for_url", refuse)
    with pytest.raises(kind, match=expected) as caught:
        SerialLink("/dev/ttyACM0")
    assert caught.value.exit_code == 4
    assert "\n" not in str(caught.value)


def test_windows_says_in_use_for_access_denied(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(url: str, **_: object) -> None:
        raise serial.SerialException("could not open port 'COM3': PermissionError(13, 'Access is denied.', None, 5)")

    monkeypatch.setattr(serial, "serial_for_url", refuse)
    monkeypatch.setattr(sys, "platform", "win32")
    with pytest.raises(PortBusyError, match="COM3 is in use"):
        SerialLink("COM3")


def test_a_port_that_is_open_elsewhere_is_busy(terminal: tuple[int, str]) -> None:
    first = SerialLink(terminal[1])
    try:
        with pytest.raises(PortBusyError, match="close the other program"):
            SerialLink(terminal[1])
    finally:
        first.close()
    SerialLink(terminal[1]).close()


@pytest.mark.skipif(os.geteuid() == 0, reason="root may open anything")
def test_a_port_without_permission(terminal: tuple[int, str]) -> None:
    Path(terminal[1]).chmod(0)
    with pytest.raises(PortPermissionError, match="dialout"):
        SerialLink(terminal[1])


def test_bytes_pass_both_ways_and_a_pulled_cable_is_told(terminal: tuple[int, str]) -> None:
    board, name = terminal
    link = SerialLink(name)
    os.write(board, b"hello")
    seen = b""
    while len(seen) < 5 and (data := link.read(5.0)):  # a slow machine hands the bytes over in pieces
        seen += data
    assert seen == b"hello"
    link.write(b"there")
    assert os.read(board, 16) == b"there"
    assert link.read(0.01) == b""
    os.close(board)
    with pytest.raises(LinkLostError, match="was the cable pulled"):
        link.read(5.0)
    link.close()
    link.close()


def test_any_form_that_pyserial_takes(monkeypatch: pytest.MonkeyPatch) -> None:
    link = open_link("loop://")
    link.write(b"round")
    assert link.read(1.0) == b"round"
    link.close()


def test_handshake_needs_the_right_firmware() -> None:
    client = BoardClient(Script(b"", identity()))
    assert client.handshake()["product"] == "firstcrank"
    for changed in ({"firmware": "9.9.9"}, {"firmware": None}, {"product": "toaster"}):
        with pytest.raises(WrongFirmwareError, match="firstcrank board install"):
            BoardClient(Script(identity(**changed))).handshake()


@pytest.mark.parametrize(
    "expected", [b">>> ", b"MicroPython v1.24.1 on 2024-11-29\r\n", b"Traceback (most recent call last):\r\n"]
)
def test_a_prompt_is_named_and_only_probed(expected: bytes) -> None:
    script = Script(expected)
    with pytest.raises(WrongFirmwareError, match=r"at the MicroPython prompt.*firstcrank board install"):
        BoardClient(script).handshake()
    assert script.sent.count(wire.PROBE) >= 2


def test_something_else_on_the_port_and_nothing_on_it() -> None:
    with pytest.raises(WrongFirmwareError, match="not a firstcrank board"):
        BoardClient(Script(b"$GPGGA,123519,4807.038,N\r\n")).handshake()
    with pytest.raises(NoBoardError, match="right port"):
        BoardClient(Script()).handshake()


def test_a_beacon_among_noise_is_enough() -> None:
    noise = bytes(range(1, 256)) * 3
    client = BoardClient(Script(noise + b"\x00", identity()))
    assert client.handshake()["state"] == "idle"
    assert client.damaged_frames == 1


def listed(monkeypatch: pytest.MonkeyPatch, *found: tuple[str, int | None, int | None]) -> None:
    there = [SimpleNamespace(device=d, serial_number="S1", description="", vid=vid, pid=pid) for d, vid, pid in found]
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: there)


def test_no_board_names_the_other_usb_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    listed(monkeypatch, ("/dev/ttyUSB3", 0x0403, 0x6001), ("/dev/ttyS0", None, None))
    with pytest.raises(NoBoardError, match=r"--port.*Other serial ports: /dev/ttyUSB3\.$"):
        ports.the_only_port(ports.board_ports())


def test_of_two_boards_a_person_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    listed(monkeypatch, ("/dev/ttyACM0", 0x2E8A, 5), ("/dev/ttyACM1", 0x2E8A, 5))
    opened: list[str | None] = []
    monkeypatch.setattr("firstcrank.link.open.open_link", opened.append)
    monkeypatch.setattr("sys.stdin", SimpleNamespace(isatty=lambda: True))
    monkeypatch.setattr("click.prompt", lambda *_, **__: 2)
    choose_port.chosen_link(None)
    choose_port.chosen_link("/dev/ttyACM0")
    assert opened == ["/dev/ttyACM1", "/dev/ttyACM0"]


def test_a_damaged_answer_is_asked_for_again_and_silence_is_not() -> None:
    class Asked(Script):
        def write(self, data: bytes) -> None:
            self.sent += data

    reply = wire.encode_frame(wire.REPLY, wire.NO_RECORDING, 0, json.dumps({"to": wire.STOP, "ok": True, "why": ""}).encode())
    damaged = reply[:9] + bytes([reply[9] ^ 1]) + reply[10:]
    script = Asked(damaged, *[b""] * 40, reply)
    assert BoardClient(script).ask(wire.STOP, wire.REPLY)["ok"] is True
    assert script.sent.count(b"\x00") == 4  # two commands, a delimiter before and behind each
    silent = Asked()
    with pytest.raises(LinkLostError, match="stopped answering"):
        BoardClient(silent).ask(wire.STOP, wire.REPLY)
    assert silent.sent.count(b"\x00") == 2
