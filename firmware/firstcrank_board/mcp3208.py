"""Eight more inputs: an MCP3208 (12 bit, SPI) read like machine.ADC, so that the portable acquisition runs on it.

Microchip DS21298: 24 clocks a conversion with the command in the first ten (figure 6-1), clock at most 1 MHz at 2.7 V and 2 MHz at
5 V (table of electrical characteristics), mode 0. A channel's `pin` is the converter's input, 0 to 7.
"""

BUS, SCK, MOSI, MISO, CS = 0, 18, 19, 16, 17
CLOCK_HZ = 1000000  # for a supply of 3.3 V
INPUTS = 8
START_SINGLE = 0x06  # start bit, single-ended; the input's highest bit follows


class Input:
    """One input. read_u16 as machine.ADC has it: the 12-bit code in the upper bits."""

    def __init__(self, spi, select, number):
        self._spi = spi
        self._select = select
        self._command = bytes((START_SINGLE | number >> 2, (number & 3) << 6, 0))
        self._answer = bytearray(3)

    def read_u16(self):
        """One conversion, 24 us on the wire."""
        self._select(0)
        self._spi.write_readinto(self._command, self._answer)
        self._select(1)
        code = (self._answer[1] & 15) << 8 | self._answer[2]
        return code << 4 | code >> 8


def inputs(channels):
    """One Input per channel. Raises ValueError for an input that the converter does not have."""
    import machine

    for channel in channels:
        if not 0 <= channel["pin"] < INPUTS:
            raise ValueError("input %d: the external converter has inputs 0 to 7" % channel["pin"])
    spi = machine.SPI(
        BUS,
        baudrate=CLOCK_HZ,
        polarity=0,
        phase=0,
        sck=machine.Pin(SCK),
        mosi=machine.Pin(MOSI),
        miso=machine.Pin(MISO),
    )
    select = machine.Pin(CS, machine.Pin.OUT, value=1)
    return [Input(spi, select, channel["pin"]) for channel in channels]
