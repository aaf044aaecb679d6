"""Limits by the starting profile that a module's maker names: ISO 16750-2, 4.5.3 (2003) and 4.6.3 (2006).

A module that is proven by a profile rides through exactly that dip: from its level down to `dip_v` within `fall_s`, `hold_s`
there, `ramp_s` up to `centre_v`, then a ripple of 2 V peak to peak at 2 Hz about it, so never below `ripple_low_v` again.
The limits are read off it: the module runs down to the ripple's lowest, rides through a dip to `dip_v`, and for as long as the
profile itself spends below the ripple's lowest.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from firstcrank.errors import UsageError
from firstcrank.limits import shipped_text
from firstcrank.thresholds.files import FILES

VOLTS_FROM_MEMORY = "its voltages are from memory and were not found in a source: check the standard"


@dataclass(frozen=True, slots=True)
class StartProfile:
    """One severity level: volts and seconds as above; `source` and `status` say where they come from."""

    level: str
    system_v: int
    from_v: float
    dip_v: float
    ripple_low_v: float
    fall_s: float
    hold_s: float
    ramp_s: float
    source: str
    status: str

    @property
    def centre_v(self) -> float:
        """Centre of the ripple: 1 V above its lowest."""
        return self.ripple_low_v + 1.0

    def below_s(self, volts: float) -> float:
        """Time that the profile spends below a voltage between its dip and its ripple, seconds."""
        fall = (volts - self.dip_v) / (self.from_v - self.dip_v)
        ramp = (volts - self.dip_v) / (self.centre_v - self.dip_v)
        return fall * self.fall_s + self.hold_s + ramp * self.ramp_s


_2003 = "ISO 16750-2:2003 4.5.3"
PROFILES: tuple[StartProfile, ...] = (
    StartProfile(
        "I",
        12,
        12.0,
        8.0,
        9.5,
        0.005,
        0.015,
        0.050,
        _2003,
        "8 V, times and ripple centre from a waveform file that names edition and clause, address not kept; "
        "9.5 V from memory, consistent with the centre",
    ),
    StartProfile("II", 12, 12.0, 4.5, 6.5, 0.005, 0.015, 0.050, _2003, VOLTS_FROM_MEMORY),
    StartProfile("III", 12, 12.0, 3.0, 5.0, 0.005, 0.015, 0.050, _2003, VOLTS_FROM_MEMORY),
    StartProfile("IV", 12, 12.0, 6.0, 6.5, 0.005, 0.015, 0.050, _2003, VOLTS_FROM_MEMORY),
    StartProfile(
        "III",
        24,
        24.0,
        6.0,
        10.0,
        0.010,
        0.050,
        0.050,
        "ISO 16750-2:2006 4.6.3",
        "6 V, times and ripple centre from a waveform file that names edition and clause, address not kept; "
        "10 V from memory, consistent with the centre",
    ),
)


def profile_of(level: str, system_v: int) -> StartProfile:
    """The profile of that level. Raises UsageError where there is none for the system."""
    for profile in PROFILES:
        if (profile.level, profile.system_v) == (level, system_v):
            return profile
    known = ", ".join(p.level for p in PROFILES if p.system_v == system_v)
    raise UsageError(
        f"no values for starting profile {level} at {system_v} V (there are: {known}): write the maker's own figures"
    )


def preset(profile: StartProfile) -> dict[str, tuple[float, str]]:
    """Limit -> (value, its source with status)."""
    name = f"{profile.source} {profile.system_v} V starting profile level {profile.level}"
    less = f"less {FILES.profile_margin_v:g} V for the uncertainty of a board that is not calibrated"
    end = f"{profile.status}. The module's maker must name this profile"
    below_s = profile.below_s(profile.ripple_low_v)
    return {
        "module_minimum_v": (
            round(profile.ripple_low_v - FILES.profile_margin_v, 3),
            f"{name}: lowest of its ripple, {profile.ripple_low_v:g} V, {less}; {end}",
        ),
        "supply_dip_lowest_v": (
            round(profile.dip_v - FILES.profile_margin_v, 3),
            f"{name}: lowest voltage, {profile.dip_v:g} V, {less}; {end}",
        ),
        "supply_dip_max_s": (
            round(below_s, 5),
            f"{name}: computed, time it spends below {profile.ripple_low_v:g} V, its ramp ending at the ripple's centre; {end}",
        ),
    }


def preset_text(level: str, system_v: int) -> str:
    """The shipped limits file with these three limits by the profile. Raises UsageError."""
    text = shipped_text(system_v)
    for key, (value, source) in preset(profile_of(level, system_v)).items():
        text, count = re.subn(
            rf'^\[{key}\]\nvalue = .*\nsource = ".*"$', f'[{key}]\nvalue = {value}\nsource = "{source}"', text, flags=re.M
        )
        if count != 1:
            raise UsageError(f"the shipped limits have no {key} to set")
    return text
