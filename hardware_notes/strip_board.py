"""The minimal build on strip board: where every part, wire and cut goes, and whether that is the circuit.

Seen from the parts' side, strips running left to right. Holes are (row, column), 2.54 mm apart, row 0 at the module's USB end.
The module stands in columns 0 and 7, its pin 1 at (0, 0).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, replace
from itertools import pairwise

from hardware_notes.circuit import BOARD, circuit

Hole = tuple[int, int]
ROWS, COLUMNS = 20, 40
PITCH_MM = 2.54


@dataclass(frozen=True, slots=True)
class Layout:
    """`placed`: designator to its pins' holes. `wires`: from hole to hole. `cuts`: holes drilled out of a strip."""

    placed: dict[str, dict[str, Hole]]
    wires: tuple[tuple[Hole, Hole], ...]
    cuts: tuple[Hole, ...]


def module_holes() -> dict[str, Hole]:
    """Pins 1 to 20 down the left, 21 to 40 up the right."""
    return {str(n): (n - 1, 0) if n <= 20 else (40 - n, 7) for n in range(1, 41)}


def down(column: int, one: int, other: int) -> dict[str, Hole]:
    """A two-legged part across the strips: pin 1 at row `one`, pin 2 at row `other`."""
    return {"1": (one, column), "2": (other, column)}


PLACED: dict[str, dict[str, Hole]] = {
    "U1": module_holes(),
    "J1": {"1": (13, 37), "2": (15, 37), "3": (17, 37), "4": (19, 37)},
    "R1": down(10, 4, 12),
    "SW1": down(12, 11, 12),
    "R15": {"1": (15, 35), "2": (15, 31)},
    "R16": down(17, 15, 7),
    "R17": down(16, 15, 9),
    "C11": down(20, 15, 13),
    "D11": down(18, 10, 15),
    "D12": down(19, 15, 7),
    "R25": {"1": (17, 35), "2": (17, 31)},
    "R26": down(22, 17, 13),
    "R27": down(21, 17, 8),
    "C21": down(25, 17, 14),
    "D21": down(23, 10, 17),
    "D22": down(24, 17, 13),
    "R35": {"1": (19, 35), "2": (19, 31)},
    "R36": down(27, 19, 13),
    "R37": down(26, 19, 12),
    "C31": down(30, 19, 16),
    "D31": down(28, 10, 19),
    "D32": down(29, 19, 13),
}
WIRES = (
    ((4, 11), (10, 11)),  # 3V3
    ((7, 13), (13, 13)),  # AGND
    ((13, 15), (14, 15)),
    ((14, 14), (16, 14)),
    ((6, 15), (12, 15)),  # pin 34
)
CUTS = (
    *((row, 3) for row in range(ROWS)),  # under the module, between its two rows of pins
    *((row, 9) for row in (10, 13, 14, 15, 16, 17, 19)),
    (12, 14),
    *((row, 33) for row in (15, 17, 19)),
)
LAYOUT = Layout(PLACED, WIRES, CUTS)


def segments(layout: Layout) -> dict[Hole, int]:
    """Each hole's copper: holes with the same number are joined by strip or wire."""
    number: dict[Hole, int] = {}
    count = 0
    for row in range(ROWS):
        count += 1
        for column in range(COLUMNS):
            if (row, column) in layout.cuts:
                count += 1
                continue
            number[row, column] = count
    for one, other in layout.wires:
        if one not in number or other not in number:
            continue  # a wire's end in a cut hole joins nothing
        keep, gone = number[one], number[other]
        number = {hole: keep if copper == gone else copper for hole, copper in number.items()}
    return number


def wanted_nets(build: str = "minimal 12 V") -> dict[str, str]:
    """Pin to net for everything on the board; each unused pin of the module a net of its own."""
    found: dict[str, str] = {}
    for part in circuit(build, clamp_pair=True):
        if part.place == BOARD:
            found |= {f"{part.ref}.{pin}": net for pin, net in part.pins}
    for pin in module_holes():
        found.setdefault(f"U1.{pin}", f"unused {pin}")
    return found


