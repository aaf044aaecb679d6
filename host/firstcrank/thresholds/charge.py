"""Signs of a charger or jump pack."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import number


@dataclass(frozen=True, slots=True)
class ChargeThresholds:
    """Signs of a charger or jump pack."""

    charged_share: float = number(0.03, "", "of the watch in which the battery was charged")


CHARGE = ChargeThresholds()  # at 12 V
