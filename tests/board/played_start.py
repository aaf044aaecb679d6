"""Codes for the emulated ADC as a function of emulated time: a start drawn by hand, or a script of dropouts. Synthetic."""

from __future__ import annotations

import math

VOLTS_PER_CODE = 3.3 / 4096 * 122 / 22
KEY_ON_S, TURN_S, START_S, RELEASE_S = 0.5, 1.3, 1.4, 3.6


def battery_v(t: float) -> float:
    """A six-cylinder diesel on a 12 V battery."""
    if t < START_S + 0.05:
        return 12.6 if t < KEY_ON_S else 12.45
    if t < RELEASE_S:
        since = t - START_S - 0.05
        return 10.2 - 2.0 * math.exp(-since / 0.06) + 0.3 * math.sin(2 * math.pi * 9.0 * since)
    return 12.4 - 0.8 * math.exp(-(t - RELEASE_S) / 0.4)


def key_v(t: float, scenario: str) -> float:
    """The feed, with the scenario's fault."""
    if t < KEY_ON_S or (scenario == "dead_in_start" and TURN_S < t < RELEASE_S + 0.1):
        return 0.0
    if scenario == "glitch" and 2.5 < t < 2.504:
        return 0.5
    return battery_v(t) - 0.1


def coil_v(t: float) -> float:
    """Terminal 50."""
    return battery_v(t) - 0.3 if START_S < t < RELEASE_S else 0.0


def code(channel: int, t: float, scenario: str) -> int:
    """The code of ADC channel 0 to 3 at `t` seconds after the recording began."""
    if channel == 0:
        volts = battery_v(t)
    elif channel == 1:
        volts = key_v(t, scenario)
    elif channel == 2:
        volts = coil_v(t)
    else:
        return 876  # the temperature sensor at 27 degC: 0.706 V (RP2040 datasheet 4.9.5)
    return min(max(int(volts / VOLTS_PER_CODE + 0.5), 0), 4095)
