"""Calibrating a board's inputs: which points are refused."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import count, number


@dataclass(frozen=True, slots=True)
class CalibrationThresholds:
    """Calibrating a board's inputs: which points are refused."""

    spike_keep_off: int = count(
        12, "codes; a point nearer to a wide code is refused: its width and noise blur the correction there"
    )
    least_apart_v: float = number(
        3.0, "V", "between the lowest and highest known voltage, on an input of 19 V; others in proportion", scales=False
    )
    least_apart_share: float = number(0.155, "", "the same as a share of the range")
    noisy_code: float = number(6.0, "", "codes rms; the converter's own noise is 0.5 to 1.4")
    top_code: int = count(4080, "a point above this code stands at the top of the range")
    gain_apart_rel: float = number(
        0.06, "", "a gain this far from the nominal divider's is another divider, or not what the meter shows"
    )
    gain_apart_u: float = number(
        2.5, "", "or so many of its standard uncertainties, where the converter may load the divider more"
    )
    zero_apart_code: float = number(
        25.0, "", "0 V further from code 0: not shorted, or no straight line. Five published boards: 11 to 19"
    )
    zero_share: float = number(0.05, "", "of a lifted input's code at 0 V: how far it may be from the computed one")
    known_v: float = number(1.0, "V", "above this a point is a known voltage and not the shorted one", scales=False)
    clipped_code: float = number(1.0, "", "a mean below: at 0 V the input may be anywhere below code 0, its pin cannot show it")
    refused_u: float = number(3.0, "", "a residual of so many standard uncertainties contradicts the line")
    reading_s: float = number(0.4, "s", "one reading of all inputs takes this long")
    low_top_v: float = number(9.0, "V", "an input that reaches less is calibrated with less", scales=False)
    again_v: float = number(0.5, "V", "so near, it is the same voltage read once more", scales=False)
    tries: int = count(3, "of one thing that can be put right, then it ends")
    compared_share: float = number(
        0.65, "", "of an input's range at which calibrations are compared: 12 V of 19 V, where the battery stands"
    )
    old_days: int = count(366, "days: an older calibration is named as old")
    reading_rel_most: float = number(0.05, "", "of a reading that a meter may be off: more is a slip of the pen")
    meter_offset_most_v: float = number(0.5, "V", "and of its offset", scales=False)
    beside_codes: int = count(20, "codes beside 0 V and its share: shorted")
    opened_codes: int = count(40, "codes above it: no longer shorted")
    same_line_codes: int = count(100, "codes by which another input moves with this one: on the same wire")
    typed_most_v: float = number(60.0, "V", "a higher voltage was mistyped, or is no vehicle's", scales=False)
    least_noise_code: float = number(0.3, "", "codes rms that a converter has at least")


CALIBRATION = CalibrationThresholds()  # at 12 V
