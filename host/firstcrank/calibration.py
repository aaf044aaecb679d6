"""From ADC codes to volts, with the uncertainty that goes with it. Never guesses.

volts = (even code * gain_v_per_code + offset_v), where the converter's wide codes are taken out first (converters.py). A
calibration is either measured (against a meter) or nominal (from resistor values and tolerances, larger uncertainty). No clamp of
negative readings, no silent unity.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import cast

from numpy.typing import ArrayLike

from firstcrank import converters, error_terms
from firstcrank.converters import CODES, UNCORRECTED_CODE, as_given, evened
from firstcrank.errors import CalibrationError
from firstcrank.roles import ROLES
from firstcrank.toml_file import finite, number, one_line, read_toml, shown
from firstcrank.trace import FloatArray, Uncertainty

__all__ = ("CODES", "Calibration", "ChannelCalibration", "nominal_channel", "read_calibration")

TERMS = ("steps_v", "drift_rel", "shared_drift_rel", "leakage_v", "settling_v")
SHARED = ("shared_offset_v", "shared_slope_rel", "shared_pivot_v")
OLDER = "older calibration: steps, drift, leakage and settling are taken as usual for such a board"


@dataclass(frozen=True, slots=True)
class ChannelCalibration:
    """Straight line of one input, volts per even code and volts at code 0, with its standard uncertainties.

    `converter` names the one whose wide codes are taken out before the line; none where it is empty. `filter_s` is the time constant
    of the input network, 0 where unknown.
    """

    gain_v_per_code: float
    offset_v: float
    uncertainty: Uncertainty
    filter_s: float = 0.0
    converter: str = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.gain_v_per_code) and self.gain_v_per_code > 0):
            raise CalibrationError(f"gain is {self.gain_v_per_code} V per code, must be above 0")
        if not (math.isfinite(self.offset_v) and abs(self.offset_v) <= 100):
            raise CalibrationError(f"offset is {self.offset_v} V, must lie within -100 to 100 V")
        if self.converter:
            converters.converter(self.converter)

    def volts(self, codes: ArrayLike) -> FloatArray:
        """Volts at the clip for ADC codes (any shape, fractions allowed: a mean lies between its lowest and highest)."""
        return evened(self.converter, codes) * self.gain_v_per_code + self.offset_v

    def real_code(self, volts: float) -> float:
        """The code that `volts` give, with fractions, not held to the converter's range."""
        return float(as_given(self.converter, (volts - self.offset_v) / self.gain_v_per_code))

    def code(self, volts: float) -> int:
        """The nearest code for `volts`, 0 to 4095."""
        return int(min(max(round(self.real_code(volts)), 0), CODES - 1))

    @property
    def full_scale_v(self) -> float:
        """Volts at the top code: a reading there may be clipped."""
        return (CODES - 1) * self.gain_v_per_code + self.offset_v

    def to_json(self) -> dict[str, object]:
        """Plain values, short: a board keeps eight of them in one frame. Uncertainties have six figures."""
        u = self.uncertainty
        return {
            "gain_v_per_code": self.gain_v_per_code,
            "offset_v": self.offset_v,
            "converter": self.converter,
            "u_gain_rel": _figures(u.gain_rel),
            "u_offset_v": _figures(u.offset_v),
            "u_shared_gain_rel": _figures(u.shared_gain_rel),
            "noise_v": _figures(u.noise_v),
            "pivot_v": _figures(u.pivot_v),
            "terms": [_figures(getattr(u, name)) for name in TERMS],
            "shared": [_figures(getattr(u, name)) for name in SHARED],
            "filter_s": self.filter_s,
        }

    @classmethod
    def from_json(cls, table: Mapping[str, object]) -> ChannelCalibration:
        """Undoes to_json. One without "terms" is of an older version and gets the usual ones. Raises KeyError, ValueError."""
        made = cls(
            gain_v_per_code=number(table, "gain_v_per_code"),
            offset_v=number(table, "offset_v"),
            uncertainty=Uncertainty(
                gain_rel=number(table, "u_gain_rel"),
                offset_v=number(table, "u_offset_v"),
                shared_gain_rel=number(table, "u_shared_gain_rel", 0.0),
                noise_v=number(table, "noise_v", 0.0),
                pivot_v=number(table, "pivot_v", 0.0),
                **_listed(table, "shared", SHARED),
                **_listed(table, "terms", TERMS),
            ),
            filter_s=number(table, "filter_s", 0.0),
            converter=_name(table, "converter"),
        )
        return made if "terms" in table else made.with_usual_terms(number(table, "spike_v", 0.0))

    def with_usual_terms(self, spike_v: float = 0.0) -> ChannelCalibration:
        """The terms that a calibration of an older version does not have.

        `spike_v`: what it stated beside the wide codes, which it did not take out; 0 where its offset has them.
        """
        range_v = self.full_scale_v - self.offset_v
        r_top_ohm, source_ohm, filter_f = error_terms.likely_input(range_v)
        steps_code = UNCORRECTED_CODE if spike_v > 0.0 else converters.converter("rp2040").residual_code
        terms = replace(
            self.uncertainty,
            steps_v=max(steps_code * self.gain_v_per_code, spike_v),
            drift_rel=error_terms.resistor_drift_rel(),
            shared_drift_rel=error_terms.reference_drift_rel(),
            leakage_v=error_terms.older_leakage_v(r_top_ohm),
            settling_v=error_terms.settling_v(source_ohm, filter_f, range_v, "rp2040"),
        )
        return replace(self, uncertainty=terms)


