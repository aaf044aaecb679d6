"""The external converter on the emulated chip's SPI0: MicroPython's own driver against the converter's timing, and what it reaches.

The converter is the model of tests/firmware/test_mcp3208.py, fed byte by byte: the emulator's SPI hands over bytes, not clocks.
"""

from __future__ import annotations

import numpy as np
import pytest
from rp2040py.gpio_pin import GPIOPinState

from firstcrank import wire
from tests.firmware.test_mcp3208 import Converter

from .dropouts import Dropouts
from .session import Session
from .test_fast_acquisition import long

pytestmark = [pytest.mark.emulated_chip, pytest.mark.slow]
MISO, CS = 16, 17
CLK_PERI_CTRL = 0x40008048
ROLES = (
    "battery",
    "key_switch",
    "starter_coil",
    "heater_coil",
    "heater_return",
    "module_supply",
    "module_ground",
    "engine_ground",
)


class OnTheBus:
    """Wires a Converter to SPI0 and GP17."""

    def __init__(self, board: Session) -> None:
        self.converter = Converter([3000 - 300 * n for n in range(8)])
        self.board = board
        self.mcu = board.chip.mcu
        self.spi = self.mcu.spi[0]
        self.answer = 0
        self.hz: set[float] = set()
        self.selected = False
        self.done = board.chip.clock.create_alarm(lambda: self.spi.complete_transmit(self.answer))
        self.spi.on_transmit = self.byte
        self.mcu.gpio[CS].add_listener(self.chip_select)

    def chip_select(self, state: GPIOPinState, _before: GPIOPinState) -> None:
        """GP17 goes low or high."""
        was, self.selected = self.selected, state is GPIOPinState.LOW
        if self.selected and not was:
            self.converter.select()

    def byte(self, value: int) -> None:
        """Eight clocks."""
        assert self.selected, "clocked while not selected"
        assert self.spi.data_bits == 8
        self.hz.add(self.clock_hz())
        self.answer = 0
        for bit in range(7, -1, -1):
            floating = not self.converter.there and not self.mcu.gpio[MISO].pullup_enabled
            self.answer |= (0 if floating else self.converter.dout) << bit
            self.converter.rising(value >> bit & 1)
            self.converter.falling()
        self.done.schedule(8e9 / self.clock_hz())

    def clock_hz(self) -> float:
        """The emulator counts from 125 MHz whatever the image chose; 1.24.1 takes the USB clock (RP2040 datasheet 2.15.7)."""
        usb = self.mcu.read_uint32(CLK_PERI_CTRL) >> 5 & 7 == 2
        return float(self.spi.clock_frequency) * (48e6 / 125e6 if usb else 1.0)


@pytest.fixture(scope="module")
def booted() -> Session:
    return Session(Dropouts())


@pytest.fixture
def bus(booted: Session) -> OnTheBus:
    booted.frames.clear()
    return OnTheBus(booted)


def channels(count: int) -> list[dict[str, object]]:
    return [{"role": role, "pin": n} for n, role in enumerate(ROLES[:count])]


@long
@pytest.mark.parametrize(("count", "longest_us"), [(3, 950), (8, 1600)])
def test_each_input_is_read_and_the_time_between_two_looks_is_told(bus: OnTheBus, count: int, longest_us: int) -> None:
    board = bus.board
    stream = board.start(acquisition="spi_mcp3208", channels=channels(count))
    assert stream["acquisition"] == "spi_mcp3208"
    assert stream["conversion_ns"] == 0
    board.chip.run(1.0)
    end = board.stop()
    assert end["lost_bins"] == end["lost_conversions"] == 0
    assert bus.hz
    assert max(bus.hz) <= 1_000_000
    heads = board.heads()
    fields = np.concatenate([w for _, w in heads])
    for n in range(count):
        assert (fields[:, 3 * n + 1] == bus.converter.codes[n]).all()
        assert (fields[:, 3 * n + 2] == bus.converter.codes[n]).all()
    gaps = [head.worst_gap_us for head, _ in heads[2:]]
    span_us = sum(head.span_us for head, _ in heads)
    samples = sum(head.bin_count * head.conversions for head, _ in heads)
    print(f"{count} leads: {samples * 1e6 / span_us:.0f} samples a second of each, gap {min(gaps)} to {max(gaps)} us")
    assert count * 24 < min(gaps)
    assert max(gaps) < longest_us


def test_without_a_converter_nothing_starts(bus: OnTheBus) -> None:
    """GP16 keeps its pull-up when MicroPython takes it for SPI."""
    bus.converter.there = False
    board = bus.board
    assert board.ask(wire.CONFIGURE, {"channels": channels(3), "acquisition": "spi_mcp3208"})["ok"]
    reply = board.ask(wire.START, {})
    assert not reply["ok"]
    assert "no external converter answers" in reply["why"]
    check = board.ask(wire.SELF_CHECK)
    assert not check["ok"]
    assert "no external converter answers" in check["why"]


def test_the_self_check_reads_the_converter(bus: OnTheBus) -> None:
    board = bus.board
    assert board.ask(wire.CONFIGURE, {"channels": channels(8), "acquisition": "spi_mcp3208"})["ok"]
    board.send(wire.SELF_CHECK)
    check = board.wait(wire.CHECK, 3.0)
    assert [entry["mean_code"] for entry in check["inputs"]] == bus.converter.codes
