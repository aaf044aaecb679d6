"""What a vehicle throws at an input.

Amplitudes: ISO 7637-2:2011 and ISO 16750-2 at their worst levels; sources beside each (public texts that quote the standards; the
standards themselves were not at hand).
"""

from __future__ import annotations

from dataclasses import dataclass

STEADY_S = 60.0
ESD_V, ESD_F, ESD_OHM = 8000.0, 150e-12, 330.0  # IEC 61000-4-2 contact discharge, level 4 (from memory)


@dataclass(frozen=True, slots=True)
class Pulse:
    """A voltage at the clip for a time, from a source with `source_ohm`. Rectangular, which is worse than the real shape."""

    name: str
    volts: float
    source_ohm: float
    duration_s: float
    source: str


ARC = "10 A in 4 mH broken by a contact that arcs at this voltage; 0.2 J would feed it for less (computed)"
COILS = (
    Pulse("coil's kick, 300 V", -300.0, 0.0, 1e-3, ARC),
    Pulse("coil's kick, 600 V", -600.0, 0.0, 1e-3, ARC),
    Pulse("coil's kick, 1000 V", -1000.0, 0.0, 1e-3, ARC),
    Pulse("coil's kick, 1500 V", -1500.0, 0.0, 1e-3, "1000 to 1500 V: a relay maker's application note"),
)
PULSES_12V = (
    Pulse("reverse battery", -14.0, 0.0, STEADY_S, "VW 80000:2013 E-15 (public text)"),
    Pulse("jump start", 26.0, 0.0, STEADY_S, "VW 80000:2013 E-04 (public text); ISO 16750-2 has 24 V (from memory)"),
    Pulse("load dump, suppressed", 35.0, 0.5, 0.4, "ISO 16750-2 test B (public article)"),
    Pulse("load dump, not suppressed", 101.0, 0.5, 0.4, "ISO 16750-2 test A upper value (from memory; 79 V found)"),
    Pulse("ISO 7637-2 pulse 1", -150.0, 10.0, 2e-3, "2011 level IV (public article)"),
    Pulse("ISO 7637-2 pulse 2a", 112.0, 2.0, 50e-6, "2011 level IV (public text)"),
    Pulse("ISO 7637-2 pulse 2b", 10.0, 0.05, 2.0, "from memory"),
    Pulse("ISO 7637-2 pulse 3a", -220.0, 50.0, 0.1e-6, "2011 level IV (from memory)"),
    Pulse("ISO 7637-2 pulse 3b", 150.0, 50.0, 0.1e-6, "2011 level IV (from memory)"),
    *COILS,
)
PULSES_24V = (
    Pulse("reverse battery", -28.0, 0.0, STEADY_S, "ISO 16750-2 (from memory)"),
    Pulse("jump start", 36.0, 0.0, STEADY_S, "ISO 16750-2 (from memory)"),
    Pulse("load dump, suppressed", 58.0, 1.0, 0.35, "ISO 16750-2 test B (public text)"),
    Pulse(
        "load dump, not suppressed", 202.0, 1.0, 0.35, "ISO 16750-2 test A upper value (from memory; 151 V found as the lower)"
    ),
    Pulse("ISO 7637-2 pulse 1", -600.0, 50.0, 1e-3, "2011 level IV (public text)"),
    Pulse("ISO 7637-2 pulse 2a", 112.0, 2.0, 50e-6, "2011 level IV (from memory; the 12 V value found)"),
    Pulse("ISO 7637-2 pulse 2b", 20.0, 0.05, 2.0, "from memory"),
    Pulse("ISO 7637-2 pulse 3a", -300.0, 50.0, 0.1e-6, "2011 level IV (from memory)"),
    Pulse("ISO 7637-2 pulse 3b", 300.0, 50.0, 0.1e-6, "2011 level IV (from memory; level III 220 V found)"),
    *COILS,
)


def pulses(system_v: int) -> tuple[Pulse, ...]:
    """The pulses of a 12 or 24 V system."""
    return PULSES_12V if system_v == 12 else PULSES_24V
