"""A lead as it is made: clip, four resistors in line, two sleeves, numbered rings; the ground lead with its fuse beside it."""

from __future__ import annotations

from hardware_notes import builds
from hardware_notes.strip_picture import rings

CORD = "#b03030"


def label(x: float, y: float, text: str, size: int = 13) -> str:
    """A line of text from x on."""
    return f'<text x="{x:g}" y="{y:g}" font-size="{size}">{text}</text>'


def clip(x: float, y: float) -> list[str]:
    """An insulated clip, jaws to the left."""
    return [
        f'<path d="M{x} {y - 14}l70 -4v36l-70 -4l28 -14z" fill="#444" stroke="#000"/>',
        f'<path d="M{x - 34} {y - 12}l40 4M{x - 34} {y + 12}l40 -4" stroke="#888" stroke-width="7" stroke-linecap="round"/>',
    ]


def resistor(x: float, y: float, ohm: float) -> list[str]:
    """A body with its rings, legs 10 long."""
    out = [f'<line x1="{x - 14}" y1="{y}" x2="{x + 74}" y2="{y}" stroke="#aaa" stroke-width="5"/>']
    out.append(f'<rect x="{x}" y="{y - 10}" width="60" height="20" rx="8" fill="#7fb2d9" stroke="#345"/>')
    out += [
        f'<rect x="{x + at}" y="{y - 10}" width="5" height="20" fill="{c}"/>'
        for c, at in zip(rings(ohm), (8, 17, 26, 35, 47), strict=True)
    ]
    return out


def picture() -> str:
    """The drawing as SVG text."""
    out = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 940 420" font-family="sans-serif">',
        '<rect width="940" height="420" fill="#fff"/>',
        label(20, 30, "Input lead (three of them), before and after its sleeves", 17),
    ]
    y = 80
    out += clip(60, y)
    for k, ohm in enumerate(builds.INPUT_12V.parts_ohm[:4]):
        out += resistor(150 + 88 * k, y, ohm)
        out.append(f'<circle cx="{136 + 88 * k}" cy="{y}" r="5" fill="#777"/>')
        out.append(label(162 + 88 * k, y + 30, f"R1{k + 1}"))
    out.append(f'<circle cx="488" cy="{y}" r="5" fill="#777"/>')
    out.append(f'<line x1="488" y1="{y}" x2="880" y2="{y}" stroke="{CORD}" stroke-width="9"/>')
    out.append(label(600, y + 30, f"lead, {builds.LEAD_M:g} m, {builds.LEAD_MM2:g} mm²; bare end to J1"))
    y = 190
    out += clip(60, y)
    out.append(f'<line x1="120" y1="{y}" x2="880" y2="{y}" stroke="{CORD}" stroke-width="9"/>')
    out.append(f'<rect x="112" y="{y - 17}" width="420" height="34" rx="10" fill="#222" opacity="0.35"/>')
    out.append(f'<rect x="100" y="{y - 22}" width="460" height="44" rx="12" fill="#222" opacity="0.72"/>')
    out += [f'<rect x="{840 + 12 * i}" y="{y - 9}" width="7" height="18" fill="#fff" stroke="#000"/>' for i in range(2)]
    out.append(
        label(112, y + 44, "two layers of heat-shrink sleeve, 1 kV or more each, gripping clip and insulation: the boot")
    )
    out.append(label(760, y - 22, "rings: the lead's number"))
    y = 320
    out.append(label(20, y - 50, "Ground lead", 17))
    out += clip(60, y)
    out.append(f'<line x1="130" y1="{y}" x2="880" y2="{y}" stroke="#222" stroke-width="9"/>')
    out.append(f'<rect x="180" y="{y - 24}" width="90" height="48" rx="6" fill="#d8d8d8" stroke="#000"/>')
    out.append(f'<rect x="196" y="{y - 36}" width="58" height="26" rx="4" fill="#8a8a8a" stroke="#000"/>')
    out.append(
        label(150, y + 46, f"F1, {builds.FUSE_A:g} A blade fuse in its holder, at the clip; no resistors; bare end to J1.1")
    )
    legs = (
        "Joints staggered, legs cut short, no sharp end. Pull-test each lead. Then bring-up step 1: clip to bare end in ohms."
    )
    out += [label(20, 400, legs), "</svg>"]
    return "\n".join(out) + "\n"
