"""Boards with one thing soldered wrongly, as their pins show it to `board check`: data/solder_faults.json, made by the hardware notes."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TypedDict

from firstcrank.errors import UsageError

FIRST_GPIO = 26
SUPPLY_V = 3.3
OFF = "no board"  # how the hardware notes call a fault that keeps the regulator off


@dataclass(frozen=True, slots=True)
class SolderFault:
    """One planted fault: its name, the part that is wrong, and per lead (1 to 3) the pin's volts (see hardware_notes/pin_check.py)."""

    name: str
    part: str
    pins: Mapping[str, Mapping[str, float]]
    good: Mapping[str, float]
    keeps_board_off: bool

    def pin(self, gpio: int) -> Mapping[str, float]:
        """What is seen at a pin; a good one's where the board has none of the three leads."""
        return self.pins.get(str(gpio - FIRST_GPIO + 1), self.good)


class _FaultRow(TypedDict):
    fault: str
    part: str
    pins: dict[str, dict[str, float]]
    board_check_says: str


class _FaultsTable(TypedDict):
    good: dict[str, dict[str, float]]
    faults: list[_FaultRow]


@cache
def solder_faults() -> tuple[SolderFault, ...]:
    """A good board first (number 0), then every planted fault."""
    table: _FaultsTable = json.loads((resources.files("firstcrank.data") / "solder_faults.json").read_text("utf-8"))
    good = table["good"]["minimal 12 V"]
    faults = [
        SolderFault(row["fault"], row["part"], row["pins"], good, row["board_check_says"].startswith(OFF))
        for row in table["faults"]
    ]
    return (SolderFault("none", "", {}, good, False), *faults)


def solder_fault(number: int) -> SolderFault:
    """Raises UsageError for a number that there is not."""
    faults = solder_faults()
    if not 0 <= number < len(faults):
        raise UsageError(f"sim: solder={number}: 0 for a good board, or 1 to {len(faults) - 1}")
    return faults[number]
