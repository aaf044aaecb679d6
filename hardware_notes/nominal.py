"""The program's nominal calibration files, from the builds' networks: all resistors, filter, clamp, and what the converter loads."""

from __future__ import annotations

from pathlib import Path

from firstcrank.clamps import CLAMPS, SILICON_PAIR
from firstcrank.converters import CONVERTERS
from firstcrank.divider.network import Network
from firstcrank.nominal_files import file_name
from hardware_notes import builds

DATA = Path(__file__).parent.parent / "host" / "firstcrank" / "data"
STRIP_CLAMP = next(
    name for name, clamp in CLAMPS.items() if clamp is SILICON_PAIR
)  # leaks more than the printed board's BAV199
HEADS = {
    12: "the builds for 12 V systems: the first three leads are the minimal build's, the others are on the better\n"
    "# build, whose ground inputs are lifted so that they read below zero",
    24: "the minimal build for 24 V systems",
}


def inputs(system_v: int) -> dict[str, Network]:
    """Role to network. 12 V: every role, the one without an input of its own read as a battery lead."""
    if system_v == 24:
        return builds.BUILDS["minimal 24 V"]
    return {**builds.BUILDS["better 12 V"], "feed_source": builds.INPUT_12V}


def _ohm(value: float) -> str:
    return f"{value / 1e3:g}e3"


def table(role: str, n: Network, behind: str) -> str:
    """One input's table."""
    of = CONVERTERS[behind]
    rows = [f"[channels.{role}]", f"r_top_ohm = {_ohm(n.r_top_ohm)}", f"r_bottom_ohm = {_ohm(n.r_bottom_ohm)}"]
    rows += [f"r_lift_ohm = {_ohm(n.r_up_ohm)}"] if n.r_up_ohm else []
    rows += [
        f"r_series_ohm = {_ohm(n.r_series_ohm)}",
        f"tolerance_rel = {builds.TOLERANCE:g}",
        f"filter_f = {n.c_filter_f * 1e9:g}e-9",
    ]
    rows += [f"input_ohm = {of.input_ohm if of.input_ohm == float('inf') else _ohm(of.input_ohm)}", f'clamp = "{STRIP_CLAMP}"']
    rows += (
        [f'converter = "{behind}"'] if behind != "rp2040" else []
    )  # that one is the default, and a board says if it has another
    return "\n".join(rows) + "\n"


def text(system_v: int, behind: str) -> str:
    """A whole file."""
    load = (
        "which does not load them" if CONVERTERS[behind].input_ohm == float("inf") else "which may load them (100 k at least)"
    )
    head = (
        f"# Nominal calibration of {HEADS[system_v]}.\n"
        f"# Resistors, tolerances, clamp (two 1N4148; a BAV199 leaks less), and the converter, {behind.upper()}, {load}.\n"
        "# Written by `make hardware`. Measure yours for a smaller uncertainty: firstcrank board calibrate\n"
        'kind = "nominal"\n'
    )
    return "\n".join([head, *(table(role, n, behind) for role, n in inputs(system_v).items())])


def files() -> dict[str, str]:
    """File name to text."""
    return {file_name(system_v, behind): text(system_v, behind) for system_v in (12, 24) for behind in CONVERTERS}
