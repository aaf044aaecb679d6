"""The line of an input that was never measured: from its resistors' values and tolerances alone."""

from __future__ import annotations

import math

from firstcrank import converters, error_terms
from firstcrank.channel_calibration import ChannelCalibration
from firstcrank.converters import CODES
from firstcrank.errors import CalibrationError
from firstcrank.trace import Uncertainty


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
    u(k)/k = R1/(R1+R2) * sqrt(ur1^2 + ur2^2) for k = (R1+R2)/R2. With a resistor to the reference k = 1 + R1/R2 + R1/R3 and the offset
    is -Vref R1/R3, its load's share of the lift included.

    Args:
        r_top_ohm: R1, from the clip to the divider's node, ohms.
        r_bottom_ohm: R2, from the node to ground, ohms.
        tolerance_rel: Limit of each resistor's error, relative: 0.01 is 1 %. 0 to 0.2.
        reference_v: The converter's reference, volts.
        reference_tolerance_rel: Limit of its error, relative, 0 to 0.2.
        filter_f: The capacitor across R2, farads; 0 where there is none.
        noise_code: The converter's noise in codes rms, where that is known better than by its row in converters.CONVERTERS.
        input_ohm: Least input resistance of the converter, ohms. It pulls a reading down by 0 to Rth / (Rth + Rin), the same in all
            inputs alike, so half of it is taken out and the rest is a shared rectangular uncertainty. Rth is what the pin sees.
        r_lift_ohm: R3, from the converter's input to the reference, ohms: it lifts the input, so that voltages below ground read.
        converter: A key of converters.CONVERTERS. Its offset is common to all leads.
        clamp: A key of clamps.CLAMPS, or "none". 1N4148, the notes' strip board, unless named; BAV199 leaks less.
        r_series_ohm: From the node to the pin, in line with the divider, ohms, 0 up to 1e6.

    Returns:
        Volts per code and at code 0, with the standard uncertainties.

    Raises:
        CalibrationError: A value is out of range, or there is no such converter or clamp.
        ValueError: The uncertainty that follows is 1000 or more, so the values are no divider's.
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
    for name, value in (("filter_f", filter_f), ("noise_code", noise_code or 0.0)):
        if not (math.isfinite(value) and value >= 0):
            raise CalibrationError(f"{name} is {value}, must be 0 or more")
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
