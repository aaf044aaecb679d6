"""Self-check: what each input reads over a moment, free memory, the clock. The host turns it into advice."""

import gc

if 0:  # for mypy alone: compiled to nothing
    from typing import Callable, Sequence

    from board_types import Adc, Clock, Table

READS = 256


def self_check(
    clock: "Clock", adcs: "Sequence[Adc]", channels: "list[Table]", temperature_c: "Callable[[], float | None]"
) -> "Table":
    """A dict for the CHECK frame: per channel mean, lowest, highest and spread (rms) in codes, and the board's own state."""
    inputs = []
    for channel, adc in zip(channels, adcs):
        total = squares = 0
        lowest = 4095
        highest = 0
        for _ in range(READS):
            code = adc.read_u16() >> 4
            total += code
            squares += code * code
            lowest = min(lowest, code)
            highest = max(highest, code)
        mean = total / READS
        variance = squares / READS - mean * mean
        inputs.append(
            {
                "role": channel["role"],
                "pin": channel["pin"],
                "mean_code": mean,
                "lowest_code": lowest,
                "highest_code": highest,
                "rms_code": variance**0.5 if variance > 0 else 0.0,
                "stuck": lowest == highest and 0 < lowest < 4095,
            }
        )
    gc.collect()
    free = gc.mem_free() if hasattr(gc, "mem_free") else 0
    return {
        "inputs": inputs,
        "free_bytes": free,
        "temperature_c": temperature_c(),
        "ticks_us": clock.ticks_us() & 0x3FFFFFFF,
    }
