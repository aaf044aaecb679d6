"""Standard uncertainty of what the judge compares: one lead's voltage, and the difference of two leads.

JCGM 100:2008 5.1 (uncorrelated) and 5.2 (correlated): what all leads share (the converter's reference and offset, the meter they
were calibrated with) is the same function of the voltage for each, so only its change from one voltage to the other is left in a
difference. The rest is each lead's own: its resistors, clamp, steps of the converter where it reads.
"""

from __future__ import annotations

import math

from firstcrank.thresholds.edges import EDGES
from firstcrank.trace import Uncertainty


def of_voltage(volts: float, channel: Uncertainty, conversions: float = 1.0) -> float:
    """Standard uncertainty in volts of a mean over `conversions` conversions of one lead."""
    return math.sqrt(_own(volts, channel) + sum(s**2 for s in _shared(volts, channel)) + _noise(channel, conversions))


def of_difference(
    a_v: float, a: Uncertainty, b_v: float, b: Uncertainty, conversions: float = 1.0, same_lead: bool = False
) -> float:
    """Standard uncertainty in volts of `a_v - b_v`, means over `conversions` conversions of two leads.

    What is shared of reading enters as (a_v - b_v) times the larger of the two shares; other shared parts as the difference of
    the two leads' (nothing where they were calibrated by the same points). `same_lead` is for one lead compared with itself
    at another time: gain, offset and leakage cancel as well.
    """
    apart_v = a_v - b_v
    noise = _noise(a, conversions) + _noise(b, conversions)
    of_reading = (max(a.shared_gain_rel, b.shared_gain_rel) * apart_v) ** 2
    of_reading += (max(a.shared_drift_rel, b.shared_drift_rel) * apart_v) ** 2
    if same_lead:
        own = ((a.gain_rel**2 + a.drift_rel**2 + a.shared_slope_rel**2) * apart_v**2) + 2.0 * a.steps_v**2 + a.settling_v**2
        return math.sqrt(own + of_reading + noise)
    common = _calibrated_apart(a_v, a, b_v, b)
    return math.sqrt(_own(a_v, a) + _own(b_v, b) + common + of_reading + noise)


def _own(volts: float, u: Uncertainty) -> float:
    """Variance of one lead's own parts at `volts`."""
    of_line = (u.gain_rel * (volts - u.pivot_v)) ** 2 + u.offset_v**2
    return of_line + (u.drift_rel * volts) ** 2 + u.steps_v**2 + u.leakage_v**2 + u.settling_v**2


def _shared(volts: float, u: Uncertainty) -> tuple[float, float, float, float]:
    """The parts that all leads share, with their signs: of reading, reference's drift, offset, slope about the pivot."""
    slope_v = u.shared_slope_rel * (volts - u.shared_pivot_v)
    return u.shared_gain_rel * volts, u.shared_drift_rel * volts, u.shared_offset_v, slope_v


def _calibrated_apart(a_v: float, a: Uncertainty, b_v: float, b: Uncertainty) -> float:
    """Variance that is left of the shared offset and slope; all of both where the leads were calibrated by other points."""
    a_offset_v, a_slope_v = _shared(a_v, a)[2:]
    b_offset_v, b_slope_v = _shared(b_v, b)[2:]
    if abs(a.shared_pivot_v - b.shared_pivot_v) <= EDGES.same_points_v:
        return (a_offset_v - b_offset_v) ** 2 + (a_slope_v - b_slope_v) ** 2
    return a_offset_v**2 + a_slope_v**2 + b_offset_v**2 + b_slope_v**2


def _noise(u: Uncertainty, conversions: float) -> float:
    return u.noise_v**2 / max(conversions, 1.0)
