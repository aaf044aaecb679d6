"""From ADC codes to volts on one input, with the uncertainty that goes with it. Never guesses.

volts = (even code * gain_v_per_code + offset_v), where the converter's wide codes are taken out first (converters.py). No clamp of
negative readings, no silent unity.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, NotRequired, TypedDict

from numpy.typing import ArrayLike

from firstcrank import converters, error_terms
from firstcrank.converters import CODES, UNCORRECTED_CODE, as_given, evened
from firstcrank.errors import CalibrationError
from firstcrank.toml_file import finite, number, text_at
from firstcrank.trace import FloatArray, Uncertainty

TERMS = ("steps_v", "drift_rel", "shared_drift_rel", "leakage_v", "settling_v")
SHARED = ("shared_offset_v", "shared_slope_rel", "shared_pivot_v")


class ChannelTable(TypedDict):
    """One input's line as plain values. Those of older versions lack some keys."""

    gain_v_per_code: float
    offset_v: Annotated[float, "at code 0"]
    converter: NotRequired[Annotated[str, "whose wide codes are taken out; empty: none"]]
    u_gain_rel: Annotated[float, "standard uncertainty of the gain, of this input alone"]
    u_offset_v: Annotated[float, "standard uncertainty of the offset, of this input alone"]
    u_shared_gain_rel: NotRequired[Annotated[float, "standard uncertainty that all inputs share, of reading"]]
    noise_v: NotRequired[Annotated[float, "of a single conversion"]]
    pivot_v: NotRequired[Annotated[float, "where the line is known best"]]
    terms: NotRequired[
        Annotated[list[float], "standard uncertainties: steps_v, drift_rel, shared_drift_rel, leakage_v, settling_v"]
    ]
    shared: NotRequired[Annotated[list[float], "shared_offset_v, shared_slope_rel, shared_pivot_v"]]
    filter_s: NotRequired[Annotated[float, "time constant of the input network; 0: not known"]]


@dataclass(frozen=True, slots=True)
class ChannelCalibration:
    """Straight line of one input, with its standard uncertainties.

    Attributes:
        gain_v_per_code: Volts per even code, above 0.
        offset_v: Volts at code 0, within -100 to 100.
        uncertainty: Of the volts that the line gives.
        filter_s: Time constant of the input network, seconds; 0 where unknown.
        converter: The one whose wide codes are taken out before the line, a key of converters.CONVERTERS; none where it is empty.

    Raises:
        CalibrationError: Gain or offset is out of range, or no converter is called so.
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
        """Volts at the clip for ADC codes.

        Args:
            codes: Codes, any shape, fractions allowed: a mean lies between its lowest and highest.

        Returns:
            Volts, in the shape of `codes`; not held to any range.
        """
        return evened(self.converter, codes) * self.gain_v_per_code + self.offset_v

    def real_code(self, volts: float) -> float:
        """The code that `volts` give, with fractions, not held to the converter's range.

        Args:
            volts: At the clip, volts.

        Returns:
            A code, with fractions.
        """
        return float(as_given(self.converter, (volts - self.offset_v) / self.gain_v_per_code))

    def code(self, volts: float) -> int:
        """The nearest code for `volts`.

        Args:
            volts: At the clip, volts.

        Returns:
            A code, 0 to 4095.
        """
        return int(min(max(round(self.real_code(volts)), 0), CODES - 1))

    @property
    def full_scale_v(self) -> float:
        """Volts at the top code: a reading there may be clipped."""
        return (CODES - 1) * self.gain_v_per_code + self.offset_v

    def to_json(self) -> ChannelTable:
        """Plain values, short: a board keeps eight of them in one frame. Uncertainties have six figures.

        Returns:
            What from_json takes: numbers in volts and seconds, the converter's name.
        """
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
        """Undoes to_json. A table without "terms" is of an older version and gets the usual ones.

        Args:
            table: As to_json makes it, numbers in volts and seconds.

        Returns:
            The line.

        Raises:
            KeyError: A key is missing.
            ValueError: A value is no number, or no name.
            CalibrationError: Gain or offset is out of range, or no converter is called so.
        """
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
            converter=text_at(table, "converter"),
        )
        return made if "terms" in table else made.with_usual_terms(number(table, "spike_v", 0.0))

    def with_usual_terms(self, spike_v: float = 0.0) -> ChannelCalibration:
        """The line with those terms of uncertainty that a calibration of an older version does not have.

        Args:
            spike_v: What it stated beside the wide codes, which it did not take out, volts; 0 where its offset has them.

        Returns:
            The same line. The terms are those of the notes' builds (error_terms.py has their sources).
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


def _listed(table: Mapping[str, object], key: str, names: tuple[str, ...]) -> dict[str, float]:
    values = table.get(key, [0.0] * len(names))
    if not isinstance(values, list | tuple) or len(values) != len(names):
        raise ValueError(f"{key} must be a list of {len(names)} numbers")
    return {name: finite(f"{key} ({name})", value) for name, value in zip(names, values, strict=True)}
