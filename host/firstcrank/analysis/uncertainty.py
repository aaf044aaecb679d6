"""Standard uncertainty of what the judge compares: one lead's voltage, and the difference of two leads.

JCGM 100:2008 5.1 (uncorrelated) and 5.2 (correlated): the converter's reference is shared by all leads, so its share of
the uncertainty scales with the difference and not with the voltages.
"""

from __future__ import annotations

import math

from firstcrank.trace import Uncertainty


def of_voltage(volts: float, channel: Uncertainty, conversions: float = 1.0) -> float:
    """Standard uncertainty in volts of a mean over `conversions` conversions of one lead."""
    return math.sqrt(
        (channel.gain_rel * volts) ** 2
        + (channel.shared_gain_rel * volts) ** 2
        + channel.offset_v**2
        + channel.noise_v**2 / max(conversions, 1.0)
    )


def of_difference(
    a_v: float, a: Uncertainty, b_v: float, b: Uncertainty, conversions: float = 1.0, same_lead: bool = False
) -> float:
    """Standard uncertainty in volts of `a_v - b_v`, means over `conversions` conversions of two leads.

    The shared reference enters as (a_v - b_v) times the larger of the two shares. `same_lead` is for one lead compared
    with itself at another time: gain and offset cancel as well.
    """
    shared = max(a.shared_gain_rel, b.shared_gain_rel) * (a_v - b_v)
    noise = (a.noise_v**2 + b.noise_v**2) / max(conversions, 1.0)
    if same_lead:
        return math.sqrt((a.gain_rel * (a_v - b_v)) ** 2 + shared**2 + noise)
    own = (a.gain_rel * a_v) ** 2 + (b.gain_rel * b_v) ** 2 + a.offset_v**2 + b.offset_v**2
    return math.sqrt(own + shared**2 + noise)
