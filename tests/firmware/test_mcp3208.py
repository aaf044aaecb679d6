"""The external converter's driver against the converter's timing, clock by clock (Microchip DS21298, section 5.0 and figures 5-1, 6-1)."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcrank_sim.board.firmware_program import load

PULLED_UP = 1


class Converter:
    """DIN is taken at a rising edge, DOUT changes at a falling one; DOUT floats until the null bit. `codes` of the eight inputs."""

    def __init__(self, codes: list[int]) -> None:
        self.codes = codes
        self.there = True
        self.dout = PULLED_UP
        self.conversions: list[int] = []
        self._clocks: list[int] = []
        self._out: list[int] = []

    def select(self) -> None:
        """Chip select falls."""
        self._clocks, self._out, self.dout = [], [], PULLED_UP

    def rising(self, din: int) -> None:
        """Bits before the start bit are ignored; then single-ended or not, D2, D1, D0, and one more clock to sample."""
        if self._clocks or din:
            self._clocks.append(din)

    def falling(self) -> None:
        """Null bit on the falling edge that ends the sixth clock, then twelve bits, the highest first; then the same backwards."""
        if len(self._clocks) == 6:
            _start, single, d2, d1, d0, _ = self._clocks
            assert single == 1, "a pair of inputs is asked for, not one against ground"
            number = d2 << 2 | d1 << 1 | d0
            self.conversions.append(number)
            bits = [self.codes[number] >> n & 1 for n in range(12)]
            self._out = [0, *reversed(bits), *bits[1:], *[0] * 20]
        if self._out and self.there:
            self.dout = self._out.pop(0)


class SpiRig:
    """machine with one converter on SPI0."""

    IN, OUT, PULL_UP = 0, 1, 2

    def __init__(self) -> None:
        self.converter = Converter([0] * 8)
        self.selected = False
        self.clock_hz = 0
        self.clocks = 0
        rig = self

        class Pin:
            IN, OUT, PULL_UP = rig.IN, rig.OUT, rig.PULL_UP

            def __init__(self, number: int, mode: int | None = None, pull: int | None = None, value: int | None = None) -> None:
                self.number, self.mode, self.pull = number, mode, pull
                if number == 17:
                    assert (mode, value) == (rig.OUT, 1), "chip select is high before anything else"

            def __call__(self, level: int) -> None:
                assert self.number == 17
                assert rig.selected == bool(level), "chip select changes with every call"
                rig.selected = not level
                if rig.selected:
                    rig.converter.select()

        class SPI:
            def __init__(self, bus: int, baudrate: int, polarity: int, phase: int, sck: Any, mosi: Any, miso: Any) -> None:
                assert (bus, polarity, phase) == (0, 0, 0)  # MicroPython, rp2: SPI0 has SCK on GP18, MOSI on GP19, MISO on GP16
                assert (sck.number, mosi.number, miso.number) == (18, 19, 16)
                assert miso.pull == rig.PULL_UP
                rig.clock_hz = baudrate

            def write_readinto(self, command: bytes, answer: bytearray) -> None:
                assert rig.selected
                assert len(command) == len(answer)
                for n, byte in enumerate(command):
                    answer[n] = 0
                    for bit in range(7, -1, -1):
                        answer[n] |= rig.converter.dout << bit  # taken at the rising edge, before anything changes
                        rig.converter.rising(byte >> bit & 1)
                        rig.converter.falling()
                        rig.clocks += 1

        self.module = SimpleNamespace(Pin=Pin, SPI=SPI)


@pytest.fixture
def rig(monkeypatch: pytest.MonkeyPatch) -> Iterator[SpiRig]:
    made = SpiRig()
    monkeypatch.setitem(sys.modules, "machine", made.module)
    yield made
    assert not made.selected  # a converter left selected does not start the next conversion


def channels(*numbers: int) -> list[dict[str, Any]]:
    return [{"role": str(n), "pin": n} for n in numbers]


def test_every_input_is_asked_for_by_its_own_bits(rig: SpiRig) -> None:
    rig.converter.codes = [4095 - 512 * n for n in range(8)]
    inputs = load("mcp3208").inputs(channels(*range(8)))
    rig.converter.conversions.clear()
    assert [i.read_u16() >> 4 for i in inputs] == rig.converter.codes
    assert rig.converter.conversions == list(range(8))


@given(st.integers(0, 4095), st.integers(0, 7))
def test_every_code_arrives_as_it_is(code: int, number: int) -> None:
    rig = SpiRig()
    rig.converter.codes = [4095 - code] * 8
    rig.converter.codes[number] = code
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(sys.modules, "machine", rig.module)
        (only,) = load("mcp3208").inputs(channels(number))
    value = only.read_u16()
    assert value >> 4 == code
    assert (code == 0) == (value == 0)
    assert (code == 4095) == (value == 65535)  # the whole range of machine.ADC
    assert only.answered()


def test_the_clock_suits_a_supply_of_3v3_and_a_conversion_takes_24(rig: SpiRig) -> None:
    """At most 1 MHz at 2.7 V; at least 10 kHz, or the sampled voltage leaks away (DS21298, electrical characteristics and 6.2)."""
    (only,) = load("mcp3208").inputs(channels(0))
    before = rig.clocks
    only.read_u16()
    assert rig.clocks - before == 24
    assert 10_000 <= rig.clock_hz <= 1_000_000


@pytest.mark.parametrize("number", [-1, 8, 26])
def test_an_input_that_it_does_not_have_is_refused(rig: SpiRig, number: int) -> None:
    with pytest.raises(ValueError, match=f"input {number}: the external converter has inputs 0 to 7"):
        load("mcp3208").inputs(channels(0, number))


def test_where_no_converter_answers_nothing_starts(rig: SpiRig) -> None:
    rig.converter.there = False
    with pytest.raises(OSError, match=r"no external converter answers \(GP18 SCK, GP19 MOSI, GP16 MISO, GP17 CS\)"):
        load("mcp3208").inputs(channels(0))


def test_one_that_falls_silent_reads_the_top_code(rig: SpiRig) -> None:
    """So the host takes it for clipping, and clipping is never a PASS."""
    (only,) = load("mcp3208").inputs(channels(3))
    rig.converter.codes[3] = 2000
    assert only.read_u16() >> 4 == 2000
    rig.converter.there = False
    assert only.read_u16() >> 4 == 4095
    assert not only.answered()
    rig.converter.there = True
    assert only.read_u16() >> 4 == 2000
    assert only.answered()


def test_a_true_top_code_is_no_silence(rig: SpiRig) -> None:
    rig.converter.codes[0] = 4095
    (only,) = load("mcp3208").inputs(channels(0))
    assert only.read_u16() == 65535
    assert only.answered()
