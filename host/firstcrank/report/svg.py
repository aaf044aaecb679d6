"""A drawing as SVG text that stands inside a page or a paper: no library, nothing fetched, its width left to the page.

Every line has its colours of a white page as attributes, and a class by which a page may give it others (page.css).
"""

from __future__ import annotations

import math
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from firstcrank.printable import printable
from firstcrank.report.drawing import Curve, Drawing

UNITS_PER_IN = 100.0
UNITS_PER_PT = UNITS_PER_IN / 72.0
PHONE_WIDTH, PHONE_HEIGHT = 358.0, 1.0  # units of a picture for 390 px; of the wide one's height
LEFT, RIGHT, TOP, BOTTOM = 42.0, 8.0, 8.0, 34.0
LINE = 17.0  # height of a line of the title or the legend
LETTER = 6.6  # mean width of a letter at 12 units
SAMPLE = 26.0  # length of a legend's piece of line
PAGE_FONTS = "system-ui, sans-serif"


def as_svg(drawing: Drawing, phone: bool = False, fonts: str = PAGE_FONTS) -> str:
    """An `<svg>` element, its texts escaped. `phone`: as narrow as a phone, its letters as large as the page's own."""
    return _Canvas(drawing, phone, fonts).text()


class _Canvas:
    def __init__(self, drawing: Drawing, phone: bool, fonts: str) -> None:
        self.drawing, self.fonts, self.phone = drawing, fonts, phone
        self.width = PHONE_WIDTH if phone else drawing.width_in * UNITS_PER_IN
        self.rows = _legend_rows(drawing, self.width) if drawing.legend else []
        self.top = TOP + LINE * (bool(drawing.title) + len(self.rows))
        more = LINE * max(len(self.rows) - 1, 0)
        self.height = drawing.height_in * UNITS_PER_IN * (PHONE_HEIGHT if phone else 1.0) + more
        self.bottom = self.height - BOTTOM

    def x(self, time_s: float) -> float:
        from_s, to_s = self.drawing.time_s
        return LEFT + (time_s - from_s) / max(to_s - from_s, 1e-9) * (self.width - LEFT - RIGHT)

    def y(self, volts: float) -> float:
        low, high = self.drawing.volts
        return self.bottom - (volts - low) / max(high - low, 1e-9) * (self.bottom - self.top)

    def text(self) -> str:
        drawing = self.drawing
        label = printable(drawing.title or "Voltages over the whole start")
        parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width:g} {self.height:g}" role="img" '
            f"aria-label={quoteattr(printable(f'{label}. {drawing.alt}'))} font-family={quoteattr(self.fonts)} "
            'font-size="12" fill="none">',
            f"<title>{escape(label)}</title>",
        ]
        parts += self.grid()
        parts += [self.vertical(at_s, "#888", "b") for at_s in drawing.borders_s]
        parts += [hatch for from_s, to_s in drawing.bands_s for hatch in self.hatched(from_s, to_s)]
        parts += [self.curve(curve) for curve in drawing.curves]
        parts += [self.caption(at_s, name) for at_s, name in drawing.captions]
        if drawing.level is not None:
            volts, name = drawing.level
            y = self.y(volts)
            parts.append(self.line(LEFT, y, self.width - RIGHT, y, "#000", "f", ' stroke-dasharray="5 5"'))
            parts.append(self.text_element(LEFT + 4, y - 3, name))
        if drawing.title:
            parts.append(self.text_element(LEFT, TOP + 12, drawing.title))
        return "\n".join([*parts, *self.legend(), "</svg>"])

    def grid(self) -> list[str]:
        parts = []
        for volts in ticks(*self.drawing.volts, most=6):
            parts.append(self.line(LEFT, self.y(volts), self.width - RIGHT, self.y(volts), "#ddd", "g"))
            parts.append(self.text_element(LEFT - 5, self.y(volts) + 4, number(volts), "end"))
        for time_s in ticks(*self.drawing.time_s, most=5 if self.phone else 8):
            parts.append(self.vertical(time_s, "#ddd", "g"))
            parts.append(self.text_element(self.x(time_s), self.bottom + 14, number(time_s), "middle"))
        parts.append(f'<rect x="{LEFT:g}" y="{self.top:g}" width="{self.width - LEFT - RIGHT:g}" ')
        parts[-1] += f'height="{self.bottom - self.top:g}" stroke="#000" stroke-width="0.8" class="f"/>'
        parts.append(self.text_element((LEFT + self.width - RIGHT) / 2, self.height - 5, self.drawing.time_label, "middle"))
        return [*parts, self.text_element(4, self.top + 10, "V")]

    def curve(self, curve: Curve) -> str:
        """One path; it is broken where a reading is missing, and cut at the frame's sides."""
        from_s, to_s = self.drawing.time_s
        pieces: list[str] = []
        pen_down = False
        for time_s, volts in zip(curve.time_s.tolist(), curve.volts.tolist(), strict=True):
            if not (math.isfinite(volts) and from_s <= time_s <= to_s):
                pen_down = False
                continue
            pieces.append(f"{'L' if pen_down else 'M'}{self.x(time_s):.1f} {self.y(volts):.1f}")
            pen_down = True
        return f'<path d="{"".join(pieces)}" {_stroke(curve, curve.width_pt * UNITS_PER_PT)} stroke-linejoin="round"/>'

    def hatched(self, from_s: float, to_s: float) -> list[str]:
        """Slanted lines over a stretch of time, below the phases' names: it is seen without colour."""
        left, right = max(self.x(from_s), LEFT), min(self.x(to_s), self.width - RIGHT)
        return self.slanted(left, right, self.top + LINE * bool(self.drawing.captions), self.bottom, 9.0)

    def slanted(self, left: float, right: float, top: float, bottom: float, step: float) -> list[str]:
        height = bottom - top
        parts = []
        for start in np.arange(left - height, right, step).tolist():
            begin, end = max(start, left), min(start + height, right)
            if end > begin:
                parts.append(self.line(begin, bottom - (begin - start), end, bottom - (end - start), "#777", "h"))
        return parts

    def legend(self) -> list[str]:
        parts = []
        y = TOP + LINE * bool(self.drawing.title) + 7
        for row in self.rows:
            at = max((self.width - sum(width for _, _, width in row)) / 2, 2.0)
            for curve, label, width in row:
                if curve is None:
                    parts += self.slanted(at, at + SAMPLE, y - 6, y + 6, 5.0)
                else:
                    parts.append(f'<path d="M{at:.1f} {y:.1f}h{SAMPLE:g}" {_stroke(curve, curve.width_pt * UNITS_PER_PT)}/>')
                parts.append(self.text_element(at + SAMPLE + 6, y + 4, label))
                at += width
            y += LINE
        return parts

    def caption(self, at_s: float, name: str) -> str:
        """A phase's name, kept within the frame."""
        half = LETTER * len(name) / 2
        return self.text_element(min(max(self.x(at_s), LEFT + half), self.width - RIGHT - half), self.top + 13, name, "middle")

    def vertical(self, time_s: float, colour: str, kind: str) -> str:
        return self.line(self.x(time_s), self.top, self.x(time_s), self.bottom, colour, kind)

    @staticmethod
    def line(x1: float, y1: float, x2: float, y2: float, colour: str, kind: str, more: str = "") -> str:
        return f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}" stroke="{colour}" stroke-width="0.8" class="{kind}"{more}/>'

    @staticmethod
    def text_element(x: float, y: float, text: str, anchor: str = "start") -> str:
        return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="#000">{escape(printable(text))}</text>'


