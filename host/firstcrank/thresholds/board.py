"""Checking a board: what is well."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import count, number


@dataclass(frozen=True, slots=True)
class BoardThresholds:
    """Checking a board: what is well."""

    clock_s: float = number(2.0, "s", "the board's clock is compared over this")
    clock_off: float = number(0.01, "", "USB answers come within a few ms: over 2 s no finer statement is honest")
    record_s: float = number(1.5, "s", "of a short recording")
    noisy_codes: float = number(8.0, "", "codes rms; a generous bound without a source: no board was at hand to measure one")
    low_code: float = number(3.0, "", "a mean below: the input reads nothing")
    little_memory_bytes: int = count(20_000, "free bytes: fewer are few")
    link_least_bytes_per_s: float = number(
        60000.0, "", "bytes a second: a recording needs up to 36,000, and close-ups as many again for a while"
    )
    late_us: int = count(
        2000,
        "microseconds later than counted that the converter may be at the end of the short recording, an interrupt's delay in it",
    )
    pin_live_v: float = number(0.2, "V", "at the clip: a wire with more on it is left alone", scales=False)
    pin_slack: float = number(
        0.12, "", "of a voltage: parts of 1 % and a capacitor of 20 % a few microseconds after the release"
    )
    pin_capacitor_slack: float = number(0.4, "", "of the time constant: capacitors of 20 %, and the moment of the conversion")
    pin_stays: float = number(0.9, "", "of the supply: nothing pulls the pin down")
    pin_dead_v: float = number(0.05, "V", "of a pin that falls at once", scales=False)
    pin_bridged_v: float = number(0.2, "V", "at another input while this one is driven", scales=False)
    pin_faded: float = number(0.3, "", "of the shortest time constant that is right")
    lifted_v: float = number(-0.1, "V", "a lifted input's offset is below this", scales=False)
    live_code: int = count(400, "mean code of an input with something on it")
    alike_codes: float = number(3.0, "", "codes by which two inputs on one wire differ at most")
    comfort_low_c: float = number(-20.0, "degC", "below it the board is colder than its calibration holds")
    comfort_high_c: float = number(60.0, "degC", "and above it warmer")
    shortest_s: float = number(0.001, "s", "sampling gaps this long hide a dropout that counts")


BOARD = BoardThresholds()  # at 12 V
