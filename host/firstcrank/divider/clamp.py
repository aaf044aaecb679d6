"""Clamp diodes an input can have: forward voltage, what they carry, and how much they leak, from their data sheets.

Two diodes in series from ground to the reference, the node between them. Forward curves are the data sheets' HIGHEST voltages,
because those decide what the pin sees; leakage is the highest too, because that decides what a reading is off by.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

THERMAL_V = 0.02569  # kT/q at 25 degC
LEAKAGE_DOUBLES_K = 10.0  # common practice, no source


@dataclass(frozen=True, slots=True)
class Clamp:
    """One pair. Forward: v = n kT/q ln(i / i_s + 1) + r_s i, laid through the data sheet's highest values.

    `leakage_a` is the highest reverse current at 25 degC, `leakage_hot_a` the highest at 150 degC; `steady_a` and `pulse_a` what one
    diode carries for ever and for 1 ms.
    """

    name: str
    i_s_a: float
    n: float
    r_s_ohm: float
    steady_a: float
    pulse_a: float
    leakage_a: float
    leakage_hot_a: float
    source: str

    def forward_v(self, amperes: float) -> float:
        """Highest forward voltage at a current of 0 or more."""
        return self.n * THERMAL_V * math.log1p(amperes / self.i_s_a) + self.r_s_ohm * amperes

    def forward_a(self, volts: float) -> float:
        """The current at a forward voltage, 0 below 0 V: the inverse of `forward_v`, by bisection to 1e-12 of its range."""
        if volts <= 0:
            return 0.0
        low, high = 0.0, 1.0
        while self.forward_v(high) < volts:
            high *= 2.0
        for _ in range(80):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if self.forward_v(middle) < volts else (low, middle)
        return 0.5 * (low + high)

    def leaks_a(self, celsius: float) -> float:
        """Highest reverse current: doubles every 10 K from 25 degC, never above the sheet's hot value."""
        return float(min(self.leakage_a * 2.0 ** ((celsius - 25.0) / LEAKAGE_DOUBLES_K), self.leakage_hot_a))

    def net_leakage_a(self, node_v: float, reference_v: float, celsius: float) -> tuple[float, float]:
        """Least and most current into the node: upper diode leaking alone, lower one leaking alone.

        A diode with little voltage across it leaks less: i = i_max (1 - exp(-v / (n kT/q))), textbook.
        """
        most = self.leaks_a(celsius)
        scale_v = self.n * THERMAL_V * (celsius + 273.15) / 298.15
        upper = most * -math.expm1(-max(reference_v - node_v, 0.0) / scale_v)
        lower = most * -math.expm1(-max(node_v, 0.0) / scale_v)
        return -lower, upper


# 0.9 V at 1 mA, 1.0 V at 10 mA, 1.1 V at 50 mA, 1.25 V at 150 mA; 5 nA (75 V, 25 degC), 80 nA (150 degC); 1 A for 1 ms.
BAV199 = Clamp("BAV199", 1.03e-12, 1.69, 0.9, 0.14, 1.0, 5e-9, 80e-9, "Infineon BAV199, 2004; NXP BAV199, 2001 (public texts)")
# 1.0 V at 10 mA; 25 nA at 20 V, 50 uA at 20 V and 150 degC; 0.2 A; 1 A for 1 s or shorter: from memory.
SILICON_PAIR = Clamp("two 1N4148", 2.6e-12, 1.75, 0.6, 0.15, 1.0, 25e-9, 50e-6, "1N4148 class (from memory)")
# 0.24 V at 0.1 mA, 0.32 V at 1 mA, 0.40 V at 10 mA, 0.50 V at 30 mA; 2 uA at 25 V and 25 degC: from memory.
SCHOTTKY_PAIR = Clamp("BAT54S", 1.0e-7, 1.33, 2.6, 0.2, 0.6, 2e-6, 200e-6, "BAT54S class (from memory)")
CLAMPS = {c.name: c for c in (BAV199, SILICON_PAIR, SCHOTTKY_PAIR)}
