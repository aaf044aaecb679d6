"""What hangs on a board's pin, told by driving the pin high, letting it go, and looking twice while it falls.

    pin --- r_series ---+--- r_top --- clip (open, or on a wire at rest)
                        +--- r_bottom --- ground
                        +--- capacitor --- ground

Driven for longer than the filter takes, the node stands at the divider of r_series and what leads to ground; let go, it falls with the
filter's time constant, whatever r_series is. So the first reading tells r_series and the ratio of the two the capacitor.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from firstcrank.thresholds.board import BOARD

SUPPLY_V = 3.3
CODES = 4096
R_SERIES_OHM = 4700.0  # hardware_notes: R17 of the builds
FIRST_S, SECOND_S = 4e-6, 60e-6  # firmware/firstcrank_board/drive_viper.py, WAITS_US
LEAD_PINS = (31, 32, 34)  # of leads 1, 2, 3 on the module: GP26, GP27, GP28
FIRST_GPIO = 26
Assessment = tuple[Literal["ok", "warn", "fail"], str, str]


@dataclass(frozen=True, slots=True)
class PinNetwork:
    """One input as it should be. Ohm and farad."""

    r_top_ohm: float
    r_bottom_ohm: float
    filter_f: float
    r_series_ohm: float = R_SERIES_OHM

    @property
    def live_code(self) -> int:
        """The code from which the wire counts as live."""
        return max(round(BOARD.pin_live_v * self.r_bottom_ohm / (self.r_top_ohm + self.r_bottom_ohm) / SUPPLY_V * CODES), 1)

    def after_v(self, seconds: float, clip_open: bool) -> float:
        """Volts at the pin so long after the release."""
        down = 1.0 / self.r_bottom_ohm + (0.0 if clip_open else 1.0 / self.r_top_ohm)
        node_ohm = 1.0 / down
        start_v = SUPPLY_V * node_ohm / (node_ohm + self.r_series_ohm)
        return start_v * math.exp(-seconds / (node_ohm * self.filter_f)) if self.filter_f > 0 else 0.0

    def assess(self, codes: Sequence[float], lead: int = 0) -> Assessment:
        """Outcome, what was seen, what to do.

        codes: after FIRST_S and after SECOND_S, and by how much another input rose while this one was driven (0 where not known).
        lead: its number on the board, for the parts' designators; 0 for none.
        """
        first_v, second_v, *rest = (code * SUPPLY_V / CODES for code in codes)
        others_v = rest[0] if rest else 0.0
        seen = f"{first_v:.2f} V after 4 us, {second_v:.2f} V after 60 us"
        parts = _Parts(lead)
        if others_v > BOARD.pin_bridged_v:
            seen += f"; another input rises by {others_v:.2f} V"
            if second_v > BOARD.pin_stays * SUPPLY_V:
                return "fail", seen, "All pins rise together: the ground wire to pin 33 is open"
            return "fail", seen, f"A solder bridge: {parts.pin} to the pin beside it, or this lead to the lead beside it"
        if first_v < BOARD.pin_dead_v:
            return "fail", seen, f"{parts.capacitor} not fitted or bridged, or {parts.pin} shorted to ground (pin 33)"
        if second_v > BOARD.pin_stays * SUPPLY_V:
            return "fail", seen, f"Nothing pulls the pin down: {parts.series} open, or a solder joint is missing"
        constant_s = (SECOND_S - FIRST_S) / max(math.log(first_v / max(second_v, 0.001)), 1e-3)
        seen += f", time constant {constant_s * 1e6:.0f} us"
        do = self._wrong_part(first_v * math.exp(FIRST_S / constant_s), constant_s, parts)
        if do:
            return "fail", seen, do
        return "ok", seen + f" ({self.after_v(FIRST_S, False):.2f} to {self.after_v(FIRST_S, True):.2f} V expected)", ""

    def _wrong_part(self, start_v: float, constant_s: float, parts: _Parts) -> str:
        """The part that explains where the fall began and how long it takes; "" where both are as they should be."""
        least_s = (1 - BOARD.pin_capacitor_slack) * self.filter_f / (1 / self.r_bottom_ohm + 1 / self.r_top_ohm)
        most_s = (1 + BOARD.pin_capacitor_slack) * self.filter_f * self.r_bottom_ohm
        from_v, to_v = self.after_v(0.0, False) * (1 - BOARD.pin_slack), self.after_v(0.0, True) * (1 + BOARD.pin_slack)
        series, bottom, farad = f"{self.r_series_ohm:.0f} ohm", f"{self.r_bottom_ohm:.0f} ohm", f"{self.filter_f * 1e9:.0f} nF"
        if constant_s < BOARD.pin_faded * least_s:  # nothing is left to tell where it began
            return f"{parts.capacitor} or {parts.bottom} much too small: {farad} and {bottom} belong there"
        slow, fast, high, low = constant_s > most_s, constant_s < least_s, start_v > to_v, start_v < from_v
        if high and slow:
            return f"{parts.bottom} too large or not fitted: {bottom} belong there"
        if low and fast:
            return f"{parts.bottom} too small: {bottom} belong there"
        if high:
            return f"Series resistor too small, {parts.series}: {series} belong there"
        if low:
            return f"Series resistor too large, {parts.series}: {series} belong there; or a lower diode reversed, {parts.diode}"
        if slow:
            return f"Capacitor too large, {parts.capacitor}: {farad} belong there. Short dropouts would be smoothed away"
        return f"Capacitor too small, {parts.capacitor}: {farad} belong there" if fast else ""


@dataclass(frozen=True, slots=True)
class _Parts:
    """The parts of one input by name, and by the designators of the drawings where the lead's number is known."""

    lead: int

    @property
    def series(self) -> str:
        return f"R{self.lead}7" if self.lead else "the series resistor"

    @property
    def bottom(self) -> str:
        return f"R{self.lead}6, the lower resistor," if self.lead else "The lower resistor,"

    @property
    def capacitor(self) -> str:
        return f"C{self.lead}1" if self.lead else "capacitor"

    @property
    def diode(self) -> str:
        return f"D{self.lead}1 or D{self.lead}2" if self.lead else "at this input"

    @property
    def pin(self) -> str:
        return f"pin {LEAD_PINS[self.lead - 1]}" if 1 <= self.lead <= len(LEAD_PINS) else "the pin"


def rest_advice(pin_v: float, lead: int = 0) -> str:
    """What to do with an input that is not at rest, so that its pin was not driven."""
    parts = _Parts(lead)
    if pin_v > BOARD.pin_stays * SUPPLY_V:
        return (
            f"Every clip on the ground clip, then again. If it stays: the ground wire to pin 33 is open, or {parts.bottom} open"
        )
    return f"Every clip on the ground clip, then again. If it stays: the upper diode is reversed, {parts.diode}"


def networks(path: Path) -> dict[str, PinNetwork]:
    """The inputs of a nominal calibration file that are plain dividers with a capacitor; lifted ones cannot be told this way."""
    table = tomllib.loads(path.read_text(encoding="utf-8")).get("channels", {})
    return {
        role: PinNetwork(
            float(c["r_top_ohm"]), float(c["r_bottom_ohm"]), float(c["filter_f"]), float(c.get("r_series_ohm", R_SERIES_OHM))
        )
        for role, c in table.items()
        if "r_lift_ohm" not in c and c.get("filter_f")
    }