def mistakes(layout: Layout, build: str = "minimal 12 V") -> list[str]:
    """What differs from the circuit, in words; empty where it is the circuit. Also holes used twice or in a cut, and parts that overlap."""
    copper = segments(layout)
    wanted = wanted_nets(build)
    found: list[str] = []
    taken: dict[Hole, str] = {}
    where: dict[str, int] = {}
    for ref, pins in layout.placed.items():
        for pin, hole in pins.items():
            name = f"{ref}.{pin}"
            if hole in taken:
                found.append(f"{name} and {taken[hole]} are in one hole {hole}")
            taken[hole] = name
            if hole not in copper:
                found.append(f"{name} is in a cut or off the board, {hole}")
            else:
                where[name] = copper[hole]
    for i, ends in enumerate(layout.wires):
        for hole in ends:
            if hole in taken or hole not in copper:
                found.append(f"wire {i + 1} has no free hole at {hole}")
            taken[hole] = f"wire {i + 1}"
    found += [f"{name} is not placed" for name in sorted(set(wanted) - set(where))]
    nets_of: dict[int, set[str]] = defaultdict(set)
    copper_of: dict[str, set[int]] = defaultdict(set)
    for name, piece in where.items():
        if name in wanted:
            nets_of[piece].add(wanted[name])
            copper_of[wanted[name]].add(piece)
    found += [f"joined that must not be: {', '.join(sorted(nets))}" for nets in nets_of.values() if len(nets) > 1]
    found += [f"{net} is in {len(pieces)} pieces" for net, pieces in copper_of.items() if len(pieces) > 1]
    return found + overlaps(layout)


def overlaps(layout: Layout) -> list[str]:
    """Parts and wires that lie across strips in the same column over the same rows; parts too short for their legs."""
    spans: dict[int, list[tuple[int, int, str]]] = defaultdict(list)
    found = []
    across = {ref: list(pins.values()) for ref, pins in layout.placed.items() if len(pins) == 2}
    across |= {f"wire {i + 1}": list(ends) for i, ends in enumerate(layout.wires)}
    least = {"R": 4, "D": 3, "C": 2}
    for name, ((row, column), (other_row, other_column)) in across.items():
        if column == other_column:
            spans[column].append((min(row, other_row), max(row, other_row), name))
        length = abs(row - other_row) + abs(column - other_column)
        if length < least.get(name[0], 1):
            found.append(f"{name} has no room between its holes")
    for listed in spans.values():
        listed.sort()
        found += [f"{a[2]} and {b[2]} lie on each other" for a, b in pairwise(listed) if b[0] <= a[1]]
    return found


def without_cut(layout: Layout, cut: Hole) -> Layout:
    """One cut forgotten."""
    return replace(layout, cuts=tuple(c for c in layout.cuts if c != cut))


def moved_leg(layout: Layout, ref: str, pin: str, rows: int) -> Layout:
    """One leg a row off."""
    pins = dict(layout.placed[ref])
    row, column = pins[pin]
    pins[pin] = (row + rows, column)
    return replace(layout, placed={**layout.placed, ref: pins})


def moved_wire(layout: Layout, wire: int, end: int, rows: int) -> Layout:
    """One end of a wire a row off."""
    wires = [list(ends) for ends in layout.wires]
    row, column = wires[wire][end]
    wires[wire][end] = (row + rows, column)
    return replace(layout, wires=tuple((a, b) for a, b in wires))


def page() -> str:
    """The layout as lists: cuts first, then wires, then parts by height."""
    lines = [
        "# Strip board",
        "",
        f"Minimal build, {ROWS} strips of {COLUMNS} holes at least, {PITCH_MM} mm. Seen from the parts' side, strips running left to "
        "right, row 0 at the module's USB end, column 0 the module's pin 1. A test compares it with the circuit: every missing cut and "
        "moved leg shows.",
        "",
        "![finished board](strip_board.svg)",
        "",
        "1. **Cuts** (row, column): "
        + "; ".join(f"column {c}: rows {', '.join(str(r) for r, k in CUTS if k == c)}" for c in sorted({c for _, c in CUTS}))
        + ". On the copper side the columns run the other way: mark each hole with a needle first.",
        "2. **Wires**: " + "; ".join(f"{a} to {b}" for a, b in WIRES) + ".",
        "3. **Parts**, flat ones first. Diodes: the ring at the hole named first.",
        "",
        "| part | value, 12 V | value, 24 V | from | to |",
        "|---|---|---|---|---|",
    ]
    values = [{p.ref: p.value for p in circuit(b, clamp_pair=True)} for b in ("minimal 12 V", "minimal 24 V")]
    order = {"D": 0, "R": 1, "C": 2, "S": 3, "J": 4}
    for ref, pins in sorted(PLACED.items(), key=lambda item: (order.get(item[0][0], 9), item[0])):
        if ref == "U1":
            lines.append("| U1 | module, in two 20-way sockets | the same | pin 1 at (0, 0) | pin 40 at (0, 7) |")
        elif ref == "J1":
            ends = ", ".join(f"{pin} at {hole}" for pin, hole in pins.items())
            lines.append(f"| J1 | 4-way terminal, 5.08 mm | the same | {ends} | |")
        else:
            lines.append(f"| {ref} | {values[0][ref]} | {values[1][ref]} | {pins['1']} | {pins['2']} |")
    return "\n".join(lines) + "\n"
