"""Registers of the RP2040 and RP2350 that the fast acquisition touches, by name.

RP2040 datasheet: ADC 4.9.6, DMA 2.5.7, timer 4.6.5, DREQ numbers 2.5.3.1, GPIO function 2.19.6, pads 2.19.6.3.
RP2350 datasheet: ADC 12.4.6, DMA 12.6.10, timer 12.8.5, DREQ numbers 12.6.4.1; the same as in the C SDK's headers. Never run on one.
"""

if 0:  # for mypy alone: compiled to nothing
    from typing import Callable

# ADC, byte offsets from the base. Both chips.
CS, FCS, FIFO, DIV = 0x00, 0x08, 0x0C, 0x10
CS_EN = 1 << 0
CS_START_MANY = 1 << 3
CS_READY = 1 << 8
CS_ERR_STICKY = 1 << 10
CS_AINSEL_SHIFT = 12
CS_RROBIN_SHIFT = 16
FCS_EN = 1 << 0
FCS_DREQ_EN = 1 << 3
FCS_UNDER = 1 << 10
FCS_OVER = 1 << 11
FCS_LEVEL_SHIFT = 16
FCS_THRESH_SHIFT = 24

# DMA, byte offsets from the base; a channel has 0x40 bytes. Both chips.
DMA_BASE = 0x50000000
CHANNEL_STRIDE = 0x40
WRITE_ADDR = 0x04
AL1_CTRL = 0x10
AL2_WRITE_ADDR_TRIG = 0x2C  # writing here starts the channel again with its old count


class Chip:
    """Where the two chips differ."""

    def __init__(self, name: str, adc: int, timer: int, dreq_adc: int, pins: "tuple[int, ...]", channel_bits: int) -> None:
        self.name = name
        self.adc = adc
        self.timer_low = timer  # TIMERAWL: microseconds, 32 bit
        self.dreq_adc = dreq_adc
        self.first_pin = pins[0]
        self.adc_pins = pins
        self.channel_bits = channel_bits  # width of CS.AINSEL and of CS.RROBIN's useful part

    def channel(self, pin: int) -> int:
        """The ADC input of a GPIO, or ValueError."""
        if pin not in self.adc_pins:
            raise ValueError("GP%d is not an ADC pin of this board: use one of %s" % (pin, list(self.adc_pins)))
        return pin - self.first_pin

    def round_robin(self, channels: "list[int]") -> int:
        """CS bits for these inputs, which the hardware takes in rising order."""
        mask = 0
        for channel in channels:
            mask |= 1 << channel
        return mask << CS_RROBIN_SHIFT | min(channels) << CS_AINSEL_SHIFT


RP2040 = Chip("RP2040", 0x4004C000, 0x40054028, 36, (26, 27, 28, 29), 5)
RP2350A = Chip("RP2350A", 0x400A0000, 0x400B0028, 48, (26, 27, 28, 29), 5)
RP2350B = Chip("RP2350B", 0x400A0000, 0x400B0028, 48, (40, 41, 42, 43, 44, 45, 46, 47), 9)


def this_chip(machine_text: str, has_pin: "Callable[[int], bool]") -> "Chip | None":
    """The Chip for os.uname().machine, or None. `has_pin(number)` tells the RP2350B, which alone has GP47."""
    if "RP2040" in machine_text:
        return RP2040
    if "RP2350" in machine_text:
        return RP2350B if has_pin(47) else RP2350A
    return None
