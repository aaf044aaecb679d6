"""What a calibration cannot take out: drift of the reference and the resistors, leakage, settling between leads.

Every number stands once, in the frozen table TERMS, with its source. All are limits of rectangular distributions, u = a / sqrt(3)
(JCGM 100 4.3.7), for use at 0 to 40 degrees Celsius after a calibration at room temperature.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from firstcrank.clamps import clamp_called
from firstcrank.converters import converter

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
    "hottest": Term(40.0, "°C", "what the notes allow: a leakage is stated for it; colder ones are smaller"),
    "older_leakage": Term(
        0.2e-6,
        "A",
        "from memory, no source: what versions before the clamps' own table took for any board. A calibration of such a version, and its "
        "verdicts, keep it: it does not tell its clamp",
    ),
    "sampled_span": Term(0.65, "of the range", "our choice: a battery at rest and a dead lead converted one after the other"),
}


def reference_drift_rel() -> float:
    """Standard uncertainty of the reference since the calibration, of reading, common to all leads."""
    return TERMS["reference_drift"].limit / ROOT3


def resistor_drift_rel(sensitivity: float = math.sqrt(2.0)) -> float:
    """Standard uncertainty of a divider by its resistors' temperature, of reading: coefficient times temperature, both rectangular.

    `sensitivity`: relative change of the ratio by one relative change of each resistor, added in squares; below sqrt(2) for two.
    """
    return sensitivity * TERMS["resistor_tc"].limit / ROOT3 * TERMS["temperature"].limit / ROOT3


def leakage_v(r_top_ohm: float, clamp: str, name: str, r_series_ohm: float = 0.0, ratio: float = 1.0) -> float:
    """Standard uncertainty at the clip by leakage: a current into the node moves the clip's reading by I times R1.

    `clamp` names a row of clamps.CLAMPS, or "none": one diode of the pair leaking alone. The pin of converter `name` leaks too, through
    R1 and the resistor to the pin (times `ratio`, clip to node). Both at most what their sheets say, at 40 degC; a calibration
    takes some of it out, by how much depends on the day. Raises CalibrationError for an unknown clamp or converter.
    """
    hot_c = TERMS["hottest"].limit
    diodes = clamp_called(clamp)
    clamp_v = diodes.leaks_a(hot_c) * r_top_ohm if diodes else 0.0
    pin_v = converter(name).pin_leaks_a(hot_c) * (r_top_ohm + r_series_ohm * ratio)
    return math.hypot(clamp_v, pin_v) / ROOT3


def older_leakage_v(r_top_ohm: float) -> float:
    """As leakage_v, for a calibration of an older version."""
    return TERMS["older_leakage"].limit * r_top_ohm / ROOT3


def settling_v(source_ohm: float, filter_f: float, range_v: float, name: str) -> float:
    """Standard uncertainty at the clip by the charge that the lead converted before leaves in the sampling capacitor.

    Of the difference between the two leads: f C Rth, a current through the source (the resistor to the pin is no part of it: the pin
    settles through it within the sampling time), and C / (C + filter), the one sample's own share.
    `range_v` at the clip. Calibrating puts one voltage on all leads, so it cannot show there.
    """
    c = converter(name)
    share = c.lead_hz * c.sample_f * source_ohm + (c.sample_f / (c.sample_f + filter_f) if filter_f else 0.0)
    return share * range_v * TERMS["sampled_span"].limit / ROOT3


def likely_input(range_v: float) -> tuple[float, float, float]:
    """Upper resistor, source resistance and filter of an input whose calibration does not tell: the notes' build of such a range."""
    return (33e3, 5.64e3, 10e-9) if range_v < 25.0 else (100e3, 9.09e3, 10e-9)
