"""Draws the schematics and the lead card as SVG on a white ground, from the builds' parts.

python -m hardware_notes.draw
"""

from __future__ import annotations

from pathlib import Path

import schemdraw
import schemdraw.elements as elm

from hardware_notes import builds
from hardware_notes.circuit import MCP_NAMES, PICO_NAMES, Part, circuit, roles

HERE = Path(__file__).parent
ROW = 6.2
schemdraw.use("svg")


def label(part: Part) -> str:
    """R16 6.8 kΩ."""
    return f"{part.ref}\n{part.value}"


def pin_label(parts: dict[str, Part], net: str) -> str:
    """The pin that a net ends at on the module or the converter, with its name."""
    for ref, names in (("U2", MCP_NAMES), ("U1", PICO_NAMES)):
        if ref in parts:
            for number, found in parts[ref].pins:
                if found == net:
                    return f"{ref} pin {number}\n{names[number]}"
    raise KeyError(net)


def one_lead(d: schemdraw.Drawing, parts: dict[str, Part], lead: int, role: str, y: float) -> None:
    """A row: clip, boot, terminal, node with its parts, pin."""
    d += elm.Dot(open=True).at((0, y)).label(f"{role}\nclip {lead}", "left")
    first = True
    for k in range(1, 5):
        resistor = elm.Resistor().right().label(label(parts[f"R{lead}{k}"]), fontsize=9)
        d += resistor.at((0, y)) if first else resistor
        first = False
    d += elm.Label().at((4.4, y - 0.7)).label("in the boot of the clip, sleeved", fontsize=9)
    d += elm.Rect(corner1=(-0.1, -0.95), corner2=(8.55, 0.95)).at((0, y)).linestyle("--").linewidth(0.8)
    d += elm.Dot(open=True).at((8.8, y)).label(f"J1.{lead + 1}", "bottom")
    d += elm.Resistor().right().label(label(parts[f"R{lead}5"]), fontsize=9)
    d += elm.Dot()
    d.push()
    d += elm.Resistor().down().label(label(parts[f"R{lead}6"]), "bottom", fontsize=9)
    d += elm.Ground().label("AGND", "bottom", fontsize=8)
    d.pop()
    if f"R{lead}8" in parts:
        d.push()
        d += elm.Resistor().up().label(label(parts[f"R{lead}8"]), "bottom", fontsize=9)
        d += elm.Vdd().label("3V3", fontsize=8)
        d.pop()
    d += elm.Line().right().length(1.9)
    d += elm.Dot()
    d.push()
    d += elm.Capacitor().down().label(label(parts[f"C{lead}1"]), "bottom", fontsize=9)
    d += elm.Ground().label("AGND", "bottom", fontsize=8)
    d.pop()
    d += elm.Line().right().length(2.1)
    d += elm.Dot()
    pair = f"D{lead}2" in parts
    names = (
        (f"D{lead}1\n1N4148\nring up", f"D{lead}2\n1N4148\nring up")
        if pair
        else (f"D{lead}1\nBAV199\n3 to 2", f"D{lead}1\nBAV199\n1 to 3")
    )
    d.push()
    d += elm.Diode().up().label(names[0], "bottom", fontsize=9)
    d += elm.Vdd().label("3V3", fontsize=8)
    d.pop()
    d.push()
    d += elm.Diode().down().reverse().label(names[1], "bottom", fontsize=9)
    d += elm.Ground().label("AGND", "bottom", fontsize=8)
    d.pop()
    d += elm.Line().right().length(1.5)
    d += elm.Resistor().right().label(label(parts[f"R{lead}7"]), fontsize=9)
    d += elm.Dot(open=True).label(pin_label(parts, f"PIN{lead}"), "right")


