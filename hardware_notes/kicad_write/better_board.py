"""The better build's printed board: one row a lead from the terminal to the converter, a channel of columns from there to the module.

Millimetres from the terminal's first pin, y down. Rows: clip nets on the front, the node's track beside its parts, ground and 3V3 as
columns on the back. The module lies turned by half, so that its converter's pins face the converter.
"""

from __future__ import annotations

from itertools import pairwise

from hardware_notes.circuit import BOARD, Part
from hardware_notes.kicad_write import footprints as fp

PITCH = 5.08  # of the terminal, and of the rows
EDGE = (-6.0, -5.5, 151.0, 55.5)
HOLES_MM = ((12.7, 49.0), (88.9, 49.0), (92.7, 6.0), (118.1, 36.83))
ASIDE = 1.905  # of a node's track from its parts' pins
X = {"5": 7.62, "6": 21.59, "C": 35.56, "8": 54.61, "D": 57.15, "7": 63.5}
R_MM, C_MM = 10.16, 5.08
RAIL_X, GROUND_X = 54.61, (31.75, 40.64, 59.69)  # columns on the back beside the rows
CONVERTER, MODULE = (92.71, 13.97), (128.27, 2.54)
AGND_X, V3_X = 105.41, 110.49  # columns between converter and module
SIGNALS = {"SCK": (113.03, "13", "24"), "MISO": (115.57, "12", "21"), "MOSI": (118.11, "11", "25"), "CS": (120.65, "10", "22")}
BOTTOM = 9 * PITCH
SWITCH = (123.19, 20.32)
Point = tuple[float, float]
Track = tuple[Point, Point, str, str]  # from, to, layer, net
FRONT, BACK = "F.Cu", "B.Cu"


def row(lead: int) -> float:
    """Height of a lead's row."""
    return PITCH * lead


def shape_of(part: Part) -> fp.Footprint:
    """The footprint of a part on this board."""
    shapes = {"D2": fp.SOT23, "J": fp.terminal(9), "SW": fp.HEADER, "PICO": fp.PICO_TURNED, "MCP3208": fp.DIP16}
    if part.kind in shapes:
        return shapes[part.kind]
    if part.kind == "C":
        return fp.level(C_MM if len(part.ref) == 3 else -C_MM, 1.4)
    return fp.level(-R_MM if part.ref.endswith("8") else R_MM, 3.2)


def position(part: Part) -> Point:
    """Where its first pin (a diode's middle) lies."""
    fixed = {
        "J1": (0.0, 0.0), "U1": MODULE, "U2": CONVERTER, "SW1": SWITCH, "R1": (V3_X, 48.26), "C1": (V3_X, 8.89), "C2": (V3_X, 36.83),
    }  # fmt: skip
    if part.ref in fixed:
        return fixed[part.ref]
    return X[part.ref[0] if part.kind != "R" else part.ref[2]], row(int(part.ref[1]))


def converter_pin(number: str) -> Point:
    """A pin of the converter."""
    pad = next(p for p in fp.DIP16.pads if p.number == number)
    return CONVERTER[0] + pad.x_mm, CONVERTER[1] + pad.y_mm


def module_pin(number: str) -> Point:
    """A pin of the module."""
    pad = next(p for p in fp.PICO_TURNED.pads if p.number == number)
    return MODULE[0] + pad.x_mm, MODULE[1] + pad.y_mm


def lead_tracks(lead: int, lifted: bool) -> list[Track]:
    """One row: clip net, node with its stubs, the diode's three legs, and the fan to the converter."""
    y, node, beside = row(lead), f"/NODE{lead}", row(lead) + ASIDE
    taps = [X["5"] + R_MM, X["6"], X["C"], *([X["8"] - R_MM] if lifted else []), X["7"]]
    tracks: list[Track] = [((0.0, y), (X["5"], y), FRONT, f"/LEAD{lead}")]
    tracks += [((x, y), (x, beside), FRONT, node) for x in taps]
    tracks.append(((X["D"], y + 1.0), (X["D"], beside), FRONT, node))
    tracks += [((one, beside), (other, beside), FRONT, node) for one, other in pairwise(sorted([*taps, X["D"]]))]
    rail_end = (RAIL_X, y) if lifted else (RAIL_X, y - 1.0)
    tracks.append(((X["D"] - 0.95, y - 1.0), rail_end, FRONT, "/3V3"))
    tracks.append(((X["D"] + 0.95, y - 1.0), (GROUND_X[2], y - 1.0), FRONT, "/AGND"))
    tracks.append(((X["7"] + R_MM, y), converter_pin(str(lead)), FRONT, f"/PIN{lead}"))
    return tracks


