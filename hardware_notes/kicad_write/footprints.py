"""Own footprints: pads in millimetres from the part's first pin or middle, outline on the silk screen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from hardware_notes.kicad_write.sexpr import Word, s, stable

LIBRARY = "firstcrank"
STEP = 2.54


@dataclass(frozen=True, slots=True)
class Pad:
    """`drill_mm` 0: a surface pad on the front. `w_mm`, `h_mm`: copper."""

    number: str
    x_mm: float
    y_mm: float
    w_mm: float
    h_mm: float
    drill_mm: float


def through(number: str, x: float, y: float, size: float = 1.7, drill: float = 0.9) -> Pad:
    """A plated hole."""
    return Pad(number, x, y, size, size, drill)


@dataclass(frozen=True, slots=True)
class Footprint:
    """Pads; outline as rectangles (x1, y1, x2, y2); where the reference is written."""

    pads: tuple[Pad, ...]
    outline: tuple[tuple[float, float, float, float], ...]
    label: tuple[float, float, int]


def across(rows: int, half_width: float, body: float) -> Footprint:
    """A two-legged part lying across `rows` rows, pin 1 at the origin, pin 2 below (rows above 0) or above."""
    length = rows * STEP
    middle = length / 2
    half = min(body, abs(length) - 2.2) / 2
    pads = (through("1", 0, 0), through("2", 0, length))
    return Footprint(pads, ((-half_width, middle - half, half_width, middle + half),), (0, middle, 90))


def along(columns: int) -> Footprint:
    """A resistor lying along a row, pin 1 at the origin, pin 2 to the left."""
    length = -columns * STEP
    middle = length / 2
    return Footprint(
        (through("1", 0, 0), through("2", length, 0)), ((middle - 3.2, -1.25, middle + 3.2, 1.25),), (middle, 0, 0)
    )


def level(length: float, half_body: float) -> Footprint:
    """A two-legged part lying level, pin 1 at the origin, pin 2 `length` millimetres to the right (below 0: to the left)."""
    middle = length / 2
    outline = (middle - half_body, -1.25, middle + half_body, 1.25)
    label = (middle, 0.0, 0) if half_body > 2 else (middle, -1.95, 0)
    return Footprint((through("1", 0, 0), through("2", length, 0)), (outline,), label)


SOT23 = Footprint(
    # Seen from above with pin 3 down: 2 left, 1 right.
    (Pad("1", 0.95, -1.0, 0.8, 1.1, 0.0), Pad("2", -0.95, -1.0, 0.8, 1.1, 0.0), Pad("3", 0.0, 1.0, 0.8, 1.1, 0.0)),
    ((-1.6, -0.2, 1.6, 0.2),),
    (0.0, 2.6, 0),
)


def terminal(ways: int) -> Footprint:
    """A screw terminal of 5.08 mm, its first way on top."""
    pads = tuple(through(str(k + 1), 0, 2 * STEP * k, 2.4, 1.3) for k in range(ways))
    return Footprint(pads, ((-4.0, -2.6, 4.2, 2 * STEP * (ways - 1) + 2.6),), (0, -3.8, 0))


TERMINAL = terminal(4)
HEADER = Footprint(
    (through("1", 0, 0, 1.7, 1.0), through("2", 0, STEP, 1.7, 1.0)), ((-1.3, -1.3, 1.3, STEP + 1.3),), (0, -2.2, 0)
)
PICO = Footprint(
    tuple(
        through(str(n), 0 if n <= 20 else 7 * STEP, (n - 1) * STEP if n <= 20 else (40 - n) * STEP, 1.7, 1.0)
        for n in range(1, 41)
    ),
    ((-1.6, -1.37, 7 * STEP + 1.6, 19 * STEP + 1.37),),
    (3.5 * STEP, 9.5 * STEP, 90),
)
PICO_TURNED = Footprint(
    tuple(through(p.number, 7 * STEP - p.x_mm, 19 * STEP - p.y_mm, 1.7, 1.0) for p in PICO.pads), PICO.outline, PICO.label
)
DIP16 = Footprint(
    tuple(through(str(n), 0 if n <= 8 else 3 * STEP, (n - 1) * STEP if n <= 8 else (16 - n) * STEP) for n in range(1, 17)),
    ((1.3, -1.27, 3 * STEP - 1.3, 7 * STEP + 1.27),),
    (1.5 * STEP, 3.5 * STEP, 90),
)


def name_of(kind: str, footprint: Footprint) -> str:
    """A name that says the kind and the span, so that each name is one footprint."""
    if kind in ("R", "C"):
        last = footprint.pads[-1]
        span = round((last.x_mm + last.y_mm) / STEP)
        if last.x_mm > 0:
            return f"{kind}_level_{span}"
        return f"{kind}_{'along' if last.x_mm else 'across'}_{'up_' if span < 0 and not last.x_mm else ''}{abs(span)}"
    pico = "Pico_sockets_turned" if footprint == PICO_TURNED else "Pico_sockets"
    ways = f"Terminal_{len(footprint.pads)}x5.08"
    return {"D2": "SOT-23", "J": ways, "SW": "Header_1x2", "PICO": pico, "MCP3208": "DIP-16"}[kind]


def body(kind: str, footprint: Footprint, ref: str, value: str, nets: dict[str, tuple[int, str]] | None) -> list[list[Any]]:
    """Properties, outline and pads: in a board (`nets` given) or in the library (None)."""
    where = ref or name_of(kind, footprint)
    lx, ly, angle = footprint.label
    small = s("effects", s("font", s("size", 0.9, 0.9), s("thickness", 0.14)))
    hidden = s("effects", s("font", s("size", 1, 1), s("thickness", 0.15)))
    items = [
        s(
            "property",
            "Reference",
            ref or "REF**",
            s("at", lx, ly, angle),
            s("layer", "F.SilkS"),
            s("uuid", stable("fp-ref", where)),
            small,
        ),
        s(
            "property",
            "Value",
            value or name_of(kind, footprint),
            s("at", lx, ly, angle),
            s("layer", "F.Fab"),
            s("hide", True),
            s("uuid", stable("fp-val", where)),
            hidden,
        ),
        s("attr", Word("smd" if kind == "D2" else "through_hole")),
    ]
    for i, (x1, y1, x2, y2) in enumerate(footprint.outline):
        items.append(
            s("fp_rect", s("start", x1, y1), s("end", x2, y2), s("stroke", s("width", 0.15), s("type", Word("solid"))), s("fill", False),
              s("layer", "F.SilkS"), s("uuid", stable("fp-line", where, i)))
        )  # fmt: skip
    for pad in footprint.pads:
        smd = pad.drill_mm == 0
        shape = Word("rect" if smd or pad.number == "1" else "circle")
        layers = s("layers", "F.Cu", "F.Mask", "F.Paste") if smd else s("layers", "*.Cu", "*.Mask")
        drill = [] if smd else [s("drill", pad.drill_mm)]
        net = [s("net", nets[pad.number][0], nets[pad.number][1])] if nets and pad.number in nets else []
        items.append(
            s("pad", pad.number, Word("smd" if smd else "thru_hole"), shape, s("at", pad.x_mm, pad.y_mm), s("size", pad.w_mm, pad.h_mm),
              *drill, layers, *net, s("uuid", stable("pad", where, pad.number)))
        )  # fmt: skip
    return items
