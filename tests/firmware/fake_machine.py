"""A `machine` module for the Linux interpreter, and a clock that goes by what the firmware does. Runs on MicroPython.

Nothing goes by wall time: each conversion takes 8 us of board time and each reading of the clock 1 us, whatever the computer
does meanwhile. The start that is played begins with the first conversion after the inputs were made.
"""

import math

TYPE_CHECKING = False  # MicroPython has no typing; tools take the name for true
if TYPE_CHECKING:
    from collections.abc import Callable

READ_US = 8
VOLTS_PER_CODE = 3.3 / 4096 * 122 / 22
KEY_ON_S, TURN_S, START_S, RELEASE_S = 0.8, 2.0, 2.1, 4.6


class Board:
    """The clock and the start that is played. `pace` keeps the board from outrunning the host (virtual per real second)."""

    now_us = 5000
    began_us: "int | None" = None
    scenario = "healthy"
    pace = 3.0
    real_began_us: "tuple[int, int] | None" = None  # board time and real time when the start began
    lamp_file: "str | None" = None
    played = False  # the start is over; whatever is asked for later finds the key off


def battery_v(t: float) -> float:
    """A six-cylinder diesel on a 12 V battery, drawn by hand (synthetic)."""
    if t < START_S + 0.05:
        return 12.6 if t < KEY_ON_S else 12.45
    if t < RELEASE_S:
        since = t - START_S - 0.05
        return 10.2 - 2.0 * math.exp(-since / 0.06) + 0.3 * math.sin(2 * math.pi * 9.0 * since)
    return 12.4 - 0.8 * math.exp(-(t - RELEASE_S) / 0.4)


def key_v(t: float) -> float:
    """The feed, with the scenario's fault."""
    if t < KEY_ON_S:
        return 0.0
    if Board.scenario == "dead_in_start" and TURN_S < t < RELEASE_S + 0.1:
        return 0.0
    if Board.scenario == "glitch" and 3.0 < t < 3.004:
        return 0.5
    return (12.6 if Board.scenario == "no_crank" else battery_v(t)) - 0.1


def coil_v(t: float) -> float:
    """Terminal 50."""
    if Board.scenario == "no_crank":
        return 0.0
    return battery_v(t) - 0.3 if START_S < t < RELEASE_S else 0.0


def other_v(t: float) -> float:
    """Where no lead is."""
    return 0.7


class Pin:
    """Enough of machine.Pin."""

    IN = OUT = 0
    PULL_UP = 1

    def __init__(self, name: "int | str", mode: int = 0, pull: int = 0) -> None:
        self.name = name

    def value(self, new: "int | None" = None) -> int:
        """The escape pin reads high: not held. What the LED is given is written down with the board's time."""
        if self.name == "LED" and new is not None and Board.lamp_file:
            with open(Board.lamp_file, "a") as file:
                file.write(f"{Board.now_us // 1000} {new}\n")
        return 1


class ADC:
    """machine.ADC on the played start."""

    def __init__(self, pin: "Pin | int | str") -> None:
        self._pin = pin.name if isinstance(pin, Pin) else pin
        if Board.began_us is not None and Board.now_us - Board.began_us > (RELEASE_S + 2.0) * 1e6:
            Board.played = True
        Board.began_us = None

    def read_u16(self) -> int:
        """A conversion: takes READ_US of board time."""
        code = self.code(READ_US)
        return code << 4 | code >> 8

    def code(self, took_us: int) -> int:
        """The 12-bit code of a conversion that took so long."""
        if Board.began_us is None:
            Board.began_us = Board.now_us
        Board.now_us += took_us
        t = (Board.now_us - Board.began_us) / 1e6
        if Board.played:
            t = 0.0
        if Board.scenario == "no_crank" and self._pin == 26:
            volts = 12.6
        else:
            leads: dict[int | str, Callable[[float], float]] = {26: battery_v, 27: key_v, 28: coil_v}
            volts = leads.get(self._pin, other_v)(t)
        return min(max(int(volts / VOLTS_PER_CODE + 0.5), 0), 4095)


def unique_id() -> bytes:
    """Of this board."""
    return b"\x01\x02\x03\x04\x05\x06\x07\x08"


def ticks_us() -> int:
    """Board time, wrapped as on a chip."""
    Board.now_us += 1
    return Board.now_us & 0x3FFFFFFF


def ticks_diff(a: int, b: int) -> int:
    """As time.ticks_diff with a period of 2**30."""
    return ((a - b + 0x20000000) & 0x3FFFFFFF) - 0x20000000
