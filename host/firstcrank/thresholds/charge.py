"""Signs of a charger or jump pack."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import count, number


@dataclass(frozen=True, slots=True)
class ChargeThresholds:
    """Signs of a charger or jump pack."""

    charged_share: float = number(0.03, "", "of the watch in which the battery was charged")
    discharging_v: float = number(0.3, "V", "less than this above its rest after a minute of running: nothing charges it")
    least_bins: int = count(400, "at rest, that show a mains ripple")
    coarsest_s: float = number(0.002, "s", "samples further apart do not show it")
    least_ripple_v: float = number(0.02, "V", "rms, at rest")
    slow_hz: float = number(5.0, "Hz", "below it the battery only drifts")
    mains_50_hz: float = number(100.0, "Hz", "a rectifier charger's ripple: twice the mains frequency")
    mains_60_hz: float = number(120.0, "Hz", "the same where the mains have 60 Hz")
    rest_clear_s: float = number(0.02, "s", "of the rest before key on left out: its edge")
    end_clear_s: float = number(0.1, "s", "of the end of the watch left out")
    watch_slack_s: float = number(1.0, "s", "a watch may be shorter by this")
    mains_width_hz: float = number(2.0, "Hz", "beside the mains' ripple that count as it")


CHARGE = ChargeThresholds()  # at 12 V
