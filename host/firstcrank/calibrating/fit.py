"""From readings of a board and a meter to gain and offset per input, with uncertainties; nonsense is refused with a reason."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from firstcrank.calibration import CODES, ChannelCalibration
from firstcrank.errors import CalibrationError
from firstcrank.trace import FloatArray, Uncertainty

SPIKES = (512, 1536, 2560, 3584)  # RP2040 erratum E11
SPIKE_KEEP_OFF = 40  # codes; a point nearer to a spike is refused
SPIKE_CODES = 9.0
LEAST_SPAN_V = 4.0
LEAST_SPAN_SHARE = 0.4  # of the range, where that is less: inputs for grounds reach a few volts only
NOISY_CODE = 6.0  # rms; the converter's own noise is 1.0 to 1.4
TOP_CODE = 4080
SLOPE_APART_REL = 0.12  # a gain this far from the nominal divider's is another divider
ZERO_SHARE = 0.05  # of a lifted input's code at 0 V: how far it may be from the computed one
OUTLIER_REL, OUTLIER_V = 0.004, 0.025


@dataclass(frozen=True, slots=True)
class Meter:
    """Accuracy as on its data sheet: share of reading plus volts (counts times resolution)."""

    name: str
    reading_rel: float
    offset_v: float

    def __post_init__(self) -> None:
        if not (0.0 <= self.reading_rel <= 0.05 and 0.0 <= self.offset_v <= 0.5):
            raise CalibrationError("a meter's accuracy lies between 0 and 5 % of reading plus 0 to 0.5 V")


@dataclass(frozen=True, slots=True)
class Point:
    """One voltage on all inputs: the meter's reading (0 for shorted inputs), and for each role the mean and rms code."""

    meter_v: float
    mean_code: Mapping[str, float]
    rms_code: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Fitted:
    """A line with its residuals (volts, shape (points,)) and lines worth showing."""

    line: ChannelCalibration
    residuals_v: FloatArray
    notes: tuple[str, ...]


def near_spike(code: float) -> bool:
    """True where a code lies so near to one of the RP2040's spikes that it is no good for calibrating."""
    return any(abs(code - spike) < SPIKE_KEEP_OFF for spike in SPIKES)


def zero_code(nominal: ChannelCalibration | None) -> float:
    """The code of 0 V: above 0 where the input is lifted to read below ground."""
    return -nominal.offset_v / nominal.gain_v_per_code if nominal else 0.0


def span_v(nominal: ChannelCalibration) -> float:
    """Volts between the lowest and the highest code."""
    return CODES * nominal.gain_v_per_code


def check_point(point: Point, before: Sequence[Point], nominal: Mapping[str, ChannelCalibration]) -> tuple[str, ...]:
    """Plain lines about a point as soon as it was taken; empty where it is good.

    Spots a noisy supply or reference, a saturated input, a lead that is off, two inputs that disagree, a point at a code spike,
    and (with the nominal line) a wrong divider.
    """
    lines: list[str] = []
    for role, code in point.mean_code.items():
        where = role.replace("_", " ")
        line = nominal.get(role)
        if point.rms_code[role] > NOISY_CODE:
            lines.append(
                f"{where}: the reading is noisy ({point.rms_code[role]:.1f} codes): engine off, steady supply, short leads"
            )
        if code >= TOP_CODE:
            lines.append(f"{where}: at the top of its range: use a lower voltage")
        elif abs(point.meter_v) > 1.0 and abs(code - zero_code(line)) < 20 + ZERO_SHARE * zero_code(line):
            lines.append(f"{where}: reads nothing: its lead is not on the supply")
        elif abs(point.meter_v) > 1.0 and near_spike(code):
            lines.append(f"{where}: this voltage falls on a code spike of the converter: move it by 0.3 V")
        elif line is not None and abs(point.meter_v) > 1.0:
            ratio = float(line.volts(code)) / point.meter_v
            if abs(ratio - 1.0) > SLOPE_APART_REL + ZERO_SHARE * abs(line.offset_v / point.meter_v):
                lines.append(
                    f"{where}: reads {ratio:.2f} times the meter: another divider than stated, or a lead on another voltage"
                )
    for other in before:
        if abs(other.meter_v - point.meter_v) < 0.5:
            lines.append(f"{point.meter_v:.2f} V is too close to {other.meter_v:.2f} V, which you have already")
    return tuple(lines)


