"""The printed board: the strip board's places, strips as tracks on the back, wires as tracks on the front, BAV199 for the diode pairs.

Clip nets (LEAD1 to LEAD3) keep 2.5 mm from everything else: a rule of its own that the design check applies.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from hardware_notes import builds
from hardware_notes.circuit import BOARD, PICO_NAMES, Part, circuit, roles
from hardware_notes.kicad_write import better_board
from hardware_notes.kicad_write import footprints as fp
from hardware_notes.kicad_write.schematic import project_of
from hardware_notes.kicad_write.sexpr import Word, s, stable, written
from hardware_notes.strip_board import LAYOUT, PLACED, ROWS, Hole

ORIGIN_X, ORIGIN_Y = 40.0, 40.0
VERSION = 20241229
TRACK_MM, VIA_MM, VIA_DRILL_MM = 0.5, 1.0, 0.5
EDGE = (-3.0, -4.0, 100.0, 52.0)  # left, top, right, bottom from hole (0, 0)
HOLES_MM = ((14.0 * 2.54, 0.0), (36.0 * 2.54, 0.0), (14.0 * 2.54, 48.26))  # mounting, 3.2 mm
STEP = fp.STEP
# Diode: middle (column, row), column and row of its via to 3V3, to AGND, to the node.
DIODES = {
    1: ((18.5, 13.0), (18, 10), (19, 7), (18, 15)),
    2: ((23.5, 15.0), (23, 10), (24, 13), (23, 17)),
    3: ((28.5, 16.5), (28, 10), (29, 13), (28, 19)),
}


def mm(hole: tuple[float, float]) -> tuple[float, float]:
    """(row, column) to board millimetres."""
    return ORIGIN_X + hole[1] * STEP, ORIGIN_Y + hole[0] * STEP


def net_names(parts: dict[str, Part]) -> dict[str, str]:
    """Pin ("R16.1") to net as KiCad names it; unused pins as it names those."""
    count: dict[str, int] = {}
    for part in parts.values():
        for _, net in part.pins:
            count[net] = count.get(net, 0) + 1
    found = {f"{p.ref}.{pin}": f"/{net}" for p in parts.values() for pin, net in p.pins if count[net] > 1}
    for pin, name in PICO_NAMES.items():
        found.setdefault(f"U1.{pin}", f"unconnected-(U1-{name}-Pad{pin})")
    return found


def shape_of(ref: str, kind: str) -> fp.Footprint:
    """The footprint of a placed part."""
    if kind == "D2":
        return fp.SOT23
    if kind == "J":
        return fp.TERMINAL
    if kind == "SW":
        return fp.HEADER
    if kind == "PICO":
        return fp.PICO
    one, other = PLACED[ref]["1"], PLACED[ref]["2"]
    if one[0] == other[0]:
        return fp.along(one[1] - other[1])
    return fp.across(other[0] - one[0], 1.15 if kind == "R" else 1.2, 6.4 if kind == "R" else 5.0)


def position(ref: str, kind: str) -> tuple[float, float]:
    """Board millimetres of a part's origin."""
    if kind == "D2":
        column, row = DIODES[int(ref[1])][0]
        return mm((row, column))
    return mm(PLACED[ref]["1"])


def segment(one: tuple[float, float], other: tuple[float, float], layer: str, net: int) -> list[Any]:
    return s(
        "segment",
        s("start", *one),
        s("end", *other),
        s("width", TRACK_MM),
        s("layer", layer),
        s("net", net),
        s("uuid", stable("track", *one, *other, layer)),
    )


def via(at: tuple[float, float], net: int) -> list[Any]:
    return s(
        "via",
        s("at", *at),
        s("size", VIA_MM),
        s("drill", VIA_DRILL_MM),
        s("layers", "F.Cu", "B.Cu"),
        s("net", net),
        s("uuid", stable("via", *at)),
    )


