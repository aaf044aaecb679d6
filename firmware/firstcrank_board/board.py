"""The parts of a real board: machine, USB serial on sys.stdin and sys.stdout, files. Only imported on MicroPython."""

import json
import os
import select
import sys
import time

import machine

from . import fast
from .captures import Captures
from .lamp import Lamp

if 0:  # for mypy alone: compiled to nothing
    from typing import Any, Callable, Sequence

    from board_types import Acquisition, Adc, Config, Table, Unchecked, View, Wait

    from .app import Parts

STORED = {"config": "/firstcrank.json", "calibration": "/firstcrank_calibration.json", "alone": "/firstcrank_alone.json"}
STORED["journal"] = "/firstcrank_journal.json"
STORED["error"] = "/firstcrank_error.json"
WATCHDOG_MS = 8000
WATCHDOG_RP2040 = 0x40058000  # RP2040 datasheet 4.7.6: CTRL at 0, REASON at 8; writing at +0x3000 clears bits (2.1.2)
CHIP_RESET_RP2040 = 0x40064008  # 2.13.7

CAPTURES = "/firstcrank_captures"


class Clock:
    """The interpreter's microsecond ticks. They wrap: always compare with ticks_diff."""

    ticks_us: "Callable[[], int]" = staticmethod(time.ticks_us)  # type: ignore[assignment]  # the stubs keep ticks apart from numbers
    ticks_diff: "Callable[[int, int], int]" = staticmethod(time.ticks_diff)  # type: ignore[assignment]


class SerialStream:
    """USB serial as bytes. Text streams would turn \\n into \\r\\n, so only the buffers are used."""

    def __init__(self, source: "Any" = None, sink: "Any" = None) -> None:
        self._source = source or sys.stdin.buffer
        self._sink = sink or sys.stdout.buffer
        self._in = select.poll()
        self._in.register(self._source, select.POLLIN)
        self._out = select.poll()
        self._out.register(self._sink, select.POLLOUT)

    def read(self, most: int) -> "bytes | bytearray":
        """Bytes that have arrived, at most `most`. Read one at a time: read(n) would block until n bytes came."""
        for _ in self._in.ipoll(0):  # poll() would allocate, and mostly nothing has come
            break
        else:
            return b""
        data = bytearray()
        while len(data) < most and self._in.poll(0):
            byte = self._source.read(1)
            if not byte:
                break
            data += byte
        return data

    def writable(self) -> bool:
        """POLLOUT promises room for one byte: the write may still be short."""
        for _ in self._out.ipoll(0):  # poll() would allocate
            return True
        return False

    def write(self, view: "View") -> "int | Any":
        """Bytes taken: less than asked, or None, when the host does not read for half a second."""
        return self._sink.write(view)

    def write_part(self, buffer: bytearray, at: int, count: int) -> "int | Any":
        """buffer[at : at + count], without a slice: MicroPython's streams take offset and length (py/stream.c)."""
        return self._sink.write(buffer, at, count)


class Store:
    """Small JSON files in flash, written beside the old one and then put in its place."""

    def load(self, name: str) -> "Table | Unchecked":
        """The stored table, or None where there is none that can be read."""
        try:
            with open(STORED[name]) as file:
                return json.load(file)
        except (OSError, ValueError):
            return None

    def save(self, name: str, table: "Table | None") -> None:
        """Replaces the stored table whole: a power cut leaves the old or the new one."""
        fresh = STORED[name] + ".new"
        with open(fresh, "w") as file:
            json.dump(table, file)
        os.rename(fresh, STORED[name])


def led() -> "machine.Pin | None":
    """The board's LED as an output, or None without one."""
    try:
        return machine.Pin("LED", machine.Pin.OUT)
    except (ValueError, TypeError, AttributeError):
        return None


def temperature_c() -> "float | None":
    """The chip's own sensor where the port has one (RP2040 datasheet 4.9.5), else None."""
    try:
        volts = machine.ADC(machine.ADC.CORE_TEMP).read_u16() * 3.3 / 65535
        return 27 - (volts - 0.706) / 0.001721
    except (AttributeError, ValueError):
        return None


def adcs(config: "Config") -> "Sequence[Adc]":
    """One object with read_u16 per channel: machine.ADC, or an input of the external converter where that is configured."""
    channels = config["channels"]
    if config.get("acquisition") == "spi_mcp3208":
        from .mcp3208 import inputs

        return inputs(channels)
    return [machine.ADC(machine.Pin(channel["pin"])) for channel in channels]


def acquisition(config: "Config") -> "Acquisition":
    """The fastest acquisition this board has for the configuration, or the one it names."""
    from .choose import choose

    return choose(config, Clock, adcs)


def parts() -> "Parts":
    """Everything App needs."""
    from .app import Parts

    unique = machine.unique_id() if hasattr(machine, "unique_id") else b""
    return Parts(
        clock=Clock,
        stream=SerialStream(),
        acquisition=acquisition,
        adcs=adcs,
        about={
            "board": "".join("%02x" % byte for byte in unique),
            "chip": os.uname().machine if hasattr(os, "uname") else sys.platform,
            "micropython": ".".join(str(n) for n in sys.implementation.version[:3]),
            "acquisitions": _acquisitions(),
            "compiled": fast.COMPILED,
        },
        store=Store(),
        lamp=Lamp(led(), Clock),
        captures=Captures(CAPTURES),
        temperature_c=temperature_c,
        random8=lambda: os.urandom(8),
        wait=_wait(),
        cause=cause(),
        watchdog=Watchdog() if _is_rp2040() else None,
        drive=_drive if _is_rp2040() else None,
    )


class Watchdog:
    """The RP2040's, which MicroPython can start and not stop: the enable bit is cleared here."""

    def __init__(self) -> None:
        self._dog: "machine.WDT | None" = None

    def start(self) -> None:
        """From now on feed() within eight seconds, or the chip starts again."""
        self._dog = machine.WDT(timeout=WATCHDOG_MS)

    def feed(self) -> None:
        """Called often."""
        if self._dog:
            self._dog.feed()

    def stop(self) -> None:
        """Safe in every state."""
        if self._dog:
            machine.mem32[WATCHDOG_RP2040 + 0x3000] = 1 << 30
            self._dog = None


def _is_rp2040() -> bool:
    return hasattr(os, "uname") and "RP2040" in os.uname().machine


def cause() -> str:
    """Why the chip started, as far as it tells. A supply that fell too low reads like one that was switched on."""
    if _is_rp2040():
        reason = machine.mem32[WATCHDOG_RP2040 + 8]
        reset = machine.mem32[CHIP_RESET_RP2040]
        if reason & 1:
            return "the program hung"
        if reason & 2:
            return "restarted by the program"
        if reset & 1 << 16:
            return "the reset pin"
        if reset & 1 << 8:
            return "the supply was switched on or fell too low"
        return "unknown"
    try:
        return {machine.PWRON_RESET: "the supply was switched on", machine.WDT_RESET: "the watchdog"}.get(
            machine.reset_cause(), "unknown"
        )
    except AttributeError:
        return "unknown"


def _drive(pin: int) -> "list[int]":
    from .drive_viper import driven  # only here: memory is short
    from .rp2_registers import RP2040

    return driven(RP2040, pin)


def _wait() -> "Wait | Any":
    """Sleep until an interrupt, where this interpreter has the Thumb assembler."""
    try:
        from .fold_thumb import wait

        return wait
    except (ImportError, SyntaxError, NameError, AttributeError, ValueError):
        return None


def _acquisitions() -> "list[str]":
    from .choose import available

    return available()


__all__ = ("Clock", "SerialStream", "Store", "parts")