def _figures(value: float) -> float:
    return float(f"{value:.6g}")


def _name(table: Mapping[str, object], key: str, default: str = "") -> str:
    value = table.get(key, default)
    if not isinstance(value, str):
        raise ValueError(f"{key} is {shown(value)}, must be a name")
    return value


def _required(table: Mapping[str, object], key: str) -> str:
    if key not in table:
        raise KeyError(key)
    return _name(table, key)


def _listed(table: Mapping[str, object], key: str, names: tuple[str, ...]) -> dict[str, float]:
    values = table.get(key, [0.0] * len(names))
    if not isinstance(values, list | tuple) or len(values) != len(names):
        raise ValueError(f"{key} must be a list of {len(names)} numbers")
    return {name: finite(f"{key} ({name})", value) for name, value in zip(names, values, strict=True)}


@dataclass(frozen=True, slots=True)
class Calibration:
    """One line per role. `kind` is "measured" or "nominal"; `date` ISO 8601; `meter` what it was measured with."""

    kind: str
    channels: Mapping[str, ChannelCalibration]
    date: str = ""
    meter: str = ""
    board: str = ""
    notes: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        if self.kind not in ("measured", "nominal"):
            raise CalibrationError(f"calibration kind is {self.kind!r}, must be 'measured' or 'nominal'")
        for role in self.channels:
            if role not in ROLES:
                raise CalibrationError(f"calibration names the role {role!r}; roles are {', '.join(ROLES)}")

    def channel(self, role: str) -> ChannelCalibration:
        """The line of `role`. Raises CalibrationError where the calibration has none."""
        if role not in self.channels:
            raise CalibrationError(f"the calibration has no line for {role}: calibrate that input or name another file")
        return self.channels[role]

    def to_json(self) -> dict[str, object]:
        """Plain values for a recording, the board and the record store; from_json undoes it."""
        return {
            "kind": self.kind,
            "date": self.date,
            "meter": self.meter,
            "board": self.board,
            "notes": list(self.notes),
            "channels": {role: line.to_json() for role, line in self.channels.items()},
        }

    @classmethod
    def from_json(cls, data: Mapping[str, object]) -> Calibration:
        """Raises CalibrationError, in one line, where a key is missing or holds what it must not."""
        try:
            if not isinstance(data.get("notes", []), list | tuple):
                raise ValueError("notes must be a list")
            notes = [_name({"note": note}, "note") for note in cast("list[object]", data.get("notes", ()))]
            tables = cast("Mapping[str, Mapping[str, object]]", data["channels"])
            if any("terms" not in table for table in tables.values()) and OLDER not in notes:
                notes.append(OLDER)
            return cls(
                kind=_required(data, "kind"),
                date=_name(data, "date"),
                meter=_name(data, "meter"),
                board=_name(data, "board"),
                notes=tuple(notes),
                channels={role: ChannelCalibration.from_json(table) for role, table in tables.items()},
            )
        except KeyError as error:
            raise CalibrationError(f"calibration cannot be used: {one_line(error)} is missing") from error
        except (TypeError, ValueError, AttributeError, RecursionError) as error:
            raise CalibrationError(f"calibration cannot be used: {one_line(error)}") from error


