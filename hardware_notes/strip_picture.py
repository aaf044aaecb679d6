"""The finished strip board as a picture: parts as they look, colour rings and all, strips and cuts as if seen through the board."""

from __future__ import annotations

from hardware_notes.circuit import circuit
from hardware_notes.strip_board import COLUMNS, LAYOUT, ROWS, Hole

STEP = 24
LEFT, TOP = 60, 90
RINGS = ("#000", "#7a4a1e", "#c00", "#e87a00", "#f0d000", "#0a0", "#00c", "#80f", "#888", "#fff")
WIRE_COLOURS = ("#d22", "#222", "#222", "#222", "#06c")


def rings(ohm: float) -> list[str]:
    """Five colours, 1 % parts after IEC 60062: three digits, multiplier, brown."""
    exponent = 0
    value = ohm
    while value >= 999.5:
        value /= 10.0
        exponent += 1
    while value < 99.95:
        value *= 10.0
        exponent -= 1
    digits = f"{round(value):03d}"
    multiplier = {-1: "#d4af37", -2: "#c0c0c0"}.get(exponent, RINGS[max(exponent, 0)])
    return [RINGS[int(d)] for d in digits] + [multiplier, RINGS[1]]


def xy(hole: Hole) -> tuple[int, int]:
    """Centre of a hole."""
    return LEFT + hole[1] * STEP, TOP + hole[0] * STEP


def _body(one: Hole, other: Hole, length: int, width: int) -> tuple[float, float, float, float, bool]:
    (x1, y1), (x2, y2) = xy(one), xy(other)
    cx, cy, upright = (x1 + x2) / 2, (y1 + y2) / 2, x1 == x2
    w, h = (width, length) if upright else (length, width)
    return cx - w / 2, cy - h / 2, w, h, upright


def _legs(one: Hole, other: Hole) -> str:
    (x1, y1), (x2, y2) = xy(one), xy(other)
    return f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="#aaa" stroke-width="4"/>'


def _name(x: float, y: float, label: str, size: int = 10, fill: str = "#000") -> str:
    halo = ' stroke="#fff" stroke-width="3" paint-order="stroke"' if fill == "#000" else ""
    return f'<text x="{x:g}" y="{y:g}" font-size="{size}" text-anchor="middle" fill="{fill}"{halo}>{label}</text>'


def resistor(ref: str, ohm: float, one: Hole, other: Hole) -> list[str]:
    """A blue body with its five rings, the first one at pin 1's end."""
    x, y, w, h, upright = _body(one, other, 60, 20)
    out = [_legs(one, other), f'<rect x="{x:g}" y="{y:g}" width="{w}" height="{h}" rx="8" fill="#7fb2d9" stroke="#345"/>']
    forward = (xy(one)[1] <= xy(other)[1]) if upright else (xy(one)[0] <= xy(other)[0])
    places = (8, 17, 26, 35, 47) if forward else (48, 39, 30, 21, 9)
    for colour, at in zip(rings(ohm), places, strict=True):
        if upright:
            out.append(f'<rect x="{x:g}" y="{y + at:g}" width="{w}" height="5" fill="{colour}"/>')
        else:
            out.append(f'<rect x="{x + at:g}" y="{y:g}" width="5" height="{h}" fill="{colour}"/>')
    out.append(_name(x + w / 2, y - 4 if not upright else y + h + 12, ref))
    return out


def diode(ref: str, ring: Hole, other: Hole) -> list[str]:
    """A glass body, black ring at pin 1."""
    x, y, w, h, _ = _body(ring, other, 38, 16)
    up = xy(ring)[1] < xy(other)[1]
    band = y + 5 if up else y + h - 11
    return [
        _legs(ring, other),
        f'<rect x="{x:g}" y="{y:g}" width="{w}" height="{h}" rx="6" fill="#e59a55" stroke="#842"/>',
        f'<rect x="{x:g}" y="{band:g}" width="{w}" height="6" fill="#000"/>',
        _name(x + w / 2, y + h + 12, ref),
    ]


def capacitor(ref: str, one: Hole, other: Hole) -> list[str]:
    """A yellow body over both holes."""
    x, y, w, h, _ = _body(one, other, 44, 18)
    return [
        _legs(one, other),
        f'<rect x="{x:g}" y="{y:g}" width="{w}" height="{h}" rx="4" fill="#f2c230" stroke="#850"/>',
        _name(x + w / 2, y + h + 12, ref),
    ]


