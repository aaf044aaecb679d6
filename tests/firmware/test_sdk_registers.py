"""The register numbers of firmware and fakes against those that the chips' maker publishes, for both chips.

Source of every number here: the C SDK, github.com/raspberrypi/pico-sdk at a1438dff1d38bd9c65dbd693f0e5db4b9ae91779,
src/rp2040 and src/rp2350/hardware_regs/include/hardware/regs: addressmap.h, adc.h, dma.h, dreq.h, timer.h, sio.h, watchdog.h,
vreg_and_chip_reset.h (read with `git show HEAD:... | grep define`). Only facts: bases, offsets, bit positions. NEVER RUN ON AN RP2350.
"""

from __future__ import annotations

import re
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from firstcrank.board.files import firmware_folder
from firstcrank_sim.board.firmware_program import load

from . import fake_rp2

# addressmap.h, dreq.h
BASES = {
    "RP2040": {"adc": 0x4004C000, "dma": 0x50000000, "timer": 0x40054000, "dreq_adc": 36, "dreq_force": 63},
    "RP2350": {"adc": 0x400A0000, "dma": 0x50000000, "timer": 0x400B0000, "dreq_adc": 48, "dreq_force": 63},
}
# adc.h: the same on both, but for the widths of AINSEL and RROBIN
ADC_OFFSETS = {"CS": 0x00, "FCS": 0x08, "FIFO": 0x0C, "DIV": 0x10}
ADC_BITS = {
    "CS_EN": 0,
    "CS_START_MANY": 3,
    "CS_READY": 8,
    "CS_ERR_STICKY": 10,
    "FCS_EN": 0,
    "FCS_DREQ_EN": 3,
    "FCS_UNDER": 10,
    "FCS_OVER": 11,
}
ADC_SHIFTS = {"CS_AINSEL": 12, "CS_RROBIN": 16, "FCS_LEVEL": 16, "FCS_THRESH": 24}
CS_HIGHEST = {"RP2040": {"AINSEL": 14, "RROBIN": 20}, "RP2350": {"AINSEL": 15, "RROBIN": 24}}
# dma.h
DMA_OFFSETS = {
    "WRITE_ADDR": 0x04,
    "AL1_CTRL": 0x10,
    "AL2_WRITE_ADDR_TRIG": 0x2C,
}
DMA_STRIDE = 0x40
CTRL_LSB = {  # name in pack_ctrl: lowest bit in DMA_CH0_CTRL_TRIG
    "RP2040": {
        "enable": 0,
        "high_pri": 1,
        "size": 2,
        "inc_read": 4,
        "inc_write": 5,
        "ring_size": 6,
        "ring_sel": 10,
        "chain_to": 11,
        "treq_sel": 15,
        "irq_quiet": 21,
        "bswap": 22,
        "sniff_en": 23,
        "write_err": 29,
        "read_err": 30,
    },
    "RP2350": {
        "enable": 0,
        "high_pri": 1,
        "size": 2,
        "inc_read": 4,
        "inc_write": 6,
        "ring_size": 8,
        "ring_sel": 12,
        "chain_to": 13,
        "treq_sel": 17,
        "irq_quiet": 23,
        "bswap": 24,
        "sniff_en": 25,
        "write_err": 29,
        "read_err": 30,
    },
}
CTRL_BUSY = {"RP2040": 24, "RP2350": 26}
TIMERAWL = 0x28  # timer.h
SIO_OE_CLR_RP2040 = 0xD0000000 + 0x28  # sio.h; on the RP2350 it is at 0x40, so the pins are only driven on the RP2040
WATCHDOG_RP2040, WATCHDOG_ENABLE, REASON_OFFSET, REASON_TIMER, REASON_FORCE = 0x40058000, 30, 8, 0, 1  # watchdog.h
CHIP_RESET_RP2040, HAD_POR, HAD_RUN = 0x40064000 + 8, 8, 16  # vreg_and_chip_reset.h

LAYOUTS = pytest.mark.parametrize("layout", fake_rp2.LAYOUTS, ids=lambda layout: layout.name)


def family(layout: fake_rp2.Layout) -> str:
    """The two packages of the RP2350 are one chip."""
    return layout.name[:6]


@LAYOUTS
def test_bases_and_requests(layout: fake_rp2.Layout) -> None:
    registers = load("rp2_registers")
    chip, sdk = getattr(registers, layout.name), BASES[family(layout)]
    assert (chip.adc, registers.DMA_BASE, chip.dreq_adc) == (sdk["adc"], sdk["dma"], sdk["dreq_adc"])
    assert chip.timer_low == sdk["timer"] + TIMERAWL
    assert (layout.adc, layout.timer, layout.dreq_adc) == (sdk["adc"], sdk["timer"], sdk["dreq_adc"])


