"""What the live screen takes for signs of a running engine."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import number


@dataclass(frozen=True, slots=True)
class SignThresholds:
    """What the live screen takes for signs of a running engine."""

    recovered_share: float = number(0.35, "", "of the crank's sag that is left: the engine runs up by itself")
    recovered_s: float = number(0.3, "s", "for so long")
    bridged_sag_v: float = number(1.5, "V", "a starter's sag with the key not in START")
    bridged_s: float = number(0.5, "s", "for so long")
    charges_v: float = number(0.6, "V", "above the level before the crank: it charges")
    no_battery_v: float = number(4.0, "V", "below that the battery lead is off")
    level_v: float = number(0.5, "V", "below its highest: the battery's level before a crank follows so far")


SIGNS = SignThresholds()  # at 12 V
