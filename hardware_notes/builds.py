"""The builds' values: networks, leads, supplies. Everything else in this folder is computed, drawn or written from them.

Upper resistor: four equal parts in the clip's boot and one on the board. The four keep every part below its rated voltage at a coil's
worst kick; the one on the board stays in the way when a lead's bare wire touches the battery or a boot is crushed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from firstcrank.clamps import BAV199, CLAMPS, SILICON_PAIR, Clamp
from firstcrank.divider.budget import Parts
from firstcrank.divider.converters import MCP3208, RP2040, RP2350
from firstcrank.divider.network import Network
from firstcrank.divider.stress import Ratings

REVISION = "B"
TOLERANCE = 0.01
REFERENCE_REL = 0.01
RATINGS = Ratings(power_w=0.6, working_v=350.0, tolerance=TOLERANCE)
R_BLEED_OHM = 470.0  # across 3V3: live inputs must not half-power a board that is off
FUSE_A, FUSE_BREAKING_A = 2.0, 1000.0  # blade fuse after ISO 8820-3: 1 kA (common practice, no source at hand)
LEAD_MM2, LEAD_M = 0.5, 1.5
RAIL_LOAD_OHM = 10e3  # what a board that is off takes from its 3V3 rail (our assumption, checked for in no data sheet)

THREE = ("battery", "key_switch", "starter_coil")
SIX = (*THREE, "heater_coil", "heater_return", "module_supply")
GROUNDS = ("module_ground", "engine_ground")


def network(boot_ohm: float, board_ohm: float, bottom_ohm: float, up_ohm: float = 0.0, clamp: Clamp = BAV199) -> Network:
    """One input: four parts in the boot, one on the board, 10 nF, 4.7 kΩ to the pin."""
    parts = (boot_ohm,) * 4 + (board_ohm,)
    return Network(sum(parts), bottom_ohm, 10e-9, 4.7e3, up_ohm, 3.3, clamp, parts)


INPUT_12V = network(7.5e3, 3e3, 6.8e3)
INPUT_24V = network(22e3, 12e3, 10e3)
INPUT_GROUND = network(3e3, 3e3, 62e3, 22e3)
BUILDS: dict[str, dict[str, Network]] = {
    "minimal 12 V": dict.fromkeys(THREE, INPUT_12V),
    "minimal 24 V": dict.fromkeys(THREE, INPUT_24V),
    "better 12 V": {**dict.fromkeys(SIX, INPUT_12V), **dict.fromkeys(GROUNDS, INPUT_GROUND)},
}
SYSTEM_V = {"minimal 12 V": 12, "minimal 24 V": 24, "better 12 V": 12}
PARTS = {
    "minimal 12 V": Parts(TOLERANCE, REFERENCE_REL, converter=RP2040),
    "minimal 24 V": Parts(TOLERANCE, REFERENCE_REL, converter=RP2040, other_lead_v=28.8),
    "better 12 V": Parts(TOLERANCE, REFERENCE_REL, converter=MCP3208),
}


@dataclass(frozen=True, slots=True)
class ErrorTable:
    """One table of what a reading can be off by: which input of which build, and through which converter."""

    title: str
    build: str
    role: str
    parts: Parts


ERROR_TABLES = (
    ErrorTable("Minimal build, 12 V values, RP2040", "minimal 12 V", "battery", PARTS["minimal 12 V"]),
    ErrorTable(
        "Minimal build, 12 V values, RP2350", "minimal 12 V", "battery", replace(PARTS["minimal 12 V"], converter=RP2350)
    ),
    ErrorTable("Minimal build, 24 V values, RP2040", "minimal 24 V", "battery", PARTS["minimal 24 V"]),
    ErrorTable(
        "Minimal build, 24 V values, RP2350", "minimal 24 V", "battery", replace(PARTS["minimal 24 V"], converter=RP2350)
    ),
    ErrorTable("Better build, leads 1 to 6, MCP3208", "better 12 V", "battery", PARTS["better 12 V"]),
    ErrorTable("Better build, ground inputs, MCP3208", "better 12 V", "module_ground", PARTS["better 12 V"]),
)
SHOWN_V = {
    "minimal 12 V": (0.0, 6.0, 9.0, 12.0, 15.0, 26.0),
    "minimal 24 V": (0.0, 9.0, 12.0, 24.0, 28.0, 36.0),
    "better 12 V": (0.0, 6.0, 9.0, 12.0, 15.0, 26.0),
}
GROUND_V = (-2.0, 0.0, 1.0, 2.0, 26.0)
ERROR_C = (20.0, 60.0)
CLAMPS_COMPARED = tuple(CLAMPS.values())


@dataclass(frozen=True, slots=True)
class Pin:
    """A board pin that an input ends at."""

    name: str
    number: str


PICO_PINS = {"battery": Pin("GP26", "31"), "key_switch": Pin("GP27", "32"), "starter_coil": Pin("GP28", "34")}
CONVERTER_PINS = {role: Pin(f"CH{i}", str(i + 1)) for i, role in enumerate((*SIX, *GROUNDS))}
LEAD_MARKINGS = {
    "battery": "red, 1 ring",
    "key_switch": "yellow, 2 rings",
    "starter_coil": "white, 3 rings",
    "heater_coil": "blue, 4 rings",
    "heater_return": "green, 5 rings",
    "module_supply": "orange, 6 rings",
    "module_ground": "brown, 7 rings",
    "engine_ground": "grey, 8 rings",
}


def behind_boot(build: str, role: str) -> Network:
    """The input as a live stud sees it that touches a lead's bare wire behind the boot: the board's own part alone."""
    n = BUILDS[build][role]
    board_ohm = n.parts_ohm[4]
    return replace(n, r_top_ohm=board_ohm, top_parts_ohm=(board_ohm,))


def error_v(build: str, role: str) -> tuple[float, ...]:
    """The voltages of the error tables: 0, 3, 7, 12, 14 V, twice that at 24 V, what a ground input can reach."""
    if BUILDS[build][role].r_up_ohm:
        return (-2.0, 0.0, 0.5, 1.0, 3.0)
    scale = SYSTEM_V[build] // 12
    return tuple(v * scale for v in (0.0, 3.0, 7.0, 12.0, 14.0))


def with_pair(build: str) -> dict[str, Network]:
    """The same build with two 1N4148 for each clamp, as on the strip board."""
    return {role: replace(n, clamp=SILICON_PAIR) for role, n in BUILDS[build].items()}