def nominal_channel(
    r_top_ohm: float,
    r_bottom_ohm: float,
    tolerance_rel: float,
    reference_v: float = 3.3,
    reference_tolerance_rel: float = 0.01,
    filter_f: float = 0.0,
    noise_code: float | None = None,
    input_ohm: float = math.inf,
    r_lift_ohm: float = math.inf,
    converter: str = "rp2040",
    clamp: str = "1n4148",
    r_series_ohm: float = 0.0,
) -> ChannelCalibration:
    """A divider's line from its nominal values.

    Tolerances are limits of a rectangular distribution, so u = a / sqrt(3) (JCGM 100 4.3.7), and
    u(k)/k = R1/(R1+R2) * sqrt(ur1^2 + ur2^2) for k = (R1+R2)/R2. `filter_f` is the capacitor across R2, farad. `input_ohm` is the
    least input resistance of the converter: it pulls a reading down by 0 to Rth / (Rth + Rin), the same in all inputs alike, so half
    of it is taken out and the rest is a shared rectangular uncertainty; Rth is what the pin sees, `r_series_ohm` (node to pin) in line
    with the divider. `r_lift_ohm` goes from the converter's input to the
    reference and lifts it, so that voltages below ground read: k = 1 + R1/R2 + R1/R3, offset -Vref R1/R3, its load's share of the
    lift included. `converter` and `clamp` name rows of converters.CONVERTERS and clamps.CLAMPS (1N4148, the notes' strip board, unless
    named; BAV199 leaks less); the converter's offset is common to all leads. `noise_code`: its noise
    in codes rms where that is known better.
    """
    for name, value in (("r_top_ohm", r_top_ohm), ("r_bottom_ohm", r_bottom_ohm), ("reference_v", reference_v)):
        if not (math.isfinite(value) and value > 0):
            raise CalibrationError(f"{name} is {value}, must be above 0")
    for name, value in (("tolerance_rel", tolerance_rel), ("reference_tolerance_rel", reference_tolerance_rel)):
        if not 0 <= value <= 0.2:
            raise CalibrationError(f"{name} is {value}, must lie between 0 and 0.2")
    for name, value in (("r_lift_ohm", r_lift_ohm), ("input_ohm", input_ohm)):
        if not value > 0:
            raise CalibrationError(f"{name} is {value}, must be above 0")
    if not 0.0 <= r_series_ohm < 1e6:
        raise CalibrationError(f"r_series_ohm is {r_series_ohm}, must lie between 0 and 1 Mohm")
    of = converters.converter(converter)
    to_ground, to_reference = r_top_ohm / r_bottom_ohm, r_top_ohm / r_lift_ohm
    ratio = 1.0 + to_ground + to_reference
    source_ohm, lift_v = r_top_ohm / ratio, reference_v * to_reference
    half_load = 0.0 if math.isinf(input_ohm) else 0.5 * (source_ohm + r_series_ohm) / (source_ohm + r_series_ohm + input_ohm)
    lsb_v = reference_v / CODES * ratio / (1.0 - half_load)
    u_resistor, u_reference = tolerance_rel / math.sqrt(3.0), reference_tolerance_rel / math.sqrt(3.0)
    u_load = half_load / (1.0 - half_load) / math.sqrt(3.0)
    sensitivity, pivot_v, lift_share_v = _by_resistors(ratio, to_ground, to_reference, lift_v)
    lifted = lift_v > 0.0
    return ChannelCalibration(
        gain_v_per_code=lsb_v,
        offset_v=-lift_v,
        uncertainty=Uncertainty(
            gain_rel=sensitivity * u_resistor,
            offset_v=lift_share_v * u_resistor,
            pivot_v=pivot_v,
            shared_gain_rel=u_reference if lifted else math.hypot(u_reference, u_load),
            shared_slope_rel=u_load if lifted else 0.0,
            shared_pivot_v=-lift_v if lifted else 0.0,
            shared_offset_v=of.offset_code * lsb_v / math.sqrt(3.0),
            noise_v=(of.noise_code if noise_code is None else noise_code) * lsb_v,
            steps_v=of.residual_code * lsb_v,
            drift_rel=error_terms.resistor_drift_rel(sensitivity),
            shared_drift_rel=error_terms.reference_drift_rel(),
            leakage_v=error_terms.leakage_v(r_top_ohm, clamp, converter, r_series_ohm, ratio),
            settling_v=error_terms.settling_v(source_ohm, filter_f, reference_v * ratio, converter),
        ),
        filter_s=filter_f * source_ohm,
        converter=converter,
    )


