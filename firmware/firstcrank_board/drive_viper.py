"""Drives an analog pin high, lets it go, and converts after a chosen time: what hangs on the pin shows in how fast it falls. RP2040.

Only asked for by the self-check, with the lead at rest: through the series resistor less than a milliampere flows, for milliseconds.
"""

import time

import machine
import micropython

from . import rp2_registers as reg

if 0:  # for mypy alone: compiled to nothing
    from .rp2_registers import Chip

SIO_GPIO_OE_CLR = 0xD0000028  # RP2040 datasheet 2.3.1.7
CS_START_ONE = 1 << 2
SETTLE_MS = 5  # five time constants of the largest filter that this is to tell
WAITS_US = (4, 60)  # from letting go to the conversion
TURN_CYCLES, OTHER_CYCLES = 24, 30  # of the loop below, and around it: measured on the emulated chip
REPEATS = 3


@micropython.viper
def let_go_and_convert(oe_clear: int, mask: int, adc_at: int, start: int, turns: int) -> int:
    """Releases the pins in `mask`, waits, converts once; the 12-bit code."""
    release = ptr32(oe_clear)
    adc = ptr32(adc_at)
    release[0] = mask
    i = 0
    while i < turns:
        i += 1
    adc[0] = start
    while adc[0] & 0x100 == 0:
        pass
    return adc[1]


def driven(chip: "Chip", pin: int) -> "list[int]":
    """Codes after each of WAITS_US, the middle one of REPEATS, and by how much another input rose at the most while the pin was high.

    The pin is an analog input again afterwards. An input that stands on a live wire rises by nothing.
    """
    others = 0
    start = reg.CS_EN | CS_START_ONE | chip.channel(pin) << reg.CS_AINSEL_SHIFT
    beside = [reg.CS_EN | CS_START_ONE | chip.channel(other) << reg.CS_AINSEL_SHIFT for other in (26, 27, 28) if other != pin]
    rest = [let_go_and_convert(SIO_GPIO_OE_CLR, 0, chip.adc, select, 1) for select in beside]
    codes = []
    try:
        for wait_us in WAITS_US:
            turns = (wait_us * (machine.freq() // 1000000) - OTHER_CYCLES + TURN_CYCLES // 2) // TURN_CYCLES
            seen = []
            for _ in range(REPEATS):
                machine.Pin(pin, machine.Pin.OUT, value=1)
                time.sleep_ms(SETTLE_MS)
                for select, before in zip(beside, rest):
                    others = max(others, let_go_and_convert(SIO_GPIO_OE_CLR, 0, chip.adc, select, 1) - before)
                state = machine.disable_irq()
                code = let_go_and_convert(SIO_GPIO_OE_CLR, 1 << pin, chip.adc, start, turns)
                machine.enable_irq(state)
                seen.append(code)
            codes.append(sorted(seen)[REPEATS // 2])
    finally:
        machine.ADC(machine.Pin(pin))
    codes.append(others)
    return codes
