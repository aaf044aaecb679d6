"""A `machine` with an MCP3208 on its SPI, which answers bit by bit as DS21298 figure 6-1 draws it. Runs on MicroPython."""

TYPE_CHECKING = False  # MicroPython has no typing; tools take the name for true
if TYPE_CHECKING:
    from tests.firmware import fake_machine
else:
    import fake_machine

ADC, unique_id = fake_machine.ADC, fake_machine.unique_id


class Pin(fake_machine.Pin):
    """fake_machine's, and a chip select that is called with its level."""

    level = 1

    def __init__(self, name: "int | str", mode: int = 0, pull: int = 0, value: "int | None" = None) -> None:
        super().__init__(name, mode, pull)

    def __call__(self, level: int) -> None:
        if self.name == 17:
            Pin.level = level


class SPI:
    """24 clocks at a time; inputs 0 to 2 carry what the pins 26 to 28 would. The board takes `took_us` for one, all in all."""

    took_us = 24
    there = True

    def __init__(self, bus: int, baudrate: int, polarity: int, phase: int, sck: Pin, mosi: Pin, miso: Pin) -> None:
        assert (bus, polarity, phase) == (0, 0, 0)
        assert baudrate <= 1000000  # DS21298: at 2.7 V
        assert (sck.name, mosi.name, miso.name) == (18, 19, 16)
        self.inputs = [fake_machine.ADC(26 + number) for number in range(3)]

    def write_readinto(self, command: "bytes | bytearray", answer: bytearray) -> None:
        """24 clocks with chip select low."""
        assert Pin.level == 0
        bits = [command[n >> 3] >> (7 - (n & 7)) & 1 for n in range(24)]
        assert bits[:5] == [0] * 5  # leading zeros are clocked before the start bit
        assert bits[5] == 1  # start
        assert bits[6] == 1  # single-ended
        number = bits[7] << 2 | bits[8] << 1 | bits[9]
        code = self.inputs[number].code(self.took_us)
        # One more clock to sample, then a null bit, then twelve bits, the highest first.
        out = [1] * 11 + [0] + [code >> (11 - n) & 1 for n in range(12)]
        if not self.there:
            out = [1] * 24  # pulled up
        for byte in range(3):
            answer[byte] = 0
            for bit in range(8):
                answer[byte] |= out[byte * 8 + bit] << (7 - bit)
