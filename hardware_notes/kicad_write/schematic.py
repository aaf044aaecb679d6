"""The schematic: own symbols, every pin on the 1.27 mm grid, nets by labels where they end."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from hardware_notes import builds
from hardware_notes.circuit import BOARD, MCP_NAMES, PICO_NAMES, Part, circuit, nets, roles
from hardware_notes.kicad_write.sexpr import Word, s, stable, written

VERSION = 20250114
LIBRARY = "firstcrank"
PAPER = {"minimal": "A4", "better": "A3"}
Pins = dict[str, tuple[float, float, int, str]]  # number: x, y (up), angle, name

TWO_ACROSS: Pins = {"1": (-5.08, 0, 0, ""), "2": (5.08, 0, 180, "")}
TWO_DOWN: Pins = {"1": (0, 5.08, 270, ""), "2": (0, -5.08, 90, "")}
SYMBOL_PINS: dict[str, Pins] = {
    "R_across": TWO_ACROSS,
    "F_across": TWO_ACROSS,
    "SW_across": TWO_ACROSS,
    "R_down": TWO_DOWN,
    "C_down": TWO_DOWN,
    "D2": {"1": (0, -7.62, 90, "A"), "2": (0, 7.62, 270, "K"), "3": (-5.08, 0, 0, "AK")},
    "J": {str(k): (5.08, 2.54 * (3 - k), 180, f"{k}") for k in range(1, 5)},
    "J9": {str(k): (5.08, 2.54 * (5 - k), 180, f"{k}") for k in range(1, 10)},
    "MCP3208": {
        **{str(n): (-10.16, 10.16 - 2.54 * n, 0, MCP_NAMES[str(n)]) for n in range(1, 9)},
        **{str(n): (10.16, 10.16 - 2.54 * (17 - n), 180, MCP_NAMES[str(n)]) for n in range(9, 17)},
    },
    "PICO": {
        **{str(n): (-15.24, 25.4 - 2.54 * n, 0, PICO_NAMES[str(n)]) for n in range(1, 21)},
        **{str(n): (15.24, 25.4 - 2.54 * (41 - n), 180, PICO_NAMES[str(n)]) for n in range(21, 41)},
    },
}


HALF_HEIGHT = {"J": 8.89, "J9": 15.24, "MCP3208": 15.24, "PICO": 30.48}  # of the boxes, with room for a text


def stroke() -> list[Any]:
    return s("stroke", s("width", 0.254), s("type", Word("default")))


def font(hide: bool = False, size: float = 1.27) -> list[Any]:
    return s("effects", s("font", s("size", size, size)), *([s("hide", True)] if hide else []))


def box(x1: float, y1: float, x2: float, y2: float) -> list[Any]:
    return s("rectangle", s("start", x1, y1), s("end", x2, y2), stroke(), s("fill", s("type", Word("none"))))


def line(*points: tuple[float, float]) -> list[Any]:
    return s("polyline", s("pts", *(s("xy", *p) for p in points)), stroke(), s("fill", s("type", Word("none"))))


SHAPES: dict[str, list[list[Any]]] = {
    "R_across": [box(-2.54, -1.016, 2.54, 1.016)],
    "F_across": [box(-2.54, -0.762, 2.54, 0.762), line((-2.54, 0), (2.54, 0))],
    "SW_across": [line((-2.54, 0), (2.032, 1.778))],
    "R_down": [box(-1.016, -2.54, 1.016, 2.54)],
    "C_down": [line((-2.032, 0.762), (2.032, 0.762)), line((-2.032, -0.762), (2.032, -0.762)), line((0, 2.54), (0, 0.762)), line((0, -2.54), (0, -0.762))],
    "D2": [
        line((-1.27, 2.54), (1.27, 2.54), (0, 4.572), (-1.27, 2.54)), line((-1.27, 4.572), (1.27, 4.572)), line((0, 5.08), (0, -5.08)),
        line((-1.27, -4.572), (1.27, -4.572), (0, -2.54), (-1.27, -4.572)), line((-1.27, -2.54), (1.27, -2.54)), line((-2.54, 0), (0, 0)),
    ],
    "J": [box(-2.54, -6.35, 2.54, 6.35)],
    "J9": [box(-2.54, -12.7, 2.54, 12.7)],
    "MCP3208": [box(-7.62, -12.7, 7.62, 10.16)],
    "PICO": [box(-12.7, -27.94, 12.7, 25.4)],
}  # fmt: skip


def library_symbol(name: str) -> list[Any]:
    """A symbol as the schematic embeds it."""
    shown = name in HALF_HEIGHT
    pins = [
        s(
            "pin",
            Word("passive"),
            Word("line"),
            s("at", x, y, angle),
            s("length", 2.54),
            s("name", label or "~", font()),
            s("number", n, font()),
        )
        for n, (x, y, angle, label) in SYMBOL_PINS[name].items()
    ]
    fields = [s("property", key, value, s("at", 0, 0, 0), font(hide=key not in ("Reference", "Value"))) for key, value in
              (("Reference", name[0]), ("Value", name), ("Footprint", ""), ("Datasheet", ""), ("Description", ""))]  # fmt: skip
    hidden = [] if shown else [s("pin_numbers", s("hide", True))]
    names = s("pin_names", s("offset", 0.508)) if shown else s("pin_names", s("offset", 0), s("hide", True))
    flags = [s("exclude_from_sim", False), s("in_bom", True), s("on_board", True)]
    drawn = s("symbol", f"{name}_0_1", *SHAPES[name])
    return s("symbol", f"{LIBRARY}:{name}", *hidden, names, *flags, *fields, drawn, s("symbol", f"{name}_1_1", *pins))


LEFT, TOP, STEP = 40.64, 40.64, 15.24
LIFT_X = 27.94
CHAIN_END = LEFT + 4 * STEP + 5.08


def kind_of(build: str) -> str:
    """ "minimal" or "better"."""
    return build.split()[0]


def project_of(build: str) -> str:
    """Name of the KiCad project."""
    return f"firstcrank_{kind_of(build)}"


def row(lead: int, build: str) -> float:
    """Height of a lead's row."""
    return TOP + (38.1 if kind_of(build) == "minimal" else 27.94) * (lead - 1)