def _by_resistors(ratio: float, to_ground: float, to_reference: float, lift_v: float) -> tuple[float, float, float]:
    """Slope, pivot (volts) and rest (volts) of a divider's error for one relative change of each resistor, added in squares.

    At V on the clip the node stands at n = (V + lift) / ratio, and R1 moves the reading by V - n, R2 by n R1/R2, R3 by lift - n R1/R3
    (the reference moves the lift and its reading alike). Each is a line in V; the sum of their squares is a parabola.
    """
    lines = (  # at 0 V, per volt
        (-lift_v / ratio, 1.0 - 1.0 / ratio),
        (lift_v / ratio * to_ground, to_ground / ratio),
        (lift_v * (1.0 - to_reference / ratio), -to_reference / ratio),
    )
    signs = sum(at_zero * slope for at_zero, slope in lines)
    slope_2 = sum(slope**2 for _, slope in lines)
    rest_2 = sum(at_zero**2 for at_zero, _ in lines) - signs**2 / slope_2
    return math.sqrt(slope_2), -signs / slope_2, math.sqrt(max(rest_2, 0.0))


NAMES = ("converter", "clamp")


def read_calibration(path: Path, converter: str | None = None) -> Calibration:
    """A calibration from a TOML file.

    Either `kind = "measured"` with `[channels.ROLE]` tables of the keys to_json writes, or `kind = "nominal"` with
    `[channels.ROLE]` tables of r_top_ohm, r_bottom_ohm, tolerance_rel and optional reference_v, reference_tolerance_rel, filter_f,
    input_ohm, r_lift_ohm, r_series_ohm, converter, clamp. `converter` (a nominal file only): the one behind the inputs of
    tables that name none; unless it is the RP2040's, with its own input resistance. Raises CalibrationError naming file and key.
    """
    data = read_toml(path, CalibrationError)
    try:
        if data.get("kind") != "nominal":
            return Calibration.from_json(data)
        tables = data.get("channels", {})
        if not isinstance(tables, dict):
            raise CalibrationError("channels must be tables, [channels.battery] and so on")
        channels = {role: _nominal(role, table, converter) for role, table in tables.items()}
        return Calibration(kind="nominal", channels=channels, date=str(data.get("date", "")), notes=(str(path),))
    except CalibrationError as error:
        raise CalibrationError(f"{path}: {error}") from error


def _nominal(role: str, table: object, behind: str | None) -> ChannelCalibration:
    if not isinstance(table, dict):
        raise CalibrationError(f"channels.{role} is {shown(table)}, must be a table of resistor values")
    try:
        names = {key: _name(table, key) for key in NAMES if key in table}
        numbers = {key: finite(key, value) for key, value in table.items() if key not in NAMES}
        if behind is not None and "converter" not in names:
            names["converter"] = behind
            if behind != "rp2040":
                numbers["input_ohm"] = converters.converter(behind).input_ohm
        return nominal_channel(**numbers, **names)  # type: ignore[arg-type]
    except (CalibrationError, TypeError, ValueError) as error:
        raise CalibrationError(f"channels.{role}: {one_line(error)}") from error
