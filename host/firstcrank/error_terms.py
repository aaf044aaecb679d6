"""What a calibration cannot take out: drift of the reference and the resistors, leakage of the clamp, settling between leads.

Every number stands once, in the frozen table TERMS, with its source. All are limits of rectangular distributions, u = a / sqrt(3)
(JCGM 100 4.3.7), for use at 0 to 40 degrees Celsius after a calibration at room temperature.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from firstcrank.converters import converter
from firstcrank.errors import CalibrationError

ROOT3 = math.sqrt(3.0)


@dataclass(frozen=True, slots=True)
class Term:
    """A limit of error with its unit and where the number comes from."""

    limit: float
    unit: str
    source: str


TERMS: Mapping[str, Term] = {
    "reference_drift": Term(
        0.004,
        "of reading",
        "our estimate, no source: the 3.3 V supply is the reference; its temperature, load and USB voltage, and its ageing in a year",
    ),
    "resistor_tc": Term(100e-6, "per kelvin", "usual for 1 % metal film, from memory; the notes' parts list asks for it"),
    "temperature": Term(25.0, "K", "0 to 40 °C, calibrated at 15 to 30 °C"),
    "sampled_span": Term(0.65, "of the range", "our choice: a battery at rest and a dead lead converted one after the other"),
}

# Change of the clamp's net current at the node against the day of calibration, ampere, at most 40 °C. Two diodes of a pair leak
# against each other, so their difference counts.
CLAMPS: Mapping[str, Term] = {
    "bat54s": Term(
        0.2e-6,
        "A",
        "from memory, a usual SPICE model: 0.2 µA at 25 °C, four times that at 40 °C; the pair unlike by a quarter. Diodes drawn "
        "half as leaky to half as much again, at 0 to 40 °C, give 0.09 µA rms. Above 40 °C it doubles every 10 K",
    ),
    "bav199": Term(0.02e-6, "A", "from memory of its data sheet: at most 5 nA at 25 °C, doubling every 10 K"),
    "1n4148": Term(0.1e-6, "A", "from memory of its data sheet: at most 25 nA at 25 °C and 20 V, doubling every 10 K"),
    "none": Term(0.0, "A", "no clamp"),
}


def reference_drift_rel() -> float:
    """Standard uncertainty of the reference since the calibration, of reading, common to all leads."""
    return TERMS["reference_drift"].limit / ROOT3


def resistor_drift_rel(sensitivity: float = math.sqrt(2.0)) -> float:
    """Standard uncertainty of a divider by its resistors' temperature, of reading: coefficient times temperature, both rectangular.

    `sensitivity`: relative change of the ratio by one relative change of each resistor, added in squares; below sqrt(2) for two.
    """
    return sensitivity * TERMS["resistor_tc"].limit / ROOT3 * TERMS["temperature"].limit / ROOT3


def leakage_v(r_top_ohm: float, clamp: str) -> float:
    """Standard uncertainty at the clip by the clamp's leakage: a current into the node moves the clip's reading by I times R1.

    Raises CalibrationError for an unknown clamp.
    """
    if clamp not in CLAMPS:
        raise CalibrationError(f"no clamp is called {clamp!r}; there are {', '.join(CLAMPS)}")
    return CLAMPS[clamp].limit * r_top_ohm / ROOT3


def settling_v(source_ohm: float, filter_f: float, range_v: float, name: str) -> float:
    """Standard uncertainty at the clip by the charge that the lead converted before leaves in the sampling capacitor.

    Of the difference between the two leads: f C Rth, a current through the source, and C / (C + filter), the one sample's own share.
    `range_v` at the clip. Calibrating puts one voltage on all leads, so it cannot show there.
    """
    c = converter(name)
    share = c.lead_hz * c.sample_f * source_ohm + (c.sample_f / (c.sample_f + filter_f) if filter_f else 0.0)
    return share * range_v * TERMS["sampled_span"].limit / ROOT3


def likely_input(range_v: float) -> tuple[float, float, float]:
    """Upper resistor, source resistance and filter of an input whose calibration does not tell: the notes' build of such a range."""
    return (33e3, 5.64e3, 10e-9) if range_v < 25.0 else (100e3, 9.09e3, 10e-9)
