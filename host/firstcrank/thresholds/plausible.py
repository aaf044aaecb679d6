"""Readings of a logger that no lead can have carried."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import count, number


@dataclass(frozen=True, slots=True)
class PlausibleThresholds:
    """Readings of a logger that no lead can have carried."""

    least_rows: int = count(200, "a shorter file is not examined")
    live_v: float = number(1.0, "V", "a lead below this carries nothing and may read a constant")
    coarse_v: float = number(0.06, "V", "steps coarser than this hide a drop: 8 bits over 15 V")
    still_s: float = number(0.1, "s", "a lead that stands still for at least this long ...")
    still_rows: int = count(20, "... and so many rows ...")
    moved_v: float = number(0.5, "V", "... while its source moves by this ...")
    moved_steps: int = count(10, "... and by so many of the lead's own steps, froze")
    top_rows: int = count(3, "readings of one value at the top of a lead ...")
    top_steps: int = count(4, "... entered and left by so many steps ...")
    tops: int = count(5, "... so often: a ceiling ...")
    tops_within_s: float = number(1.5, "s", "... within this: compressions come at 3 to 15 Hz, a cycling heater needs longer")
    flat_s: float = number(0.2, "s", "flat at the top at rest before the crank and right after it: a ceiling")
    silent_v: float = number(1e-5, "V", "noise by fourth differences: 16 bits over 10 V quantise to 40 uV rms", scales=False)
    least_changes: int = count(60, "of a lead, that show how often it was read")
    phase_changes: int = count(400, "of which the phase of a fractional period is taken")
    copied_changes: int = count(200, "with the battery's very readings: a copy")
    copied_before: float = number(0.6, "", "of the readings elsewhere that are alike on coarse loggers")
    on_post_v: float = number(0.15, "V", "a drop of this that vanishes: the lead was put on the post ...")
    on_post_s: float = number(0.5, "s", "... and stays gone for this long")
    bunched_share: float = number(0.2, "", "of the rows that follow at once: stamps of arrival, not of reading")
    window_rows: int = count(50, "rows in which noise is measured")
    least_sigma: float = number(0.5, "", "steps of noise that prove a standstill")
    coarsest_v: float = number(0.005, "V", "14 bits over 50 V are 3 mV; a converter's own noise is no less")
    least_windows: int = count(10, "windows that show how noisy a lead is")
    quietest: float = number(0.05, "", "quantile of the windows that is a lead at its quietest")
    unlikely: float = number(1e-11, "", "probability of a standstill by chance")
    most_lines: float = number(0.3, "", "of the windows of a lead of which a part was filled in")
    alone_windows: int = count(4, "in which one lead stands still while the other is noisy")
    alone_elsewhere: float = number(0.02, "", "of noisy windows elsewhere in which it stands still too")


PLAUSIBLE = PlausibleThresholds()  # at 12 V
