"""The checks beside the feed."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import count, number


@dataclass(frozen=True, slots=True)
class VehicleThresholds:
    """Checks beside the feed."""

    crank_settle_s: float = number(0.2, "s", "means while cranking leave the inrush out")
    crank_leave_s: float = number(0.05, "s", "and the end")
    recovery_from_s: float = number(1.5, "s", "battery recovery from here")
    recovery_to_s: float = number(2.0, "s", "to here after the release")
    recovery_low_v: float = number(0.4, "V", "below the rest limit by this it recovers badly")
    charging_watch_s: float = number(
        60.0, "s", "no charge is said only after this much running (an intake heater cycles that long)"
    )
    charging_late_s: float = number(2.0, "s", "charging is the mean over the last of it")
    heater_live_v: float = number(2.5, "V", "the heater's coil counts as energised")
    heater_open_s: float = number(0.25, "s", "shorter openings are chatter, longer ones the module's own switching")
    heater_least_s: float = number(0.05, "s", "shorter pulses are no command")
    control_first_s: float = number(0.06, "s", "first reading of the starter's control circuit ends here")
    off_quiet_s: float = number(0.3, "s", "watched this long after the module's power-down")
    plug_least_v: float = number(0.1, "V", "a plug that reads less carries no known load", scales=False)
    quiet_share: int = count(50, "a part in so many of the bins, where the known load pulls the plug down furthest")
    coil_reads_v: float = number(1.0, "V", "the starter lead reads something", scales=False)
    control_from_s: float = number(0.004, "s", "first reading of the starter's control circuit begins here")
    control_later_s: float = number(0.1, "s", "or here, where there are too few readings")
    rest_clear_s: float = number(0.01, "s", "of the rest before key on left out: its edge")
    window_most: float = number(0.9, "", "of what was watched: a steady drop's window is no longer")
    loop_conversions: int = count(64, "conversions of a mean that the loop's uncertainty counts on")
    heater_settle_bins: int = count(3, "bins beside a switching of the heater that are left out")


VEHICLE = VehicleThresholds()  # at 12 V