def places(parts: dict[str, Part], build: str) -> dict[str, tuple[str, float, float]]:
    """Designator to symbol and position."""
    found: dict[str, tuple[str, float, float]] = {}
    for lead in roles(build):
        y = row(lead, build)
        if f"R{lead}8" in parts:
            found[f"R{lead}8"] = ("R_down", CHAIN_END + LIFT_X, y - 5.08)
        for k in range(1, 6):
            found[f"R{lead}{k}"] = ("R_across", LEFT + STEP * (k - 1), y)
        found[f"R{lead}6"] = ("R_down", CHAIN_END + 7.62, y + 5.08)
        found[f"C{lead}1"] = ("C_down", CHAIN_END + 20.32, y + 5.08)
        found[f"D{lead}1"] = ("D2", CHAIN_END + 38.1, y)
        found[f"R{lead}7"] = ("R_across", CHAIN_END + 60.96, y)
    if kind_of(build) == "minimal":
        found |= {"F1": ("F_across", LEFT, 162.56), "J1": ("J", 78.74, 162.56), "R1": ("R_across", 124.46, 157.48)}
        found |= {"SW1": ("SW_across", 124.46, 170.18), "U1": ("PICO", 236.22, 96.52)}
    else:
        found |= {"F1": ("F_across", 236.22, 162.56), "R1": ("R_across", 236.22, 177.8), "SW1": ("SW_across", 236.22, 193.04)}
        found |= {"U1": ("PICO", 236.22, 96.52), "U2": ("MCP3208", 300.99, 96.52), "J1": ("J9", 355.6, 96.52)}
        found |= {"C1": ("C_down", 300.99, 162.56), "C2": ("C_down", 320.04, 162.56)}
    assert set(found) == set(parts)
    return found


def footprint_name(part: Part, build: str) -> str:
    """The board's footprint for a part."""
    from hardware_notes.kicad_write import board, footprints

    return footprints.name_of(part.kind, board.shapes(build)[part.ref])


def instance(part: Part, symbol: str, x: float, y: float, root: str, build: str) -> list[Any]:
    """A placed part."""
    across = "across" in symbol
    at_ref = (
        (x, y - 2.54)
        if across
        else (x + 2.54, y - 1.27)
        if "down" in symbol or symbol == "D2"
        else (x, y - HALF_HEIGHT[symbol])
    )
    at_value = (
        (x, y + 2.54)
        if across
        else (x + 2.54, y + 1.27)
        if "down" in symbol or symbol == "D2"
        else (x, y + HALF_HEIGHT[symbol])
    )
    left = s("justify", Word("left"))
    effects = [*font(), *([] if across or symbol in HALF_HEIGHT else [left])]
    on_board = part.place == BOARD
    footprint = f"{LIBRARY}:{footprint_name(part, build)}" if on_board else ""
    fields = [
        s("property", "Reference", part.ref, s("at", *at_ref, 0), effects),
        s("property", "Value", part.value, s("at", *at_value, 0), effects),
        s("property", "Footprint", footprint, s("at", x, y, 0), font(hide=True)),
        s("property", "Datasheet", "", s("at", x, y, 0), font(hide=True)),
        s("property", "Description", part.rating, s("at", x, y, 0), font(hide=True)),
    ]
    pins = [s("pin", n, s("uuid", stable("pin", part.ref, n))) for n in SYMBOL_PINS[symbol]]
    where = s("path", f"/{root}", s("reference", part.ref), s("unit", 1))
    return s(
        "symbol", s("lib_id", f"{LIBRARY}:{symbol}"), s("at", x, y, 0), s("unit", 1), s("exclude_from_sim", False), s("in_bom", True),
        s("on_board", on_board), s("dnp", False), s("uuid", stable("symbol", part.ref)), *fields, *pins,
        s("instances", s("project", project_of(build), where)),
    )  # fmt: skip


