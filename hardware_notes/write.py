"""Writes the notes' pages from their templates: every number on them is computed here.

python -m hardware_notes.write
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import jinja2
import numpy as np

from firstcrank import converters
from firstcrank.calibrating import points
from firstcrank.calibrating.fit import fit
from firstcrank.calibrating.points import Point
from firstcrank.calibrating.procedure import expanded_v
from firstcrank.calibration import read_calibration
from firstcrank.clamps import CLAMPS, SCHOTTKY_PAIR
from firstcrank.divider.budget import Meter, Parts, calibrated_budget, carried_v, node_ends_v
from firstcrank.divider.converters import CONVERTERS, E11_CODES, MCP3208
from firstcrank.divider.network import Network
from firstcrank.divider.pulses import pulses
from firstcrank.divider.stress import FILM_RISE_K, discharge, stress
from firstcrank.divider.transfer import nominal_volts
from firstcrank.divider.values import written
from firstcrank.error_terms import TERMS
from firstcrank.nominal_files import nominal_file
from firstcrank.thresholds.calibration import CALIBRATION
from firstcrank.units import format_duration
from firstcrank.wiring.gauge import metric_ohm_per_m
from hardware_notes import bill, bring_up, builds, solve, tables
from hardware_notes.circuit import circuit
from hardware_notes.faults import FAULTS
from hardware_notes.kicad_write import better_board
from hardware_notes.kicad_write.board import EDGE
from hardware_notes.pin_check import good_pin

HERE = Path(__file__).parent
M12, M24, GND = builds.INPUT_12V, builds.INPUT_24V, builds.INPUT_GROUND


def ohms(value: float) -> str:
    """7.5 kΩ."""
    return written(value, "Ω")


def volts(value: float, signed: bool = False) -> str:
    """2.43 V; with its sign where asked."""
    return f"{value:+.2f} V" if signed else f"{value:.4g} V"


def leak(pair: bool, celsius: float) -> str:
    """The clamp's leakage at the clip of a 12 V input."""
    n = (builds.with_pair("minimal 12 V") if pair else builds.BUILDS["minimal 12 V"])["battery"]
    lines = calibrated_budget(n, Parts(), 7.0, celsius, Meter(0.0, 0.0)).lines
    return f"{next(x.limit_v for x in lines if x.what.startswith('clamp')) * 1e3:.1f} mV"


def leak_schottky(celsius: float) -> str:
    """The same with a Schottky pair."""
    n = replace(M12, clamp=SCHOTTKY_PAIR)
    lines = calibrated_budget(n, Parts(), 7.0, celsius, Meter(0.0, 0.0)).lines
    return f"{next(x.limit_v for x in lines if x.what.startswith('clamp')) * 1e3:.0f} mV"


def clamp_leaks() -> str:
    """Each clamp's highest leakage at the hottest that the calibrations allow."""
    hot_c = TERMS["hottest"].limit
    return ", ".join(f"{c.leaks_a(hot_c) * 1e6:.2g} µA ({name.upper()})" for name, c in CLAMPS.items())


def gain_apart(build: str) -> str:
    """How far a gain may be off the nominal file's."""
    with nominal_file(builds.SYSTEM_V[build], "rp2040") as path:
        return f"{points.gain_apart_rel(read_calibration(path).channel('battery')) * 100:.1f} %"


def one_or_two_v(known: int) -> float:
    """Stated at 12 V by a meter of 0.1 % + 2 mV, one known voltage or two, a usual board."""
    with nominal_file(12, "rp2040") as path:
        nominal = read_calibration(path).channel("battery")
    at = [Point(v, {"battery": nominal.real_code(v) + 14.0}, {"battery": 0.6}) for v in (0.0, 12.9, 9.0)]
    return expanded_v(fit("battery", at[: known + 1], points.Meter("m", 0.001, 0.002), nominal).line, 12.0)


def bend_code() -> float:
    """How far the RP2040's transfer is off a straight line through its ends, at most, in codes."""
    even_at, given_at = converters.knots(converters.CONVERTERS["rp2040"].wide)
    return float(np.max(np.abs(even_at - given_at)))


def dead_rail_v(build: str, with_r1: bool) -> float:
    """3V3 of a board that is off, three clips live, two 1N4148 for each clamp (the solver's own diodes)."""
    parts = tuple(p for p in circuit(build, clamp_pair=True) if with_r1 or p.ref != "R1")
    live = {"GND": 0.0, "CLIP0": 0.0, **{f"CLIP{i}": float(builds.SYSTEM_V[build]) for i in (1, 2, 3)}}
    board = solve.Board(parts, live, (("AGND", "GND", 0.01), ("3V3", "GND", builds.RAIL_LOAD_OHM)))
    return solve.solve(board)["3V3"]


def named_by_check() -> int:
    """Planted faults that the pin check alone names."""
    count = 0
    for fault in FAULTS:
        reading = bring_up.walk(fault.planted(circuit("minimal 12 V", clamp_pair=True)), only=(5,))
        count += bool(reading and fault.part in reading[1])
    return count


def worst_carried_v(n: Network, converter: str) -> float:
    """The most that a neighbour at 0 V or 14.4 V (twice that at 24 V) pulls a reading."""
    top_v = builds.PARTS["minimal 24 V" if n is M24 else "minimal 12 V"].other_lead_v
    return abs(carried_v(n, CONVERTERS[converter], 0.0, top_v))


def bare_lead(build: str, survived: bool) -> str:
    """Which pulses a lead's bare wire behind the boot brings that the board stands, or does not."""
    found = [p.name for p in pulses(builds.SYSTEM_V[build])
             if stress(builds.behind_boot(build, "battery"), p, builds.RATINGS).survives == survived]  # fmt: skip
    return "; ".join(found)


