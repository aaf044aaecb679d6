"""The two builds' values, and the tables of the notes computed from them. Run to print the tables; a test compares.

python -m hardware_notes.builds
"""

from __future__ import annotations

from firstcrank.divider.budget import worst_ratio
from firstcrank.divider.network import Network

TOLERANCE = 0.01
REFERENCE_REL = 0.01

THREE = ("battery", "key_switch", "starter_coil")
SIX = (*THREE, "heater_coil", "heater_return", "module_supply")
GROUNDS = ("module_ground", "engine_ground")
BUILDS: dict[str, dict[str, Network]] = {
    "minimal 12 V": dict.fromkeys(THREE, Network(33e3, 6.8e3, 10e-9, 1e3)),
    "minimal 24 V": dict.fromkeys(THREE, Network(100e3, 10e3, 10e-9, 1e3)),
    "better 12 V": {
        **dict.fromkeys(SIX, Network(33e3, 6.8e3, 10e-9, 1e3)),
        **dict.fromkeys(GROUNDS, Network(15e3, 62e3, 10e-9, 1e3, 22e3)),
    },
}
SHOWN_V = {
    "minimal 12 V": (0.0, 6.0, 12.0, 15.0, 24.0),
    "minimal 24 V": (0.0, 12.0, 24.0, 28.0, 36.0),
    "better 12 V": (0.0, 6.0, 12.0, 15.0, 24.0),
}
GROUND_V = (-2.0, 0.0, 1.0, 2.0, 24.0)


def node_range_v(network: Network, clip_v: float) -> tuple[float, float, float]:
    """Node volts: lowest, nominal, highest, with the resistors at opposite ends of 1 %; clamp at the reference + 0.3 V."""
    nominal = network.node_v(clip_v)
    low_rel, high_rel = worst_ratio(network, TOLERANCE)
    ends = (
        sorted((nominal / high_rel, nominal / low_rel)) if not network.r_up_ohm else sorted((nominal * 0.985, nominal * 1.015))
    )
    top = network.reference_v + 0.3
    return min(ends[0], top), min(max(nominal, -0.3), top), min(ends[1], top)


def rows(build: str, role: str) -> list[str]:
    """One row a voltage: at the clip, at the pin (lowest, nominal, highest), code."""
    network = BUILDS[build][role]
    shown = GROUND_V if network.r_up_ohm else SHOWN_V[build]
    lines = []
    for clip_v in shown:
        low, nominal, high = node_range_v(network, clip_v)
        lines.append(f"| {clip_v:g} V | {nominal:.2f} V | {low:.2f} to {high:.2f} V | {network.code(clip_v)} |")
    return lines


def table(build: str, role: str) -> str:
    """The whole table in Markdown."""
    return "\n".join(["| at the clip | at the pin | with 1 % resistors | code |", "|---|---|---|---|", *rows(build, role)])


if __name__ == "__main__":
    for name, networks in BUILDS.items():
        for lead in dict.fromkeys(networks.values()):
            which = [role for role, network in networks.items() if network == lead]
            print(f"\n{name}: {', '.join(which)}\n\n{table(name, which[0])}")