def fit(role: str, points: Sequence[Point], meter: Meter, nominal: ChannelCalibration | None = None) -> Fitted:
    """Least-squares line through the points of one input. Raises CalibrationError with the reason where they make no line.

    Uncertainty: the meter's limits as rectangular (JCGM 100 4.3.7), its share of reading common to all inputs; the scatter of the
    residuals; half a step; the converter's nonlinearity away from its spikes as one code rms.
    """
    points = [p for p in points if role in p.mean_code]
    volts = np.array([p.meter_v for p in points])
    codes = np.array([p.mean_code[role] for p in points])
    where = role.replace("_", " ")
    known = np.abs(volts) > 1.0
    if known.sum() < 1 or not (~known).any():
        raise CalibrationError(f"{where}: at least the shorted reading and one known voltage are needed, two are better")
    least_v = min(LEAST_SPAN_V, LEAST_SPAN_SHARE * span_v(nominal)) if nominal else LEAST_SPAN_V
    if float(np.ptp(volts)) < least_v:
        raise CalibrationError(f"{where}: the voltages lie within {np.ptp(volts):.1f} V; they must span {least_v:.1f} V")
    if any(near_spike(c) for c, k in zip(codes, known, strict=True) if k):
        raise CalibrationError(f"{where}: a voltage falls on a code spike of the converter: move it by 0.3 V")
    if codes[known].max() >= TOP_CODE:
        raise CalibrationError(f"{where}: a reading is at the top of its range")
    order = np.argsort(volts)
    if np.any(np.diff(codes[order]) <= 0):
        raise CalibrationError(f"{where}: a higher voltage does not give a higher reading: leads mixed up, or an input stuck")
    clipped = codes < 1.0  # at 0 V an input with a negative offset reads 0: no information about the line
    used = ~clipped if (~clipped).sum() >= 2 else np.ones(len(codes), dtype=bool)
    slope, offset = _line(codes[used], volts[used])
    residuals = volts - (slope * codes + offset)
    _refuse_outlier(where, volts, codes, used, residuals)
    if nominal is not None and abs(slope / nominal.gain_v_per_code - 1.0) > SLOPE_APART_REL:
        raise CalibrationError(
            f"{where}: its gain is {slope / nominal.gain_v_per_code:.2f} times the stated divider's: wrong resistor, or wrong lead"
        )
    return Fitted(
        _with_uncertainty(slope, offset, volts, residuals, used, points, role, meter, nominal), residuals, _notes(points)
    )


def _line(codes: FloatArray, volts: FloatArray) -> tuple[float, float]:
    slope, offset = np.polyfit(codes, volts, 1)
    return float(slope), float(offset)


def _refuse_outlier(where: str, volts: FloatArray, codes: FloatArray, used: np.ndarray, residuals: FloatArray) -> None:
    allowed = OUTLIER_V + OUTLIER_REL * np.abs(volts)
    bad = used & (np.abs(residuals) > allowed)
    if not bad.any():
        return
    worst = int(np.argmax(np.abs(residuals) * used))
    if used.sum() >= 4:
        rest = used.copy()
        rest[worst] = False
        slope, offset = _line(codes[rest], volts[rest])
        again = volts - (slope * codes + offset)
        if np.all(np.abs(again[rest]) <= allowed[rest]):
            raise CalibrationError(
                f"{where}: the point at {volts[worst]:.2f} V is {again[worst]:+.2f} V off the others' line: read the meter again"
            )
    raise CalibrationError(
        f"{where}: the points make no straight line (worst {residuals[worst]:+.3f} V); loose lead or moving supply"
    )


def _with_uncertainty(
    slope: float,
    offset: float,
    volts: FloatArray,
    residuals: FloatArray,
    used: np.ndarray,
    points: Sequence[Point],
    role: str,
    meter: Meter,
    nominal: ChannelCalibration | None,
) -> ChannelCalibration:
    freedom = int(used.sum()) - 2
    scatter_v = math.sqrt(float((residuals[used] ** 2).sum()) / freedom) if freedom > 0 else 0.0
    floor_v = 1.0 * slope  # the converter's nonlinearity away from its spikes, about one code rms
    spanned_v = float(np.ptp(volts[used]))
    own_v = math.hypot(max(scatter_v, floor_v), meter.offset_v / math.sqrt(3.0))
    rms = float(np.median([p.rms_code[role] for p in points]))
    return ChannelCalibration(
        gain_v_per_code=slope,
        offset_v=offset,
        uncertainty=Uncertainty(
            gain_rel=math.sqrt(2.0) * own_v / spanned_v,
            offset_v=own_v,
            shared_gain_rel=meter.reading_rel / math.sqrt(3.0),
            noise_v=max(rms, 0.3) * slope,
        ),
        spike_v=SPIKE_CODES / 2.0 * slope / math.sqrt(3.0),
        filter_s=nominal.filter_s if nominal else 0.0,
    )


def _notes(points: Sequence[Point]) -> tuple[str, ...]:
    known = sum(abs(p.meter_v) > 1.0 for p in points)
    return () if known >= 2 else ("only one known voltage: a second one would show whether the input is straight",)


def swapped(point: Point, other: str, alone: str, nominal: Mapping[str, ChannelCalibration]) -> str | None:
    """With a voltage on the lead called `alone` only: a line if it was the `other` input that read it."""
    at_zero = {role: zero_code(nominal.get(role)) for role in (alone, other)}
    risen = {role: point.mean_code[role] - at_zero[role] * (1 + ZERO_SHARE) for role in (alone, other)}
    if risen[other] > 100 and risen[alone] < 20:
        return f"the {other.replace('_', ' ')} input read what is on the {alone.replace('_', ' ')} lead: the two inputs are swapped"
    return None