def module() -> list[str]:
    """The module with its pin numbers, USB at the top."""
    (x, y), (right, bottom) = xy((0, 0)), xy((ROWS - 1, 7))
    out = [
        f'<rect x="{x - 22}" y="{y - 40}" width="{right - x + 44}" height="{bottom - y + 60}" rx="6" fill="#1d7a3c" opacity="0.92"/>',
        f'<rect x="{(x + right) / 2 - 30:g}" y="{y - 58}" width="60" height="44" fill="#bbb" stroke="#666"/>',
        _name((x + right) / 2, y - 32, "USB", 12),
        _name((x + right) / 2, (y + bottom) / 2, "U1", 22, "#fff"),
        _name((x + right) / 2, (y + bottom) / 2 + 24, "Pico-class", 14, "#fff"),
    ]
    named = {"28": "GND", "29": "GP22", "31": "GP26", "32": "GP27", "33": "AGND", "34": "GP28", "36": "3V3", "37": "3V3_EN"}
    for pin, hole in LAYOUT.placed["U1"].items():
        cx, cy = xy(hole)
        out.append(f'<circle cx="{cx}" cy="{cy}" r="6" fill="#d8b040" stroke="#000"/>')
        label = f"{pin} {named[pin]}" if pin in named else pin
        anchor, dx = ("start", 11) if int(pin) <= 20 else ("end", -11)
        out.append(f'<text x="{cx + dx}" y="{cy + 4}" font-size="10" fill="#fff" text-anchor="{anchor}">{label}</text>')
    return out


def terminal() -> list[str]:
    """The screw terminal with the leads' names."""
    names = {"1": "ground (0)", "2": "battery (1)", "3": "key_switch (2)", "4": "starter_coil (3)"}
    holes = LAYOUT.placed["J1"]
    x, y = xy(holes["1"])
    out = [
        f'<rect x="{x - 20}" y="{y - 26}" width="46" height="{6 * STEP + 52}" fill="#2c6fbb" stroke="#124"/>',
        _name(x + 3, y - 32, "J1", 12),
    ]
    for pin, hole in holes.items():
        cx, cy = xy(hole)
        out.append(f'<circle cx="{cx + 3}" cy="{cy}" r="11" fill="#ccc" stroke="#333"/>')
        out.append(f'<line x1="{cx - 5}" y1="{cy}" x2="{cx + 11}" y2="{cy}" stroke="#333" stroke-width="3"/>')
        out.append(f'<text x="{cx + 34}" y="{cy + 5}" font-size="13">{pin} {names[pin]}</text>')
    return out


def picture(build: str = "minimal 12 V") -> str:
    """The whole board as SVG text."""
    ohm = {p.ref: p.ohm for p in circuit(build, clamp_pair=True)}
    width, height = LEFT + COLUMNS * STEP + 130, TOP + ROWS * STEP + 50
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-family="sans-serif">',
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
        f'<rect x="{LEFT - 30}" y="{TOP - 20}" width="{COLUMNS * STEP + 36}" height="{ROWS * STEP + 16}" fill="#e8d8b0" stroke="#a08040"/>',
    ]
    for row in range(ROWS):
        _, y = xy((row, 0))
        out.append(f'<rect x="{LEFT - 12}" y="{y - 8}" width="{COLUMNS * STEP}" height="16" fill="#d9a066" opacity="0.45"/>')
        out.append(f'<text x="{LEFT - 34}" y="{y + 4}" font-size="11" text-anchor="end">{row}</text>')
    for column in range(COLUMNS):
        x, _ = xy((0, column))
        out.append(f'<text x="{x}" y="{TOP + ROWS * STEP + 14}" font-size="11" text-anchor="middle">{column}</text>')
    dots = " ".join(f"M{xy((r, c))[0] - 2} {xy((r, c))[1]}h4" for r in range(ROWS) for c in range(COLUMNS))
    out.append(f'<path d="{dots}" stroke="#6b5a3a" stroke-width="4" stroke-linecap="round"/>')
    out += module()
    for (one, other), colour in zip(LAYOUT.wires, WIRE_COLOURS, strict=True):
        (x1, y1), (x2, y2) = xy(one), xy(other)
        out.append(f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}" stroke="{colour}" stroke-width="6" stroke-linecap="round"/>')
    for ref, pins in LAYOUT.placed.items():
        if ref[0] == "R":
            out += resistor(ref, ohm[ref], pins["1"], pins["2"])
        elif ref[0] == "D":
            out += diode(ref, pins["1"], pins["2"])
        elif ref[0] == "C":
            out += capacitor(ref, pins["1"], pins["2"])
    (x, y), (_, y2) = xy(LAYOUT.placed["SW1"]["1"]), xy(LAYOUT.placed["SW1"]["2"])
    out += [f'<rect x="{x - 9}" y="{y - 9}" width="18" height="{y2 - y + 18}" fill="#222"/>', _name(x + 24, y2 - 6, "SW1")]
    out += terminal()
    for row, column in LAYOUT.cuts:
        x, y = xy((row, column))
        out.append(f'<path d="M{x - 8} {y - 8}l16 16m0 -16l-16 16" stroke="#c00" stroke-width="3"/>')
    label = f"{build}; red crosses: strips cut on the copper side, here seen through the board"
    out.append(f'<text x="{LEFT}" y="{TOP + ROWS * STEP + 40}" font-size="13">{label}</text>')
    out.append("</svg>")
    return "\n".join(out) + "\n"
