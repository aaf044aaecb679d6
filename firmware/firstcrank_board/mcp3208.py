"""Eight more inputs: an MCP3208 (12 bit, SPI) read like machine.ADC, so that the portable acquisition runs on it.

Microchip DS21298: 24 clocks a conversion with the command in the first ten (figure 6-1), clock at most 1 MHz at 2.7 V and 2 MHz at
5 V (table of electrical characteristics), mode 0. A channel's `pin` is the converter's input, 0 to 7.

Before the twelve bits the converter answers with a zero (section 5.0). MISO is pulled up, so where no converter answers that
bit is a one: then nothing starts, and during a recording the reading is the top code, which the host takes for clipping.
"""

if 0:  # for mypy alone: compiled to nothing
    from board_types import Table
    from machine import SPI, Pin

BUS, SCK, MOSI, MISO, CS = 0, 18, 19, 16, 17
CLOCK_HZ = 1000000  # for a supply of 3.3 V
INPUTS = 8
START_SINGLE = 0x06  # start bit, single-ended; the input's highest bit follows
NOBODY = 0xFFFF


class Input:
    """One input. read_u16 as machine.ADC has it: the 12-bit code in the upper bits."""

    def __init__(self, spi: "SPI", select: "Pin", number: int) -> None:
        self._spi = spi
        self._select = select
        self._command = bytes((START_SINGLE | number >> 2, (number & 3) << 6, 0))
        self._answer = bytearray(3)

    def read_u16(self) -> int:
        """One conversion, 24 us on the wire. NOBODY where no converter answers."""
        self._select(0)
        self._spi.write_readinto(self._command, self._answer)
        self._select(1)
        code = (self._answer[1] & 31) << 8 | self._answer[2]
        if code > 4095:
            return NOBODY
        return code << 4 | code >> 8

    def answered(self) -> bool:
        """Whether a converter gave the last reading."""
        return not self._answer[1] & 16


def inputs(channels: "list[Table]") -> "list[Input]":
    """One Input per channel. Raises ValueError for an input that the converter does not have, OSError where none answers."""
    import machine

    for channel in channels:
        if not 0 <= channel["pin"] < INPUTS:
            raise ValueError("input %d: the external converter has inputs 0 to 7" % channel["pin"])
    select = machine.Pin(CS, machine.Pin.OUT, value=1)
    spi = machine.SPI(
        BUS,
        baudrate=CLOCK_HZ,
        polarity=0,
        phase=0,
        sck=machine.Pin(SCK),
        mosi=machine.Pin(MOSI),
        miso=machine.Pin(MISO, machine.Pin.IN, machine.Pin.PULL_UP),  # taking it for SPI leaves the pull-up
    )
    made = [Input(spi, select, channel["pin"]) for channel in channels]
    made[0].read_u16()
    if not made[0].answered():
        raise OSError("no external converter answers (GP%d SCK, GP%d MOSI, GP%d MISO, GP%d CS)" % (SCK, MOSI, MISO, CS))
    return made