def test_offsets_and_bits() -> None:
    registers = load("rp2_registers")
    assert {name: getattr(registers, name) for name in ADC_OFFSETS} == ADC_OFFSETS
    assert {name: getattr(registers, name) for name in ADC_BITS} == {name: 1 << bit for name, bit in ADC_BITS.items()}
    assert {name: getattr(registers, name + "_SHIFT") for name in ADC_SHIFTS} == ADC_SHIFTS
    assert {name: getattr(registers, name) for name in DMA_OFFSETS} == DMA_OFFSETS
    assert registers.CHANNEL_STRIDE == DMA_STRIDE


@LAYOUTS
def test_the_round_robin_stays_inside_its_fields(layout: fake_rp2.Layout) -> None:
    highest = CS_HIGHEST[family(layout)]
    bits = getattr(load("rp2_registers"), layout.name).round_robin(list(range(len(layout.pins))))
    assert bits >> ADC_SHIFTS["CS_RROBIN"] < 1 << highest["RROBIN"] - ADC_SHIFTS["CS_RROBIN"] + 1
    assert bits >> ADC_SHIFTS["CS_AINSEL"] & 0xF < 1 << highest["AINSEL"] - ADC_SHIFTS["CS_AINSEL"] + 1


@LAYOUTS
def test_the_control_word_that_the_fakes_understand_is_the_published_one(layout: fake_rp2.Layout) -> None:
    """What the firmware passes by name is laid out by MicroPython; the fakes lay it out by these numbers and act on it."""
    assert layout.fields == CTRL_LSB[family(layout)]
    assert layout.busy_bit == CTRL_BUSY[family(layout)]


@LAYOUTS
def test_the_words_that_a_recording_writes(layout: fake_rp2.Layout) -> None:
    """Both channels' control words of a real start, field by field by the published positions."""
    chip = fake_rp2.Chip(layout, lambda number, n: 2000)
    firmware = fake_rp2.Firmware(chip)
    named = getattr(firmware.rp2_registers, layout.name)
    acquisition = firmware.rp2_dma.DmaAcquisition(named, list(layout.pins[:3]))
    config: dict[str, Any] = {"bin_us": 768, "key_channel": 1, "trigger_code": 1900, "ring_bins": 400, "close_ups": False}
    acquisition.start(config, acquisition.make_ring(config, 20000, 24))
    lsb = CTRL_LSB[family(layout)]
    data, control = (chip.channels[c.channel] for c in (acquisition._data, acquisition._control))
    assert data.ctrl >> lsb["treq_sel"] & 63 == BASES[family(layout)]["dreq_adc"]
    assert control.ctrl >> lsb["treq_sel"] & 63 == BASES[family(layout)]["dreq_force"]
    for channel, size, inc_read, inc_write, quiet in ((data, 1, 0, 1, 0), (control, 2, 1, 0, 1)):
        fields = [
            channel.ctrl >> lsb[name] & width
            for name, width in (("size", 3), ("inc_read", 1), ("inc_write", 1), ("irq_quiet", 1))
        ]
        assert fields == [size, inc_read, inc_write, quiet]
        assert channel.ctrl >> lsb["chain_to"] & 15 == control.number
    assert data.read == BASES[family(layout)]["adc"] + ADC_OFFSETS["FIFO"]
    assert control.write == BASES[family(layout)]["dma"] + DMA_STRIDE * data.number + DMA_OFFSETS["AL2_WRITE_ADDR_TRIG"]
    acquisition.stop()


def test_what_only_the_rp2040_is_asked_for() -> None:
    """Read from the source: these files need a chip's own modules to be loaded."""
    folder = Path(firmware_folder()) / "firstcrank_board"
    numbers = SimpleNamespace(board=(folder / "board.py").read_text(), drive=(folder / "drive_viper.py").read_text())

    def number(text: str, name: str) -> int:
        found = re.search(rf"^{name} = (0x[0-9A-Fa-f]+)", text, re.MULTILINE)
        assert found, name
        return int(found[1], 16)

    assert number(numbers.board, "WATCHDOG_RP2040") == WATCHDOG_RP2040
    assert number(numbers.board, "CHIP_RESET_RP2040") == CHIP_RESET_RP2040
    assert number(numbers.drive, "SIO_GPIO_OE_CLR") == SIO_OE_CLR_RP2040
    assert f"+ {REASON_OFFSET}]" in numbers.board
    assert f"1 << {WATCHDOG_ENABLE}" in numbers.board
    assert f"reset & 1 << {HAD_RUN}" in numbers.board
    assert f"reset & 1 << {HAD_POR}" in numbers.board
    assert (f"reason & {1 << REASON_TIMER}" in numbers.board, f"reason & {1 << REASON_FORCE}" in numbers.board) == (True, True)
