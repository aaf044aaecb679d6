"""Draws the schematics and the lead card as SVG from the builds' values.

python -m hardware_notes.draw
"""

from __future__ import annotations

from pathlib import Path

import schemdraw
import schemdraw.elements as elm

from hardware_notes.builds import BUILDS

HERE = Path(__file__).parent
schemdraw.use("svg")


def ohms(value: float) -> str:
    """10 k, 6.8 k."""
    return f"{value / 1e3:g} k"


def one_input(role: str, build: str, pin: str, path: Path) -> None:
    """The network of one input."""
    n = BUILDS[build][role]
    with schemdraw.Drawing(file=str(path), show=False) as d:
        d.config(unit=2.2, fontsize=12, margin=1.2)
        d += elm.Dot(open=True).label(f"{role}\nclip", "left")
        d += elm.Fuse().right().label("0.5 A\nat the clip")
        d += elm.Resistor().right().label(f"R1 {ohms(n.r_top_ohm)}")
        node = elm.Dot()
        d += node
        d.push()
        d += elm.Resistor().down().label(f"R2\n{ohms(n.r_bottom_ohm)}", "bottom")
        d += elm.Ground()
        d.pop()
        if n.r_up_ohm:
            d.push()
            d += elm.Resistor().up().label(f"R4 {ohms(n.r_up_ohm)}", "bottom")
            d += elm.Vdd().label("3V3")
            d.pop()
        d += elm.Line().right().length(1.6)
        d += elm.Dot()
        d.push()
        d += elm.Capacitor().down().label(f"C1\n{n.c_filter_f * 1e9:g} n", "bottom")
        d += elm.Ground()
        d.pop()
        d += elm.Line().right().length(1.8)
        clamp = elm.Dot()
        d += clamp
        d.push()
        d += elm.Schottky().up().label("D1a", "bottom")
        d += elm.Vdd().label("3V3")
        d.pop()
        d.push()
        d += elm.Schottky().down().reverse().label("D1b", "bottom")
        d += elm.Ground()
        d.pop()
        d += elm.Resistor().right().label(f"R3 {ohms(n.r_series_ohm)}")
        d += elm.Dot(open=True).label(pin, "right")


def minimal(path: Path) -> None:
    """The whole minimal build: three inputs, one board."""
    pins = (("battery", "GP26 / ADC0"), ("key_switch", "GP27 / ADC1"), ("starter_coil", "GP28 / ADC2"))
    with schemdraw.Drawing(file=str(path), show=False) as d:
        d.config(unit=2.0, fontsize=11, margin=1.6)
        board = elm.Ic(
            pins=[
                *(
                    elm.IcPin(name=pin, side="left", pin=number, anchorname=f"in{i}")
                    for i, ((_, pin), number) in enumerate(zip(pins, ("31", "32", "34"), strict=True))
                ),
                elm.IcPin(name="AGND", side="left", pin="33", anchorname="agnd"),
                elm.IcPin(name="USB", side="right", anchorname="usb"),
                elm.IcPin(name="GP22", side="right", pin="29", anchorname="escape"),
            ],
            label="Pico-class board",
            edgepadW=3.0,
            edgepadH=1.0,
            pinspacing=1.6,
        )
        d += board
        for i, (role, _) in enumerate(pins):
            d += elm.Line().left().at(getattr(board, f"in{i}")).length(0.6)
            d += elm.RBox().left().label("network")
            d += elm.Fuse().left().label("0.5 A")
            d += elm.Dot(open=True).label(role, "left")
        d += elm.Line().left().at(board.agnd).length(0.6)
        d += elm.Line().left().length(2.0)
        d += elm.Line().left().length(2.0)
        d += elm.Dot(open=True).label("battery negative POST", "left")
        d += elm.Line().right().at(board.usb).length(0.8)
        d += elm.Dot(open=True).label("laptop on its own battery", "right")


def text(x: int, y: int, size: int, words: str) -> str:
    """One line of SVG text."""
    return f'<text x="{x}" y="{y}" font-size="{size}">{words}</text>'


def lead_card(path: Path) -> None:
    """Which clip goes where, to print and keep with the board."""
    rows = (
        ("ground", "black", "battery negative POST, nothing else"),
        ("battery", "red, ring", "battery positive POST, not the clamp"),
        ("key_switch", "yellow, one band", "module's plug, key-feed pin, AFTER the fuse, from the back"),
        ("starter_coil", "white, two bands", "starter solenoid, its own terminal 50"),
    )
    lines = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 720 330" font-family="sans-serif" fill="#000">',
        '<rect x="2" y="2" width="716" height="326" fill="#fff" stroke="#000" stroke-width="3"/>',
        '<text x="20" y="38" font-size="24" font-weight="bold">Leads</text>',
        text(110, 38, 14, "Ground first on, last off. Key OFF. Tie every lead off from belts, fan and exhaust."),
    ]
    for i, (role, mark, place) in enumerate(rows):
        y = 78 + 46 * i
        lines.append(f'<line x1="20" y1="{y + 14}" x2="700" y2="{y + 14}" stroke="#999"/>')
        lines.append(f'<text x="20" y="{y}" font-size="18" font-weight="bold">{role}</text>')
        lines.append(f'<text x="170" y="{y}" font-size="14">{mark}</text>')
        lines.append(f'<text x="310" y="{y}" font-size="14">{place}</text>')
    lines += [
        text(20, 275, 14, "A fuse of 0.5 A at every clip. Never pierce insulation. Laptop on its own battery."),
        text(20, 300, 14, "Check the engine-to-battery ground strap before the first clip goes on."),
        "</svg>",
    ]
    path.write_text("\n".join(lines) + "\n", "utf-8")


def draw_all(folder: Path) -> None:
    """All pictures into a folder."""
    minimal(folder / "minimal_build.svg")
    one_input("battery", "minimal 12 V", "GP26", folder / "input_minimal_12v.svg")
    one_input("battery", "minimal 24 V", "GP26", folder / "input_minimal_24v.svg")
    one_input("battery", "better 12 V", "CH0", folder / "input_better_12v.svg")
    one_input("module_ground", "better 12 V", "CH6", folder / "input_ground.svg")
    lead_card(folder / "lead_card.svg")


if __name__ == "__main__":
    draw_all(HERE)
