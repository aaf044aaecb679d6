"""From points to gain and offset of an input, with its uncertainty. A line that contradicts its own points is refused."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from firstcrank.calibrating import points as of_points
from firstcrank.calibrating.points import Meter, Point, gain_apart_rel, least_apart_v, near_spike, zero_apart_code, zero_code
from firstcrank.calibration import TERMS, ChannelCalibration
from firstcrank.converters import Converter, converter, evened
from firstcrank.errors import CalibrationError
from firstcrank.thresholds.calibration import CALIBRATION
from firstcrank.trace import BoolArray, FloatArray, Uncertainty

ROOT3 = math.sqrt(3.0)
ONE_VOLTAGE = "only one known voltage: nothing would show a slip of the meter or of the fingers"


class ContradictionError(CalibrationError):
    """Points that make no straight line. `meter_v` is the one to read again, 0 for the shorted inputs."""

    def __init__(self, text: str, meter_v: float) -> None:
        super().__init__(text)
        self.meter_v = meter_v


@dataclass(frozen=True, slots=True)
class Fitted:
    """A line with its residuals (volts, shape (points,)) and lines worth showing."""

    line: ChannelCalibration
    residuals_v: FloatArray
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Seen:
    """What a line must go through, shape (n,) each: volts, even codes, standard uncertainties (own, meter's), all in volts.

    `clipped`: the pin could not show this one; it stands for a code anywhere from minus the converter's offset to CALIBRATION.clipped_code.
    """

    volts: FloatArray
    even: FloatArray
    own_v: FloatArray
    meter_v: FloatArray
    clipped: BoolArray
    known: BoolArray

    @property
    def u_v(self) -> FloatArray:
        return np.asarray(np.hypot(self.own_v, self.meter_v))


def fit(role: str, points: Sequence[Point], meter: Meter, nominal: ChannelCalibration | None = None) -> Fitted:
    """Weighted least-squares line through the points of one input, in even codes.

    Raises CalibrationError with the reason where they make no line, ContradictionError where reading one again could mend it.
    """
    points = [p for p in points if role in p.mean_code]
    where = role.replace("_", " ")
    of = converter(of_points.of_converter(nominal))
    codes, volts = np.array([p.mean_code[role] for p in points]), np.array([p.meter_v for p in points])
    known = np.array([p.known for p in points], dtype=bool)
    _refuse_useless(where, codes, volts, known, of.name)
    seen = _seen(codes, volts, known, meter, of, nominal)
    solver = _solver(seen)
    slope, offset = (float(x) for x in solver @ seen.volts)
    residuals = np.asarray(seen.volts - (slope * seen.even + offset))
    _refuse_contradiction(where, seen, solver, residuals, nominal)
    alone = float(np.ptp(volts[known])) < least_apart_v(nominal)
    _refuse_far_from_nominal(where, slope, offset, alone, seen, nominal)
    rms = float(np.median([p.rms_code[role] for p in points]))
    stated = _uncertainty(slope, offset, seen, solver, rms, meter, of, nominal if alone else None)
    line = ChannelCalibration(slope, offset, stated, nominal.filter_s if nominal else 0.0, of.name)
    return Fitted(_with_terms(line, of, nominal), residuals, (ONE_VOLTAGE,) if alone else ())


def _refuse_useless(where: str, codes: FloatArray, volts: FloatArray, known: BoolArray, name: str) -> None:
    if known.sum() < 1 or known.all():
        raise CalibrationError(f"{where}: at least the shorted reading and one known voltage are needed, two are better")
    if any(near_spike(c, name) for c in codes[known]):
        raise CalibrationError(f"{where}: a voltage falls on a wide code of the converter: move it by 0.2 V")
    if codes[known].max() >= CALIBRATION.top_code:
        raise CalibrationError(f"{where}: a reading is at the top of its range")
    if np.any(np.diff(codes[np.argsort(volts)]) <= 0):
        raise CalibrationError(f"{where}: a higher voltage does not give a higher reading: leads mixed up, or an input stuck")


def _seen(
    codes: FloatArray, volts: FloatArray, known: BoolArray, meter: Meter, of: Converter, nominal: ChannelCalibration | None
) -> _Seen:
    lsb_v = nominal.gain_v_per_code if nominal else float(np.ptp(volts) / np.ptp(codes))
    clipped = ~known & (codes < CALIBRATION.clipped_code) & (zero_code(nominal) < CALIBRATION.clipped_code)
    even = np.where(clipped, (CALIBRATION.clipped_code - of.offset_code) / 2.0, evened(of.name, codes))
    own_v = lsb_v * np.where(clipped, (CALIBRATION.clipped_code + of.offset_code) / math.sqrt(12.0), of.residual_code)
    meter_v = np.where(known, meter.offset_v / ROOT3, 0.0)
    return _Seen(volts, np.asarray(even), np.asarray(own_v), np.asarray(meter_v), np.asarray(clipped), known)


def _solver(seen: _Seen) -> FloatArray:
    """Shape (2, n): times the volts it gives slope and offset, each point weighted by its uncertainty (JCGM 100 H.3)."""
    design = np.column_stack((seen.even, np.ones(len(seen.even))))
    weighted = design / seen.u_v[:, None]
    return np.asarray(np.linalg.pinv(weighted) / seen.u_v)


def _refuse_contradiction(
    where: str, seen: _Seen, solver: FloatArray, residuals: FloatArray, nominal: ChannelCalibration | None
) -> None:
    """A residual beyond what the meter and the converter can explain: names the point that fits the others least."""
    reach = np.where(seen.clipped, ROOT3, CALIBRATION.refused_u)  # the clipped one is rectangular: its whole width
    far = np.abs(residuals) / (reach * seen.u_v)
    if far.max() <= 1.0:
        return
    design = np.column_stack((seen.even, np.ones(len(seen.even))))
    free = np.maximum(1.0 - np.einsum("ij,ji->i", design, solver), 1e-6)
    scores = np.abs(residuals) / (seen.u_v * np.sqrt(free)) * np.where(seen.known, 1.0, 0.99)
    suspect = int(np.argmax(scores)) if len(residuals) > 3 or nominal is None else _unlikeliest(seen, nominal)
    off_v = residuals[suspect] / free[suspect]
    if not seen.known[suspect]:
        raise ContradictionError(
            f"{where}: the shorted leads read {off_v:+.2f} V off the other points' line: short them again", 0.0
        )
    typed_v = float(seen.volts[suspect])
    raise ContradictionError(
        f"{where}: the point at {typed_v:.2f} V is {off_v:+.2f} V off the others' line: read the meter again (what it shows, "
        "not what the battery is called), and look for a loose lead",
        typed_v,
    )


def _unlikeliest(seen: _Seen, nominal: ChannelCalibration) -> int:
    """Of three points each fits the other two alike: the one whose gain is furthest from the nominal divider's."""
    risen_v = (seen.even - float(seen.even[~seen.known].mean())) * nominal.gain_v_per_code
    away = [abs(v / r - 1.0) if k and r else -1.0 for v, r, k in zip(seen.volts, risen_v, seen.known, strict=True)]
    return int(np.argmax(away))


def _refuse_far_from_nominal(
    where: str, slope: float, offset: float, alone: bool, seen: _Seen, nominal: ChannelCalibration | None
) -> None:
    """Refuses a gain or a code at 0 V that no such divider and converter have."""
    away = -offset / slope - (-nominal.offset_v / nominal.gain_v_per_code if nominal else 0.0)
    allowed_code = zero_apart_code(nominal)
    why = ""
    if abs(away) > allowed_code:
        why = (
            f"by this line 0 V is code {away:+.0f} from where it must be (at most {allowed_code:.0f}): a voltage is not what the "
            "meter showed, or the input is not straight"
        )
    elif nominal is not None:
        times = slope / nominal.gain_v_per_code
        u = nominal.uncertainty
        allowed = gain_apart_rel(nominal)
        allowed = min(allowed, 2.0 * math.hypot(u.gain_rel, u.shared_gain_rel)) if alone else allowed
        if abs(times - 1.0) > allowed:
            why = (
                f"its gain is {times:.3f} times the stated divider's: not what the meter shows, wrong resistor, or wrong lead"
                + (". A second known voltage would tell which" if alone else "")
            )
    if not why:
        return
    if alone or nominal is None:
        raise CalibrationError(f"{where}: {why}")
    raise ContradictionError(f"{where}: {why}", float(seen.volts[_unlikeliest(seen, nominal)]))


def _uncertainty(
    slope: float,
    offset: float,
    seen: _Seen,
    solver: FloatArray,
    rms: float,
    meter: Meter,
    of: Converter,
    unchecked: ChannelCalibration | None,
) -> Uncertainty:
    """JCGM 100 5.2: what the converter does is each input's own; what the meter does is common to all inputs.

    Half of the meter's volts (as variance) is taken as one offset of all its readings, half as each reading's own. `unchecked`: the
    nominal line where one known voltage alone was taken; a slip in it is as likely as the divider's tolerance allows.
    """
    own = solver @ np.diag(seen.own_v**2) @ solver.T
    together = 0.5 * np.outer(seen.meter_v, seen.meter_v) + 0.5 * np.diag(seen.meter_v**2)
    gain_rel, offset_v, pivot_v = _turned(own, slope, offset)
    shared_slope_rel, shared_offset_v, shared_pivot_v = _turned(solver @ together @ solver.T, slope, offset)
    shared_gain_rel = meter.reading_rel / ROOT3
    if unchecked is not None:
        shared_gain_rel = math.hypot(shared_gain_rel, unchecked.uncertainty.gain_rel, unchecked.uncertainty.shared_gain_rel)
    return Uncertainty(
        gain_rel=gain_rel,
        offset_v=offset_v,
        shared_gain_rel=shared_gain_rel,
        noise_v=max(rms, CALIBRATION.least_noise_code) * slope,
        shared_offset_v=shared_offset_v,
        shared_slope_rel=shared_slope_rel,
        pivot_v=pivot_v,
        shared_pivot_v=shared_pivot_v,
    )


def _turned(covariance: FloatArray, slope: float, offset: float) -> tuple[float, float, float]:
    """Relative slope, offset and pivot (volts) that give the same variance at every voltage as the covariance does.

    var(slope x + offset) = var(slope) (x - x0)^2 + rest, with x0 = -cov / var(slope): textbook.
    """
    of_slope, both, of_offset = float(covariance[0, 0]), float(covariance[0, 1]), float(covariance[1, 1])
    if of_slope <= 0.0:
        return 0.0, math.sqrt(max(of_offset, 0.0)), 0.0
    pivot_v = -both / of_slope * slope + offset
    return math.sqrt(of_slope) / slope, math.sqrt(max(of_offset - both**2 / of_slope, 0.0)), pivot_v


def _with_terms(line: ChannelCalibration, of: Converter, nominal: ChannelCalibration | None) -> ChannelCalibration:
    """What no line takes out: the nominal input's drift, leakage and settling; the steps at this gain."""
    base = nominal or line.with_usual_terms()
    terms = {name: getattr(base.uncertainty, name) for name in TERMS}
    terms["steps_v"] = of.residual_code * line.gain_v_per_code
    return replace(line, uncertainty=replace(line.uncertainty, **terms))