def columns(parts: dict[str, Part]) -> tuple[list[Track], list[tuple[Point, str]]]:
    """Ground, 3V3 and the converter's four signals: tracks, and vias with their nets."""
    lifted = {lead: f"R{lead}8" in parts for lead in range(1, 9)}
    heights = {
        GROUND_X[0]: [row(i) for i in range(1, 9)],
        GROUND_X[1]: [row(i) for i in range(1, 9)],
        GROUND_X[2]: [row(i) - 1.0 for i in range(1, 9)],
        AGND_X: [8.89, converter_pin("14")[1], converter_pin("9")[1], module_pin("33")[1], 36.83],
    }
    rail = [row(i) if lifted[i] else row(i) - 1.0 for i in range(1, 9)]
    v3 = [8.89, converter_pin("16")[1], converter_pin("15")[1], 36.83, module_pin("36")[1], BOTTOM, 48.26]
    tracks: list[Track] = []
    for x, ys in heights.items():
        tracks += [((x, a), (x, b), BACK, "/AGND") for a, b in pairwise([0.0, *sorted(ys)])]
    tracks += [((a, 0.0), (b, 0.0), BACK, "/AGND") for a, b in pairwise([0.0, *GROUND_X, AGND_X])]
    tracks += [((RAIL_X, a), (RAIL_X, b), BACK, "/3V3") for a, b in pairwise([*rail, BOTTOM])]
    tracks.append(((RAIL_X, BOTTOM), (V3_X, BOTTOM), BACK, "/3V3"))
    tracks += [((V3_X, a), (V3_X, b), BACK, "/3V3") for a, b in pairwise(sorted(v3))]
    vias = [((GROUND_X[2], y), "/AGND") for y in heights[GROUND_X[2]]]
    vias += [((RAIL_X, row(i) - 1.0), "/3V3") for i in range(1, 9) if not lifted[i]]
    for x, net, pins in ((AGND_X, "/AGND", ("14", "9")), (V3_X, "/3V3", ("16", "15"))):
        for pin in pins:
            at = converter_pin(pin)
            tracks.append((at, (x, at[1]), FRONT, net))
            vias.append(((x, at[1]), net))
    for x, net, pin in ((AGND_X, "/AGND", "33"), (V3_X, "/3V3", "36")):
        at = module_pin(pin)
        tracks.append(((x, at[1]), at, FRONT, net))
        vias.append(((x, at[1]), net))
    for name, (x, own, other) in SIGNALS.items():
        begin, end, net = converter_pin(own), module_pin(other), f"/{name}"
        tracks += [(begin, (x, begin[1]), FRONT, net), ((x, begin[1]), (x, end[1]), BACK, net), ((x, end[1]), end, FRONT, net)]
        vias += [((x, begin[1]), net), ((x, end[1]), net)]
    below = (SWITCH[0], SWITCH[1] + fp.STEP)
    tracks += [
        (SWITCH, module_pin("29"), FRONT, "/ESCAPE"),
        (below, module_pin("28"), BACK, "/GND"),
        (below, (SWITCH[0], BOTTOM), BACK, "/GND"),
        ((SWITCH[0], BOTTOM), (V3_X + R_MM, 48.26), BACK, "/GND"),
    ]
    return tracks, vias


def copper(parts: dict[str, Part]) -> tuple[list[Track], list[tuple[Point, str]]]:
    """All tracks and vias."""
    tracks, vias = columns(parts)
    for lead in range(1, 9):
        tracks += lead_tracks(lead, f"R{lead}8" in parts)
    return tracks, vias


def placed(parts: dict[str, Part]) -> dict[str, tuple[fp.Footprint, Point]]:
    """Designator to footprint and position, of what is on the board."""
    return {ref: (shape_of(p), position(p)) for ref, p in parts.items() if p.place == BOARD}


def labels(names: dict[int, str]) -> list[tuple[str, float, float]]:
    """Texts on the silk screen: what, and the middle of where."""
    found = [("0 ground", 12.7, 0.0), ("USB", MODULE[0] + 3.5 * fp.STEP, 53.9)]
    return found + [(f"{lead} {role}", 12.7, row(lead) - PITCH / 2) for lead, role in names.items()]
