"""Clamp diodes an input can have: the one table of them. What each carries, drops, holds and leaks, with the sheet it is from.

Two diodes in series from ground to the reference, the node between them. The designer, the budgets, the notes and the nominal
calibrations all take their numbers here. Forward curves are the data sheets' HIGHEST voltages, because those decide what the pin
sees; leakage is the highest too, because that decides what a reading is off by.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from firstcrank.errors import CalibrationError

THERMAL_V = 0.02569  # kT/q at 25 degC
LEAKAGE_DOUBLES_K = 10.0  # common practice, no source; a 1N4148's two values (PanJit) make it 11.4 K
NONE = "none"


@dataclass(frozen=True, slots=True)
class Sources:
    """Where each of a clamp's numbers comes from: a maker's sheet with its date, or "from memory, no source"."""

    forward: str
    current: str
    leakage: str
    leakage_hot: str
    capacitance: str

    @property
    def short(self) -> str:
        """All of them in one line, each once."""
        texts = (self.forward, self.current, self.leakage, self.leakage_hot, self.capacitance)
        return "; ".join(dict.fromkeys(texts))


@dataclass(frozen=True, slots=True)
class Clamp:
    """One pair. Forward: v = n kT/q ln(i / i_s + 1) + r_s i, laid through the data sheet's highest values.

    `leakage_a` is the highest reverse current of one diode at 25 degC, `leakage_hot_a` the highest at 150 degC; `steady_a` and
    `pulse_a` what one diode carries for ever and for 1 ms; `capacitance_f` of one diode, hardly reverse biased.
    """

    name: str
    i_s_a: float
    n: float
    r_s_ohm: float
    steady_a: float
    pulse_a: float
    leakage_a: float
    leakage_hot_a: float
    capacitance_f: float
    sources: Sources

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
        """Least and most current into the node: lower diode leaking alone, upper one leaking alone.

        A diode with little voltage across it leaks less: i = i_max (1 - exp(-v / (n kT/q))), textbook.
        """
        most = self.leaks_a(celsius)
        scale_v = self.n * THERMAL_V * (celsius + 273.15) / 298.15
        upper = most * -math.expm1(-max(reference_v - node_v, 0.0) / scale_v)
        lower = most * -math.expm1(-max(node_v, 0.0) / scale_v)
        return -lower, upper


INFINEON = "Infineon BAV199, 2004-03-10"
PANJIT = "PanJit 1N4148, rev 0.2, 2010-04-07"
FORMOSA = "Formosa BAT54S"
MEMORY = "from memory, no source"

# 0.9 V at 1 mA, 1.0 V at 10 mA, 1.1 V at 50 mA, 1.25 V at 150 mA; 5 nA (75 V, 25 degC), 80 nA (75 V, 150 degC); 2 pF at 0 V.
BAV199 = Clamp("BAV199", 1.03e-12, 1.69, 0.9, 0.14, 1.0, 5e-9, 80e-9, 2e-12,
               Sources(INFINEON, "NXP BAV199, 2001-10-12", INFINEON, INFINEON, INFINEON))  # fmt: skip
# 1.0 V at 10 mA; 25 nA at 20 V, 50 uA at 20 V and 150 degC; 150 mA, 0.5 A for less than 1 s; 4 pF at 0 V.
SILICON_PAIR = Clamp("two 1N4148", 2.6e-12, 1.75, 0.6, 0.15, 0.5, 25e-9, 50e-6, 4e-12,
                     Sources(PANJIT, PANJIT, PANJIT, PANJIT, PANJIT))  # fmt: skip
# 0.24 V at 0.1 mA, 0.32 V at 1 mA, 0.40 V at 10 mA, 0.50 V at 30 mA; 2 uA at 25 V; 0.2 A, 0.6 A below 10 ms; 10 pF at 1 V.
SCHOTTKY_PAIR = Clamp("BAT54S", 1.0e-7, 1.33, 2.6, 0.2, 0.6, 2e-6, 200e-6, 10e-12,
                      Sources(FORMOSA, FORMOSA, FORMOSA, MEMORY, FORMOSA))  # fmt: skip
# By the name that calibration files use.
CLAMPS: Mapping[str, Clamp] = {"bav199": BAV199, "1n4148": SILICON_PAIR, "bat54s": SCHOTTKY_PAIR}


def clamp_called(name: str) -> Clamp | None:
    """The clamp of that name, in any case; None for "none". Raises CalibrationError naming those that there are."""
    key = name.lower()
    if key != NONE and key not in CLAMPS:
        raise CalibrationError(f"no clamp is called {name!r}; there are {', '.join((*CLAMPS, NONE))}")
    return CLAMPS.get(key)