def strip_tracks(parts: dict[str, Part], names: dict[str, str], numbers: dict[str, int]) -> list[list[Any]]:
    """Each strip between two cuts, from its first used hole to its last, on the back; vias where a wire or a diode ends."""
    holes: dict[Hole, str] = {}
    for ref, pins in PLACED.items():
        if ref in parts and parts[ref].kind not in ("D", "D2"):
            holes |= {
                hole: names[f"{ref}.{pin}"] for pin, hole in pins.items() if not names[f"{ref}.{pin}"].startswith("unconnected")
            }
    joins: dict[Hole, str] = {}
    for lead, (_, rail, ground, node) in DIODES.items():
        for (column, row), net in ((rail, "/3V3"), (ground, "/AGND"), (node, f"/NODE{lead}")):
            joins[row, column] = net
    wires = dict(zip(LAYOUT.wires, ("/3V3", "/AGND", "/AGND", "/AGND", "/PIN3"), strict=True))
    for ends, net in wires.items():
        joins |= dict.fromkeys(ends, net)
    items = [via(mm(hole), numbers[net]) for hole, net in joins.items()]
    for (one, other), net in wires.items():
        items.append(segment(mm(one), mm(other), "F.Cu", numbers[net]))
    used = holes | joins
    cuts = {row: sorted(c for r, c in LAYOUT.cuts if r == row) for row in range(ROWS)}
    for row in range(ROWS):
        edges = [-1, *cuts[row], 999]
        for left, right in pairwise(edges):
            columns = sorted(c for r, c in used if r == row and left < c < right)
            for a, b in pairwise(columns):
                items.append(segment(mm((row, a)), mm((row, b)), "B.Cu", numbers[used[row, a]]))
    return items


def diode_tracks(numbers: dict[str, int]) -> list[list[Any]]:
    """From each diode's pads to its three vias, on the front."""
    items = []
    for lead, (middle, rail, ground, node) in DIODES.items():
        x, y = mm((middle[1], middle[0]))
        for pad, (column, row), net in (((-0.95, -1.0), rail, "/3V3"), ((0.95, -1.0), ground, "/AGND")):
            end_x, end_y = mm((row, column))
            pad_at = (x + pad[0], y + pad[1])
            knee = (end_x, pad_at[1] - abs(end_x - pad_at[0]))
            items.append(segment((end_x, end_y), knee, "F.Cu", numbers[net]))
            items.append(segment(knee, pad_at, "F.Cu", numbers[net]))
        items.append(segment((x, y + 1.0), mm((node[1], node[0])), "F.Cu", numbers[f"/NODE{lead}"]))
    return items


LABELS = (
    ("USB", 8.9, -2.6),
    ("0 ground", 84.0, 30.5),
    ("1 battery", 84.0, 35.6),
    ("2 key_switch", 84.0, 45.7),
    ("3 starter_coil", 84.0, 50.6),
)


def _offset(at: tuple[float, float]) -> tuple[float, float]:
    return at[0] + ORIGIN_X, at[1] + ORIGIN_Y


def _placed(parts: dict[str, Part]) -> dict[str, tuple[fp.Footprint, tuple[float, float]]]:
    """The minimal build's parts on the board, in board millimetres."""
    return {ref: (shape_of(ref, p.kind), position(ref, p.kind)) for ref, p in parts.items() if p.place == BOARD}


def _outline(holes_mm: tuple[tuple[float, float], ...], edge: tuple[float, float, float, float]) -> list[list[Any]]:
    """Mounting holes and the board's edge."""
    items: list[list[Any]] = []
    for i, (x, y) in enumerate(holes_mm):
        hole = s(
            "pad",
            "",
            Word("np_thru_hole"),
            Word("circle"),
            s("at", 0, 0),
            s("size", 3.2, 3.2),
            s("drill", 3.2),
            s("layers", "*.Cu", "*.Mask"),
            s("uuid", stable("mount-pad", i)),
        )
        items.append(
            s("footprint", f"{fp.LIBRARY}:Mounting_3.2", s("layer", "F.Cu"), s("uuid", stable("mount", i)), s("at", ORIGIN_X + x, ORIGIN_Y + y),
              s("property", "Reference", f"H{i + 1}", s("at", 0, -3), s("layer", "F.Fab"), s("hide", True), s("uuid", stable("mount-ref", i)), s("effects", s("font", s("size", 1, 1)))),
              s("property", "Value", "Mounting_3.2", s("at", 0, 3), s("layer", "F.Fab"), s("hide", True), s("uuid", stable("mount-val", i)), s("effects", s("font", s("size", 1, 1)))),
              s("attr", Word("board_only"), Word("exclude_from_pos_files"), Word("exclude_from_bom")), hole)
        )  # fmt: skip
    left, top, right, bottom = edge
    items.append(
        s("gr_rect", s("start", ORIGIN_X + left, ORIGIN_Y + top), s("end", ORIGIN_X + right, ORIGIN_Y + bottom), s("stroke", s("width", 0.1), s("type", Word("solid"))),
          s("fill", False), s("layer", "Edge.Cuts"), s("uuid", stable("edge")))
    )  # fmt: skip
    return items


