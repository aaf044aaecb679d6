"""What the host knows of each role beside its name: how it is shown, how it reads at rest, what lacks without it.

Lines differ in grey print by dash pattern and lightness; colours are Okabe and Ito's palette, apart in every common colour
blindness, dark to light by order of lightness.
"""

from __future__ import annotations

from dataclasses import dataclass

from firstcrank.roles import ROLES


@dataclass(frozen=True, slots=True)
class RoleProperties:
    """One role.

    label: in sentences. legend: in a plot. colour, dark: its line on paper, and on a dark screen.
    dashes: on, off, ... in line widths, empty for a solid line. ground: rests at zero and
    may read a constant. below_zero: can read below battery negative, so its input needs an offset. without: what cannot be said
    where the lead is absent, listed under every verdict; empty where another line says it.
    """

    label: str
    legend: str
    colour: str
    dark: str
    dashes: tuple[float, ...] = ()
    ground: bool = False
    below_zero: bool = False
    without: str = ""


PROPERTIES: dict[str, RoleProperties] = {
    "battery": RoleProperties("battery", "battery", "#000000", "#f2f2f2"),
    "key_switch": RoleProperties("key feed", "key feed", "#0072B2", "#56b4e9", (6, 1)),
    "starter_coil": RoleProperties(
        "starter coil",
        "starter coil",
        "#D55E00",
        "#ff9a4d",
        (1, 1.65),
        below_zero=True,
        without="starter solenoid voltage (no starter coil lead)",
    ),
    "feed_source": RoleProperties("feed source", "feed source", "#555555", "#b0b0b0", (1, 1)),
    "heater_coil": RoleProperties(
        "heater coil",
        "heater +",
        "#CC79A7",
        "#e6a2c8",
        (6.4, 1.6, 1, 1.6),
        below_zero=True,
        without="intake heater (no heater leads)",
    ),
    "heater_return": RoleProperties("heater return", "heater -", "#CC79A7", "#e6a2c8", (1, 2), ground=True, below_zero=True),
    "module_supply": RoleProperties(
        "module supply",
        "module supply",
        "#009E73",
        "#2fd0a0",
        (8, 2, 1, 2),
        without="module power feed (no module supply lead)",
    ),
    "module_ground": RoleProperties(
        "module ground",
        "module ground",
        "#56B4E9",
        "#9ad6f5",
        (3, 3),
        ground=True,
        below_zero=True,
        without="module ground (no module ground lead)",
    ),
    "engine_ground": RoleProperties(
        "engine ground",
        "engine ground",
        "#E69F00",
        "#f0b93c",
        (2, 4),
        ground=True,
        below_zero=True,
        without="engine ground and starter return (no engine ground lead)",
    ),
}
if set(PROPERTIES) != set(ROLES):
    raise ValueError(f"role_properties.py and roles.py differ: {', '.join(sorted(set(PROPERTIES) ^ set(ROLES)))}")

GROUND_ROLES = tuple(role for role in ROLES if PROPERTIES[role].ground)
BELOW_ZERO_ROLES = tuple(role for role in ROLES if PROPERTIES[role].below_zero)


def role_label(role: str) -> str:
    """A role as the user reads it in a sentence."""
    return PROPERTIES[role].label if role in PROPERTIES else role.replace("_", " ")