def supplies(d: schemdraw.Drawing, parts: dict[str, Part], y: float) -> None:
    """Ground lead, R1, the escape switch; the converter's own pins where there is one."""
    d += elm.Dot(open=True).at((0, y)).label("ground clip\nbattery negative POST", "left")
    d += elm.Fuse().right().at((0, y)).label(f"F1 {parts['F1'].value}\nat the clip", fontsize=9)
    d += elm.Line().right().length(4.4)
    d += elm.Dot(open=True).label("J1.1", "bottom")
    d += elm.Line().right().length(2.2)
    d += elm.Dot(open=True).label("AGND, U1 pin 33", "right")
    x = 15.5
    d += elm.Dot(open=True).at((x, y)).label("U1 pin 36\n3V3", "left")
    d += elm.Resistor().right().at((x, y)).label(label(parts["R1"]), fontsize=9)
    d += elm.Dot(open=True).label("U1 pin 28\nGND", "right")
    d += elm.Dot(open=True).at((x, y - 2.4)).label("U1 pin 29\nGP22", "left")
    d += elm.Switch().right().at((x, y - 2.4)).label("SW1", fontsize=9)
    d += elm.Dot(open=True).label("U1 pin 28\nGND", "right")
    if "U2" not in parts:
        return
    lines = []
    for number in ("9", "10", "11", "12", "13", "14", "15", "16"):
        net = parts["U2"].net(number)
        there = pin_label({"U1": parts["U1"]}, net).replace("\n", " ")
        lines.append(f"U2 pin {number} {MCP_NAMES[number]}: {there}")
    d += elm.Label().at((0, y - 3.0)).label("\n".join(lines[:4]), halign="left", fontsize=10)
    d += (
        elm.Label()
        .at((7.0, y - 3.0))
        .label("\n".join([*lines[4:], "C1 100 nF, C2 10 µF from U2 pin 16 to 14"]), halign="left", fontsize=10)
    )


def schematic(build: str, clamp_pair: bool, path: Path) -> None:
    """The whole build on one sheet."""
    parts = {p.ref: p for p in circuit(build, clamp_pair)}
    with schemdraw.Drawing(file=str(path), show=False) as d:
        d.config(unit=2.2, fontsize=11, margin=1.0, bgcolor="white")
        names = roles(build)
        d += elm.Label().at((0, 5.0)).label(f"{build} build, revision {builds.REVISION}", halign="left", fontsize=13)
        ratings = "Resistors 1 %, 0.6 W, 350 V, 0207; C11, C21 ... C0G or film, 5 %, 50 V"
        d += elm.Label().at((0, 4.4)).label(ratings, halign="left", fontsize=10)
        for lead, role in names.items():
            one_lead(d, parts, lead, role, -ROW * (lead - 1))
        supplies(d, parts, -ROW * len(names) + 1.0)


def text(x: int, y: int, size: int, content: str) -> str:
    """One line of SVG text."""
    return f'<text x="{x}" y="{y}" font-size="{size}">{content}</text>'


def lead_card(path: Path) -> None:
    """Which clip goes where, to print and keep with the board."""
    rows = (
        ("0", "ground", "black", "battery negative POST, nothing else"),
        ("1", "battery", builds.LEAD_MARKINGS["battery"], "battery positive POST, not the clamp"),
        ("2", "key_switch", builds.LEAD_MARKINGS["key_switch"], "module's plug, key-feed pin, AFTER the fuse, from the back"),
        ("3", "starter_coil", builds.LEAD_MARKINGS["starter_coil"], "starter solenoid, its S terminal (50)"),
    )
    last = (
        "USB first on, last off. Ground first on, last off. Key OFF. Laptop on its own battery, isolator in the cable.",
        f"The ground lead has a fuse of {builds.FUSE_A:g} A at its clip; the others have resistors in the clip's boot: never crush it.",
        "Never pierce insulation. Touch bare metal of the vehicle before a clip. Tie every lead off from belts, fan, exhaust.",
        "Check the engine-to-battery ground strap before the first clip goes on. Leads and board belong together: numbers.",
    )
    lines = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 860 372" font-family="sans-serif" fill="#000">',
        '<rect x="0" y="0" width="860" height="372" fill="#fff"/>',
        '<rect x="4" y="4" width="852" height="364" fill="none" stroke="#000" stroke-width="3"/>',
        '<text x="20" y="40" font-size="24" font-weight="bold">Leads</text>',
    ]
    for i, (number, role, mark, place) in enumerate(rows):
        y = 82 + 46 * i
        lines.append(f'<line x1="20" y1="{y + 14}" x2="840" y2="{y + 14}" stroke="#777"/>')
        lines.append(f'<text x="20" y="{y}" font-size="18" font-weight="bold">{number}  {role}</text>')
        lines.append(text(200, y, 15, mark))
        lines.append(text(350, y, 15, place))
    lines += [text(20, 272 + 24 * i, 14, content) for i, content in enumerate(last)]
    lines.append("</svg>")
    path.write_text("\n".join(lines) + "\n", "utf-8")


def draw_all(folder: Path) -> None:
    """All pictures into a folder."""
    schematic("minimal 12 V", True, folder / "schematic_minimal_12v.svg")
    schematic("minimal 24 V", True, folder / "schematic_minimal_24v.svg")
    schematic("better 12 V", False, folder / "schematic_better_12v.svg")
    lead_card(folder / "lead_card.svg")


if __name__ == "__main__":
    draw_all(HERE)
