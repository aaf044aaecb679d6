"""The switch test: what a turn of the key is."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import count, number


@dataclass(frozen=True, slots=True)
class SwitchThresholds:
    """The switch test: what a turn of the key is."""

    turns_wanted: int = count(10, "turns to START and back")
    start_least_s: float = number(0.5, "s", "a shorter pulse of the S wire is no turn")
    around_s: float = number(0.4, "s", "of the key's travel before and after START")
    join_s: float = number(0.15, "s", "shorter breaks of the S wire are one turn")
    before_from_s: float = number(1.0, "s", "the feed before a turn is its median from this before START")
    before_to_s: float = number(0.1, "s", "to this before")


SWITCH = SwitchThresholds()  # at 12 V