def wire(x1: float, y1: float, x2: float, y2: float) -> list[Any]:
    return s(
        "wire",
        s("pts", s("xy", x1, y1), s("xy", x2, y2)),
        s("stroke", s("width", 0), s("type", Word("default"))),
        s("uuid", stable("wire", x1, y1, x2, y2)),
    )


def label(net: str, x: float, y: float, angle: int = 0) -> list[Any]:
    """A net's name at a point."""
    side = s("justify", Word("right" if angle in (180, 270) else "left"), Word("bottom"))
    return s("label", net, s("at", x, y, angle), [*font(), side], s("uuid", stable("label", net, x, y)))


def schematic(build: str) -> str:
    """The whole .kicad_sch text."""
    parts = {p.ref: p for p in circuit(build)}
    root = stable("root", build)
    items: list[list[Any]] = []
    shared = nets(tuple(parts.values()))
    placed = places(parts, build)
    joined = {f"{ref}{lead}{k}.{pin}" for lead in roles(build) for ref, k, pin in
              (("R", 2, 1), ("R", 3, 1), ("R", 4, 1), ("R", 5, 1), ("R", 6, 1), ("R", 8, 2), ("C", 1, 1), ("D", 1, 3))}  # fmt: skip
    for ref, (symbol, x, y) in placed.items():
        items.append(instance(parts[ref], symbol, x, y, root, build))
        wired = dict(parts[ref].pins)
        for number, (px, py, angle, _) in SYMBOL_PINS[symbol].items():
            at = (x + px, y - py)
            net = wired.get(number, "")
            if not net or len(shared[net]) < 2:
                items.append(s("no_connect", s("at", *at), s("uuid", stable("nc", ref, number))))
            elif f"{ref}.{number}" not in joined:
                down = ref[0] in "RC" and symbol.endswith("across") and ref[-1] in "12345" and len(ref) == 3
                items.append(label(net, *at, 270 if down else 180 if angle == 0 else 0))
    for lead, role in roles(build).items():
        y = row(lead, build)
        for k in range(1, 5):
            items.append(wire(LEFT + STEP * (k - 1) + 5.08, y, LEFT + STEP * k - 5.08, y))
        lift = [CHAIN_END + LIFT_X] if f"R{lead}8" in parts else []
        taps = [CHAIN_END, CHAIN_END + 7.62, CHAIN_END + 20.32, *lift, CHAIN_END + 33.02]  # R15, R16, C11, R18, D11's middle
        for one, other in pairwise(taps):
            items.append(wire(one, y, other, y))
        for tap in taps[1:-1]:
            items.append(
                s("junction", s("at", tap, y), s("diameter", 0), s("color", 0, 0, 0, 0), s("uuid", stable("junction", tap, y)))
            )
        caption = f"clip {lead}: {role}; R{lead}1 to R{lead}4 in its boot"
        text = s(
            "text",
            caption,
            s("exclude_from_sim", False),
            s("at", LEFT - 5.08, y - 10.16, 0),
            [*font(), s("justify", Word("left"))],
        )
        items.append([*text, s("uuid", stable("text", lead))])
    ground = s(
        "text",
        "ground clip: battery negative post",
        s("exclude_from_sim", False),
        s("at", places(parts, build)["F1"][1] - 5.08, 154.94, 0),
        [*font(), s("justify", Word("left"))],
    )
    items.append([*ground, s("uuid", stable("text", 0))])
    title = s(
        "title_block",
        s("title", f"firstcrank, {build} build"),
        s("rev", builds.REVISION),
        s("comment", 1, "Written by hardware_notes, MIT licence"),
    )
    head = [
        s("version", VERSION),
        s("generator", "firstcrank"),
        s("generator_version", "9.0"),
        s("uuid", root),
        s("paper", PAPER[kind_of(build)]),
        title,
    ]
    library = s("lib_symbols", *(library_symbol(name) for name in SYMBOL_PINS))
    sheets = s("sheet_instances", s("path", "/", s("page", "1")))
    return written(s("kicad_sch", *head, library, *items, sheets, s("embedded_fonts", False))) + "\n"