def open_ends() -> tuple[float, float]:
    """An open ground input at the pin, resistors at the ends of their tolerance."""
    t = builds.TOLERANCE
    ends = [
        3.3 * GND.r_bottom_ohm * (1 - s * t) / (GND.r_bottom_ohm * (1 - s * t) + GND.r_up_ohm * (1 + s * t)) for s in (1, -1)
    ]
    return ends[0], ends[1]


def size_mm(edge: tuple[float, float, float, float]) -> tuple[float, float]:
    """Width and height within a board's edge: left, top, right, bottom."""
    return edge[2] - edge[0], edge[3] - edge[1]


def pin_good(build: str) -> str:
    """Both figures of a good board's pin."""
    seen = good_pin(build)
    return f"{seen.after_4us_v:.2f} V and {seen.after_60us_v:.2f} V"


PAGE_VALUES: dict[str, Any] = {
    "M12": M12, "M24": M24, "GND": GND, "builds": builds, "ohms": ohms, "volts": volts,
    "mm": lambda x: f"{x:g} mm", "amps": lambda x: f"{x:.3g} A", "milliamps": lambda x: f"{x * 1e3:.2g} mA",
    "microamps": lambda x: f"{x * 1e6:.0f} µA", "millivolts": lambda x: f"{x * 1e3:.2g} mV", "percent": lambda x: f"{x * 100:.2g} %",
    "full_scale": lambda n: f"{n.full_scale_v:.1f} V",
    "dropout": lambda n, v: format_duration(n.shortest_dropout_s(10.0 * v / 12, 7.0 * v / 12)),
    "boot": lambda n: n.parts_ohm[0], "boot_total": lambda n: sum(n.parts_ohm[:4]), "board": lambda n: n.parts_ohm[4],
    "crushed": lambda n: (n.r_top_ohm + n.r_bottom_ohm) / (n.r_top_ohm - n.parts_ohm[0] + n.r_bottom_ohm) - 1.0,
    "ratio_crushed": lambda n: (n.r_top_ohm + n.r_bottom_ohm) / (n.parts_ohm[4] + n.r_bottom_ohm),
    "ground_fault": lambda: 14.4 / (metric_ohm_per_m(builds.LEAD_MM2) * builds.LEAD_M),
    "wide": lambda n: "codes " + ", ".join(map(str, E11_CODES)),
    "wide_v": lambda n: ", ".join(f"{nominal_volts(n, c):.1f}" for c in E11_CODES) + " V",
    "bare_lead": bare_lead, "carried": worst_carried_v, "better_size": lambda: size_mm(better_board.EDGE),
    "board_size": lambda: size_mm(EDGE),
    "wide_width": lambda n: max(w for _, w in converters.CONVERTERS["rp2040"].wide) * n.step_v,
    "inl": lambda name: CONVERTERS[name].inl_code, "kick_share": lambda: MCP3208.sample_f / M12.c_filter_f,
    "taus": lambda: f"{1 / 1300 / 8 / M12.tau_s:.1f}",
    "open_low": lambda: f"{open_ends()[0]:.2f}", "open_high": lambda: f"{open_ends()[1]:.2f} V",
    "open_clip": lambda: 3.3 * GND.r_bottom_ohm / (GND.r_bottom_ohm + GND.r_up_ohm),
    "at_zero": lambda: "{:.2f} to {:.2f} V".format(*node_ends_v(GND, 0.0, builds.TOLERANCE)),
    "fault_count": lambda: len(FAULTS), "named_by_check": named_by_check, "pin_good": pin_good,
    "stands": lambda n: builds.RATINGS.working_v / n.worst_share(builds.TOLERANCE),
    "film_limit": lambda: f"{FILM_RISE_K:g}", "esd": lambda n: discharge(n, builds.RATINGS),
    "leak_pair": lambda c: leak(True, c), "leak_one": lambda c: leak(False, c),
    "leak_schottky": leak_schottky, "clamp_leaks": clamp_leaks, "gain_apart": gain_apart, "one_or_two_v": one_or_two_v,
    "points": points, "thresholds": CALIBRATION,
    "REFUSED_U": CALIBRATION.refused_u, "TERMS": TERMS, "CONVERTERS": converters.CONVERTERS, "bend_code": bend_code,
    "READ_S": CALIBRATION.reading_s, "widest": lambda: max(w for _, w in converters.CONVERTERS["rp2040"].wide),
    "wide_percent": lambda: sum(w for _, w in converters.CONVERTERS["rp2040"].wide) / 4096 * 100,
    "rail_with": lambda: dead_rail_v("minimal 12 V", True), "rail_without": lambda: dead_rail_v("minimal 12 V", False),
    "rail_with24": lambda: dead_rail_v("minimal 24 V", True),
    "total_eur": bill.total_eur, "parts_table": tables.parts_table, "probing": tables.probing, "survival": tables.survival,
    "error_tables": tables.error_tables, "shares": tables.shares, "clamps": tables.clamps, "meter_steps": tables.meter_steps,
    "planted": tables.planted,
}  # fmt: skip


def pages() -> dict[str, str]:
    """File name to text of every page that has a template."""
    environment = jinja2.Environment(undefined=jinja2.StrictUndefined, keep_trailing_newline=True, autoescape=False)
    environment.globals.update(PAGE_VALUES)
    return {
        template.name.removesuffix(".j2"): environment.from_string(template.read_text("utf-8")).render()
        for template in sorted((HERE / "pages").glob("*.j2"))
    }


if __name__ == "__main__":
    for name, text in pages().items():
        (HERE / name).write_text(text, "utf-8")