def _silk(text: str, x: float, y: float) -> list[Any]:
    """A text on the silk screen."""
    return s("gr_text", text, s("at", ORIGIN_X + x, ORIGIN_Y + y, 0), s("layer", "F.SilkS"), s("uuid", stable("words", text)),
             s("effects", s("font", s("size", 1.1, 1.1), s("thickness", 0.16))))  # fmt: skip


def board(build: str, moved: dict[str, tuple[float, float]] | None = None) -> str:
    """The whole .kicad_pcb text. `moved`: designators shifted by millimetres, for tests that plant a mistake."""
    parts = {p.ref: p for p in circuit(build)}
    names = net_names(parts)
    numbers = {net: i for i, net in enumerate(sorted(set(names.values())), start=1)}
    root = stable("root", build)
    better = "better" in build
    items: list[list[Any]] = []
    for ref, (shape, at) in (better_board.placed(parts) if better else _placed(parts)).items():
        part = parts[ref]
        x, y = (at[0] + ORIGIN_X, at[1] + ORIGIN_Y) if better else at
        dx, dy = (moved or {}).get(ref, (0.0, 0.0))
        nets = {pad.number: (numbers[names[f"{ref}.{pad.number}"]], names[f"{ref}.{pad.number}"]) for pad in shape.pads}
        items.append(
            s("footprint", f"{fp.LIBRARY}:{fp.name_of(part.kind, shape)}", s("layer", "F.Cu"), s("uuid", stable("footprint", ref)), s("at", x + dx, y + dy),
              s("path", f"/{stable('symbol', ref)}"), s("sheetname", "/"), s("sheetfile", f"{project_of(build)}.kicad_sch"),
              *fp.body(part.kind, shape, ref, part.value, nets))
        )  # fmt: skip
    items += _outline(better_board.HOLES_MM if better else HOLES_MM, better_board.EDGE if better else EDGE)
    title = (f"firstcrank {build} rev {builds.REVISION}", 62, -3.6 if better else -2.2)
    labels = [title, *(better_board.labels(roles(build)) if better else LABELS)]
    items += [_silk(*label) for label in labels]
    if better:
        tracks, vias = better_board.copper(parts)
        items += [via(_offset(at), numbers[net]) for at, net in vias]
        items += [segment(_offset(one), _offset(other), layer, numbers[net]) for one, other, layer, net in tracks]
    else:
        items += strip_tracks(parts, names, numbers) + diode_tracks(numbers)
    layers = s("layers", *(s(str(i), name, Word(kind)) for i, name, kind in (
        (0, "F.Cu", "signal"), (2, "B.Cu", "signal"), (9, "F.Adhes", "user"), (13, "F.Paste", "user"), (15, "B.Paste", "user"), (5, "F.SilkS", "user"),
        (7, "B.SilkS", "user"), (1, "F.Mask", "user"), (3, "B.Mask", "user"), (25, "Edge.Cuts", "user"), (31, "F.CrtYd", "user"), (35, "F.Fab", "user"))))  # fmt: skip
    head = [
        s("version", VERSION), s("generator", "firstcrank"), s("generator_version", "9.0"), s("general", s("thickness", 1.6)), s("paper", "A4"),
        s("title_block", s("title", f"firstcrank, {build} build"), s("rev", builds.REVISION)), layers, s("setup", s("pad_to_mask_clearance", 0)), s("net", 0, ""),
    ]  # fmt: skip
    assert root
    return (
        written(s("kicad_pcb", *head, *(s("net", i, net) for net, i in numbers.items()), *items, s("embedded_fonts", False)))
        + "\n"
    )


def shapes(build: str) -> dict[str, fp.Footprint]:
    """Designator to footprint."""
    parts = {p.ref: p for p in circuit(build)}
    found = better_board.placed(parts) if "better" in build else _placed(parts)
    return {ref: shape for ref, (shape, _) in found.items()}


def rules(build: str) -> str:
    """The rule that clip nets keep their distance, in KiCad's own words."""
    named = " || ".join(f"A.NetName == '/LEAD{lead}'" for lead in roles(build))
    return f"""(version 1)
(rule "clip nets keep their distance"
\t(constraint clearance (min 2.5mm))
\t(condition "{named}"))
"""
