"""Points of a calibration: a voltage as the meter shows it, what the inputs read; what is wrong with one is told at once."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from firstcrank.calibration import CODES, ChannelCalibration
from firstcrank.converters import CONVERTERS
from firstcrank.errors import CalibrationError
from firstcrank.thresholds.calibration import CALIBRATION


@dataclass(frozen=True, slots=True)
class Meter:
    """Accuracy as on its data sheet: share of reading plus volts (counts times resolution)."""

    name: str
    reading_rel: float
    offset_v: float

    def __post_init__(self) -> None:
        if not (
            0.0 <= self.reading_rel <= CALIBRATION.reading_rel_most and 0.0 <= self.offset_v <= CALIBRATION.meter_offset_most_v
        ):
            raise CalibrationError("a meter's accuracy lies between 0 and 5 % of reading plus 0 to 0.5 V")
        if self.reading_rel == 0.0 and self.offset_v == 0.0:
            raise CalibrationError(
                "no meter is without error: take its accuracy from the data sheet, such as 0.5 % and 2 counts of 10 mV (20 mV)"
            )


@dataclass(frozen=True, slots=True)
class Point:
    """One voltage on all inputs: the meter's reading (0 for shorted inputs), and for each role the mean and rms code."""

    meter_v: float
    mean_code: Mapping[str, float]
    rms_code: Mapping[str, float]

    @property
    def known(self) -> bool:
        """True for a voltage that the meter showed, False for shorted inputs."""
        return abs(self.meter_v) > CALIBRATION.known_v


def near_spike(code: float, converter: str = "rp2040") -> bool:
    """True where a code lies so near to one of the converter's wide codes that it is no good for calibrating."""
    return any(abs(code - wide) < CALIBRATION.spike_keep_off for wide, _ in CONVERTERS[converter].wide)


def zero_code(nominal: ChannelCalibration | None) -> float:
    """The code of 0 V: above 0 where the input is lifted to read below ground."""
    return nominal.real_code(0.0) if nominal else 0.0


def zero_apart_code(nominal: ChannelCalibration | None) -> float:
    """How far the code of 0 V may lie from the computed one."""
    return CALIBRATION.zero_apart_code + CALIBRATION.zero_share * zero_code(nominal)


def least_apart_v(nominal: ChannelCalibration | None) -> float:
    """How far two known voltages must lie apart."""
    return CALIBRATION.least_apart_share * CODES * nominal.gain_v_per_code if nominal else CALIBRATION.least_apart_v


def gain_apart_rel(nominal: ChannelCalibration | None) -> float:
    """How far a gain may lie from the nominal divider's: 6 %, or 2.5 u of it where that is more.

    A converter that does not load the divider at all, with resistors and reference at their worst ends, lies 2.5 u below the nominal
    line, which takes half of the most load out.
    """
    stated = math.hypot(nominal.uncertainty.gain_rel, nominal.uncertainty.shared_gain_rel) if nominal else 0.0
    return max(CALIBRATION.gain_apart_rel, CALIBRATION.gain_apart_u * stated)


def of_converter(nominal: ChannelCalibration | None) -> str:
    """The converter behind an input: the nominal line's, else the minimal build's."""
    return (nominal.converter if nominal else "") or "rp2040"


def check_point(point: Point, before: Sequence[Point], nominal: Mapping[str, ChannelCalibration]) -> tuple[str, ...]:
    """Plain lines about a point as soon as it was taken; empty where it is good.

    Spots a noisy supply or reference, a saturated input, a lead that is off, two inputs that disagree, a point at a wide code,
    inputs that are not shorted, and (with the nominal line) a wrong divider or a reading that is not the meter's.
    """
    lines: list[str] = []
    for role, code in point.mean_code.items():
        where = role.replace("_", " ")
        line = nominal.get(role)
        if point.rms_code[role] > CALIBRATION.noisy_code:
            lines.append(
                f"{where}: the reading is noisy ({point.rms_code[role]:.1f} codes): engine off, steady supply, short leads"
            )
        if code >= CALIBRATION.top_code:
            lines.append(f"{where}: at the top of its range: use a lower voltage")
        elif not point.known:
            if code - zero_code(line) > zero_apart_code(line):
                lines.append(f"{where}: reads a voltage with all leads shorted: a lead is not on")
            elif zero_code(line) - code > zero_apart_code(line):
                lines.append(f"{where}: its offset network is open or another than stated")
        elif abs(code - zero_code(line)) < CALIBRATION.beside_codes + CALIBRATION.zero_share * zero_code(line):
            lines.append(f"{where}: reads nothing: its lead is not on the supply")
        elif near_spike(code, of_converter(line)):
            lines.append(
                f"{where}: this voltage falls on a wide code of the converter: move it by 0.2 V (headlights on, or a diode in series)"
            )
        elif line is not None and (trouble := _against_nominal(where, code, point.meter_v, line)):
            lines.append(trouble)
    for other in before:
        if abs(other.meter_v - point.meter_v) < CALIBRATION.again_v and (point.known or other.known):
            lines.append(f"{point.meter_v:.2f} V is too close to {other.meter_v:.2f} V, which you have already")
    return tuple(lines)


def _against_nominal(where: str, code: float, meter_v: float, line: ChannelCalibration) -> str:
    read_v = float(line.volts(code))
    allowed_v = gain_apart_rel(line) * abs(meter_v) + zero_apart_code(line) * line.gain_v_per_code
    if abs(read_v - meter_v) <= allowed_v:
        return ""
    return (
        f"{where}: reads {read_v / meter_v:.2f} times the meter: not what the meter shows, another divider than stated, "
        "or a lead on another voltage"
    )


def swapped(point: Point, other: str, alone: str, nominal: Mapping[str, ChannelCalibration]) -> str | None:
    """With a voltage on the lead called `alone` only: a line if it was the `other` input that read it."""
    at_zero = {role: zero_code(nominal.get(role)) for role in (alone, other)}
    risen = {role: point.mean_code[role] - at_zero[role] * (1 + CALIBRATION.zero_share) for role in (alone, other)}
    if risen[other] > CALIBRATION.same_line_codes and risen[alone] < CALIBRATION.zero_apart_code:
        return f"the {other.replace('_', ' ')} input read what is on the {alone.replace('_', ' ')} lead: the two inputs are swapped"
    return None
