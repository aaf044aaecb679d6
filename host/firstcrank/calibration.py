"""From ADC codes to volts, with the uncertainty that goes with it. Never guesses.

volts = (code * gain_v_per_code + offset_v). A calibration is either measured (against a meter) or nominal
(from resistor values and tolerances, larger uncertainty). No clamp of negative readings, no silent unity.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from firstcrank.errors import CalibrationError
from firstcrank.trace import ROLES, FloatArray, Uncertainty

CODES = 4096  # 12-bit converter: RP2040 datasheet section 4.9


@dataclass(frozen=True, slots=True)
class ChannelCalibration:
    """Straight line of one input, volts per ADC code and volts at code 0, with its standard uncertainties.

    `spike_v` is the extra standard uncertainty near the RP2040's code spikes (erratum E11), 0 where corrected
    or where the chip has none. `filter_s` is the time constant of the input network, 0 where unknown.
    """

    gain_v_per_code: float
    offset_v: float
    uncertainty: Uncertainty
    spike_v: float = 0.0
    filter_s: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.gain_v_per_code) and self.gain_v_per_code > 0):
            raise CalibrationError(f"gain is {self.gain_v_per_code} V per code, must be above 0")
        if not (math.isfinite(self.offset_v) and abs(self.offset_v) <= 100):
            raise CalibrationError(f"offset is {self.offset_v} V, must lie within -100 to 100 V")

    def volts(self, codes: ArrayLike) -> FloatArray:
        """Volts at the clip for ADC codes (any shape, fractions allowed)."""
        return np.asarray(codes, dtype=np.float64) * self.gain_v_per_code + self.offset_v

    def code(self, volts: float) -> int:
        """The nearest code for `volts`, 0 to 4095."""
        return int(min(max(round((volts - self.offset_v) / self.gain_v_per_code), 0), CODES - 1))

    @property
    def full_scale_v(self) -> float:
        """Volts at the top code: a reading there may be clipped."""
        return (CODES - 1) * self.gain_v_per_code + self.offset_v


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

    def to_json(self) -> dict[str, Any]:
        """Plain values for a recording, the board and the record store; from_json undoes it."""
        return {
            "kind": self.kind,
            "date": self.date,
            "meter": self.meter,
            "board": self.board,
            "notes": list(self.notes),
            "channels": {
                role: {
                    "gain_v_per_code": c.gain_v_per_code,
                    "offset_v": c.offset_v,
                    "u_gain_rel": c.uncertainty.gain_rel,
                    "u_offset_v": c.uncertainty.offset_v,
                    "u_shared_gain_rel": c.uncertainty.shared_gain_rel,
                    "noise_v": c.uncertainty.noise_v,
                    "spike_v": c.spike_v,
                    "filter_s": c.filter_s,
                }
                for role, c in self.channels.items()
            },
        }

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Calibration:
        """Raises CalibrationError where a key is missing or a number is out of range."""
        try:
            return cls(
                kind=data["kind"],
                date=data.get("date", ""),
                meter=data.get("meter", ""),
                board=data.get("board", ""),
                notes=tuple(data.get("notes", ())),
                channels={
                    role: ChannelCalibration(
                        gain_v_per_code=float(c["gain_v_per_code"]),
                        offset_v=float(c["offset_v"]),
                        uncertainty=Uncertainty(
                            gain_rel=float(c["u_gain_rel"]),
                            offset_v=float(c["u_offset_v"]),
                            shared_gain_rel=float(c.get("u_shared_gain_rel", 0.0)),
                            noise_v=float(c.get("noise_v", 0.0)),
                        ),
                        spike_v=float(c.get("spike_v", 0.0)),
                        filter_s=float(c.get("filter_s", 0.0)),
                    )
                    for role, c in data["channels"].items()
                },
            )
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise CalibrationError(f"calibration cannot be used: {error!r}") from error


def nominal_channel(
    r_top_ohm: float,
    r_bottom_ohm: float,
    tolerance_rel: float,
    reference_v: float = 3.3,
    reference_tolerance_rel: float = 0.01,
    filter_f: float = 0.0,
    noise_code: float = 1.4,
    input_ohm: float = math.inf,
    r_lift_ohm: float = math.inf,
) -> ChannelCalibration:
    """A divider's line from its nominal values.

    Tolerances are limits of a rectangular distribution, so u = a / sqrt(3) (JCGM 100 4.3.7), and
    u(k)/k = R1/(R1+R2) * sqrt(ur1^2 + ur2^2) for k = (R1+R2)/R2. `noise_code` is the converter's noise in codes
    rms (published test of the RP2040: 1.0 to 1.4). `filter_f` is the capacitor across R2, farad. `input_ohm` is the least
    input resistance of the converter: it pulls a reading down by 0 to Rth / (Rth + Rin), the same in all inputs alike, so half
    of it is taken out and the rest is a shared rectangular uncertainty. `r_lift_ohm` goes from the converter's input to the
    reference and lifts it, so that voltages below ground read: k = 1 + R1/R2 + R1/R3, offset -Vref R1/R3.
    """
    for name, value in (("r_top_ohm", r_top_ohm), ("r_bottom_ohm", r_bottom_ohm), ("reference_v", reference_v)):
        if not (math.isfinite(value) and value > 0):
            raise CalibrationError(f"{name} is {value}, must be above 0")
    for name, value in (("tolerance_rel", tolerance_rel), ("reference_tolerance_rel", reference_tolerance_rel)):
        if not 0 <= value <= 0.2:
            raise CalibrationError(f"{name} is {value}, must lie between 0 and 0.2")
    if not r_lift_ohm > 0:
        raise CalibrationError(f"r_lift_ohm is {r_lift_ohm}, must be above 0")
    to_ground, to_reference = r_top_ohm / r_bottom_ohm, r_top_ohm / r_lift_ohm
    ratio = 1.0 + to_ground + to_reference
    lsb_v = reference_v / CODES * ratio
    u_resistor, u_reference = tolerance_rel / math.sqrt(3.0), reference_tolerance_rel / math.sqrt(3.0)
    u_ratio = math.hypot(ratio - 1.0, to_ground, to_reference) / ratio * u_resistor
    lift_v = reference_v * to_reference
    u_lift_v = lift_v * math.hypot(math.sqrt(2.0) * u_resistor, u_reference)
    source_ohm = r_top_ohm / ratio
    load = 0.0 if math.isinf(input_ohm) else source_ohm / (source_ohm + input_ohm)
    u_load = load / math.sqrt(12.0)
    return ChannelCalibration(
        gain_v_per_code=lsb_v * (1.0 + load / 2.0),
        offset_v=-lift_v,
        uncertainty=Uncertainty(
            gain_rel=u_ratio,
            offset_v=math.hypot(
                3.0 * lsb_v / math.sqrt(3.0), u_lift_v
            ),  # the RP2040's own is not published; 3 codes, our caution
            shared_gain_rel=math.hypot(u_reference, u_load),
            noise_v=noise_code * lsb_v,
        ),
        spike_v=4.5 * lsb_v / math.sqrt(3.0),  # erratum RP2040-E11: about 9 codes wide
        filter_s=filter_f * source_ohm,
    )


def read_calibration(path: Path) -> Calibration:
    """A calibration from a TOML file.

    Either `kind = "measured"` with `[channels.ROLE]` tables of the keys to_json writes, or `kind = "nominal"` with
    `[channels.ROLE]` tables of r_top_ohm, r_bottom_ohm, tolerance_rel and optional reference_v,
    reference_tolerance_rel, filter_f, input_ohm, r_lift_ohm. Raises CalibrationError naming the key.
    """
    try:
        data = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise CalibrationError(f"{path}: {getattr(error, 'strerror', None) or error}") from error
    if data.get("kind") != "nominal":
        return Calibration.from_json(data)
    channels: dict[str, ChannelCalibration] = {}
    for role, table in data.get("channels", {}).items():
        try:
            channels[role] = nominal_channel(**{key: float(value) for key, value in table.items()})
        except TypeError as error:
            raise CalibrationError(f"{path}: channels.{role}: {error}") from error
    return Calibration(kind="nominal", channels=channels, date=str(data.get("date", "")), notes=(str(path),))