LegendRow = list[tuple[Curve | None, str, float]]


def _legend_rows(drawing: Drawing, width: float) -> list[LegendRow]:
    """Lines with their names and widths, as many in a row as fit; last the hatching, which has no curve."""
    entries: LegendRow = [(c, c.label, 0.0) for c in drawing.curves if c.label]
    if drawing.bands_s and drawing.bands_label:
        entries.append((None, drawing.bands_label, 0.0))
    rows: list[LegendRow] = [[]]
    for curve, label, _ in entries:
        own = SAMPLE + 6 + LETTER * len(label) + 14
        if rows[-1] and sum(w for _, _, w in rows[-1]) + own > width:
            rows.append([])
        rows[-1].append((curve, label, own))
    return rows


def _stroke(curve: Curve, width: float) -> str:
    dashes = " ".join(f"{length * width:.1f}" for length in curve.style.dashes)
    pattern = f' stroke-dasharray="{dashes}"' if dashes else ""
    kind = f' class="l-{curve.style.name}"' if curve.style.name else ""
    return f'stroke="{curve.style.colour}" stroke-width="{width:.1f}"{pattern}{kind}'


def ticks(low: float, high: float, most: int) -> list[float]:
    """Round values (1, 2, 5 times a power of ten apart) from `low` to `high`, at most `most` + 1 of them."""
    span = high - low
    if not (math.isfinite(span) and span > 0):
        return []
    power = 10.0 ** math.floor(math.log10(span / most))
    step = next(s * power for s in (1.0, 2.0, 5.0, 10.0) if span / (s * power) <= most)
    first = math.ceil(low / step - 1e-9)
    return [n * step for n in range(first, math.floor(high / step + 1e-9) + 1)]


def number(value: float) -> str:
    """A tick's text, without the digits that floating point adds."""
    return f"{value:.6g}" if abs(value) > 1e-12 else "0"
