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

SUPPLY_V = 3.3
CODES = 4096
R_SERIES_OHM = 4700.0  # hardware_notes: R17 of the builds
FIRST_S, SECOND_S = 4e-6, 60e-6  # firmware/firstcrank_board/drive_viper.py, WAITS
LIVE_V = 0.2  # at the clip: a wire with more on it is left alone
SLACK = 0.12  # of a voltage: parts of 1 % and a capacitor of 20 % a few microseconds after the release
CAPACITOR_SLACK = 0.4  # of the time constant: capacitors of 20 %, and the moment of the conversion
Told = tuple[Literal["ok", "warn", "fail"], str, str]


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
        return max(round(LIVE_V * self.r_bottom_ohm / (self.r_top_ohm + self.r_bottom_ohm) / SUPPLY_V * CODES), 1)

    def after_v(self, seconds: float, clip_open: bool) -> float:
        """Volts at the pin so long after the release."""
        down = 1.0 / self.r_bottom_ohm + (0.0 if clip_open else 1.0 / self.r_top_ohm)
        node_ohm = 1.0 / down
        start_v = SUPPLY_V * node_ohm / (node_ohm + self.r_series_ohm)
        return start_v * math.exp(-seconds / (node_ohm * self.filter_f)) if self.filter_f > 0 else 0.0

    def told(self, codes: Sequence[float]) -> Told:
        """Outcome, what was seen, what to do. codes: after FIRST_S and after SECOND_S."""
        first_v, second_v = (code * SUPPLY_V / CODES for code in codes[:2])
        seen = f"{first_v:.2f} V after 4 us, {second_v:.2f} V after 60 us"
        low_v, high_v = self.after_v(FIRST_S, False), self.after_v(FIRST_S, True)
        if first_v < 0.05:
            return "fail", seen, "No capacitor at this input, or a short to ground behind the series resistor: look for both"
        if second_v > 0.9 * SUPPLY_V:
            return (
                "fail",
                seen,
                "Nothing pulls the pin down: series resistor or lower resistor open, or a solder joint is missing",
            )
        fall = math.log(first_v / second_v) if second_v > 0.01 else 9.0
        constant_s = (SECOND_S - FIRST_S) / max(fall, 1e-3)
        least_s = (1 - CAPACITOR_SLACK) * self.filter_f / (1 / self.r_bottom_ohm + 1 / self.r_top_ohm)
        most_s = (1 + CAPACITOR_SLACK) * self.filter_f * self.r_bottom_ohm
        seen += f", time constant {constant_s * 1e6:.0f} us"
        start_v = first_v * math.exp(FIRST_S / constant_s)  # what it was let go from
        from_v, to_v = self.after_v(0.0, False) * (1 - SLACK), self.after_v(0.0, True) * (1 + SLACK)
        if start_v > to_v:
            return "fail", seen, f"Series resistor too small: {self.r_series_ohm:.0f} ohm belong there"
        if start_v < from_v:
            return (
                "fail",
                seen,
                f"Series resistor too large, or a lower resistor too small: {self.r_series_ohm:.0f} ohm belong in series",
            )
        if constant_s > most_s:
            return (
                "fail",
                seen,
                f"Capacitor too large: {self.filter_f * 1e9:.0f} nF belong there. Short dropouts would be smoothed away",
            )
        if constant_s < least_s:
            return "fail", seen, f"Capacitor too small: {self.filter_f * 1e9:.0f} nF belong there"
        return "ok", seen + f" ({low_v:.2f} to {high_v:.2f} V expected)", ""


def networks(path: Path) -> dict[str, PinNetwork]:
    """The inputs of a nominal calibration file that are plain dividers with a capacitor; lifted ones cannot be told this way."""
    table = tomllib.loads(path.read_text(encoding="utf-8")).get("channels", {})
    return {
        role: PinNetwork(float(c["r_top_ohm"]), float(c["r_bottom_ohm"]), float(c["filter_f"]))
        for role, c in table.items()
        if "r_lift_ohm" not in c and c.get("filter_f")
    }
