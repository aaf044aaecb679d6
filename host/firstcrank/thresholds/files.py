"""Reading files, and what of a change is shown."""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.thresholds.number import number


@dataclass(frozen=True, slots=True)
class FileThresholds:
    """Reading files, and what of a change is shown."""

    csv_relative: float = number(0.005, "", "of the reading: assumed of a logger that gives no uncertainty")
    csv_offset_v: float = number(0.02, "V", "and this (24 V alike)", scales=False)
    slow_s: float = number(0.5, "s", "readings further apart: the time is likely in another unit")
    long_s: float = number(900.0, "s", "no first start lasts this long: the time is likely in another unit")
    longest_csv_s: float = number(21600.0, "s", "a longer file is refused")
    longest_s: float = number(21600.0, "s", "no recording of a start is longer: an index or clock beyond it is damaged")
    clock_rel: float = number(0.005, "", "more than any crystal is off")
    clock_s: float = number(0.005, "s", "how late a board may read its clock")
    changed_v: float = number(0.02, "V", "a smaller change of a voltage is none that a person would act on", scales=False)
    profile_margin_v: float = number(
        0.2,
        "V",
        "below a starting profile: the uncertainty of a board by resistor values, else the profile itself were undecided",
        scales=False,
    )


FILES = FileThresholds()  # at 12 V
