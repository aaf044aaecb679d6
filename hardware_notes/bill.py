"""Bill of materials: what to order for a build, one row a kind of part. Costs are rough, one-off, from memory."""

from __future__ import annotations

import csv
import io
import re

from hardware_notes import builds
from hardware_notes.circuit import BOOT, LEAD, circuit, roles

COLUMNS = ("quantity", "designators", "description", "value", "rating", "alternates", "each_eur")
KINDS = {
    "R": ("resistor, metal film", "any 0207 or larger of the same value, voltage and tolerance; never a smaller one", 0.08),
    "C": ("capacitor", "film 5 % instead of C0G; never X7R for C11: it changes with voltage", 0.15),
    "D": ("diode", "1N914, BAV21", 0.05),
    "D2": ("double diode, series", "any BAV199 class part; not BAV99, not BAT54S: they leak more", 0.15),
    "F": ("fuse in a blade holder with leads", "1 to 3 A; never a resettable one alone: it can't break a battery", 1.5),
    "J": ("screw terminal", "a row of 2- and 3-way ones", 1.0),
    "SW": ("push button, or two pins and a jumper", "", 0.2),
    "PICO": ("microcontroller board with headers, MicroPython", "any board of the same footprint with RP2040 or RP2350", 5.0),
    "MCP3208": ("8-input 12-bit converter", "MCP3208-BI or -CI", 4.0),
}


def _natural(ref: str) -> tuple[str, int]:
    match = re.fullmatch(r"([A-Z]+)(\d+)", ref)
    return (match[1], int(match[2])) if match else (ref, 0)


def order_rows(build: str, clamp_pair: bool = False) -> list[dict[str, str]]:
    """Rows with the columns named in COLUMNS, all texts."""
    groups: dict[tuple[str, str, str, str], list[str]] = {}
    for part in circuit(build, clamp_pair):
        where = {BOOT: "in the boot", LEAD: "in the lead"}.get(part.place, "")
        groups.setdefault((part.kind, part.value, part.rating, where), []).append(part.ref)
    rows = []
    for (kind, value, rating, where), refs in sorted(groups.items(), key=lambda g: (g[0][0], _natural(g[1][0]))):
        what, instead, each = KINDS[kind]
        if kind == "C" and "X7R" in rating:
            instead = ""
        rows.append(
            {
                "quantity": str(len(refs)),
                "designators": " ".join(sorted(refs, key=_natural)),
                "description": f"{what}, {where}" if where else what,
                "value": value,
                "rating": rating,
                "alternates": instead,
                "each_eur": f"{each:.2f}",
            }
        )
    leads = len(roles(build))
    extra = (
        (str(leads), "insulated clip or back-probe pin", "1 mm² bite, insulated", "a back-probe pin for key_switch", 1.5),
        ("1", "insulated clip for the ground lead", "10 A", "", 2.0),
        (str(leads), f"lead, {builds.LEAD_M:g} m", f"{builds.LEAD_MM2:g} mm², 300 V, silicone or PVC", "", 0.6),
        ("1", f"ground lead, {builds.LEAD_M:g} m, black", f"{builds.LEAD_MM2:g} mm², 300 V", "", 0.6),
        (str(2 * leads), "heat-shrink sleeve over each boot, two layers", "1 kV or more each", "silicone tube under it", 0.3),
        ("1", "numbered rings for the leads", "", "coloured heat-shrink", 1.0),
        ("1", "USB isolator, full speed (12 Mbit/s)", "1 kV or more; keeps loops away, not people safe", "none", 12.0),
    )
    for quantity, what, rating, instead, each in extra:
        rows.append(dict(zip(COLUMNS, (quantity, "", what, "", rating, instead, f"{each:.2f}"), strict=True)))
    return rows


def total_eur(build: str, clamp_pair: bool = False) -> float:
    """Rough cost of one."""
    return sum(int(row["quantity"]) * float(row["each_eur"]) for row in order_rows(build, clamp_pair))


def csv_text(build: str, clamp_pair: bool = False) -> str:
    """The bill as CSV, line ends as LF."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(order_rows(build, clamp_pair))
    return out.getvalue()
