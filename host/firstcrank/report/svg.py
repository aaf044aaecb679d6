"""A drawing as SVG text that stands inside a page: no library, nothing fetched, its width left to the page."""

from __future__ import annotations

import math
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from firstcrank.printable import printable
from firstcrank.report.drawing import Curve, Drawing

UNITS_PER_IN = 100.0
UNITS_PER_PT = UNITS_PER_IN / 72.0
LEFT, RIGHT, TOP, BOTTOM = 42.0, 8.0, 8.0, 34.0
LINE = 17.0  # height of the title's or the legend's line
LETTER = 6.3  # mean width of a letter at 12 units
SAMPLE = 26.0  # length of a legend's piece of line


def as_svg(drawing: Drawing) -> str:
    """An `<svg>` element, its texts escaped."""
    return _Canvas(drawing).text()


class _Canvas:
    def __init__(self, drawing: Drawing) -> None:
        self.drawing = drawing
        self.width, self.height = drawing.width_in * UNITS_PER_IN, drawing.height_in * UNITS_PER_IN
        self.top = TOP + LINE * (bool(drawing.title) + drawing.legend)
        self.bottom = self.height - BOTTOM

    def x(self, time_s: float) -> float:
        from_s, to_s = self.drawing.time_s
        return LEFT + (time_s - from_s) / max(to_s - from_s, 1e-9) * (self.width - LEFT - RIGHT)

    def y(self, volts: float) -> float:
        low, high = self.drawing.volts
        return self.bottom - (volts - low) / max(high - low, 1e-9) * (self.bottom - self.top)

    def text(self) -> str:
        drawing = self.drawing
        label = drawing.title or "Voltages over the whole start"
        parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {self.width:g} {self.height:g}" role="img" '
            f'aria-label={quoteattr(printable(label))} font-family="system-ui, sans-serif" font-size="12" fill="none">'
        ]
        parts += self.grid()
        parts += [self.vertical(at_s, "#888") for at_s in drawing.borders_s]
        parts += [hatch for from_s, to_s in drawing.bands_s for hatch in self.hatched(from_s, to_s)]
        parts += [self.curve(curve) for curve in drawing.curves]
        parts += [self.text_element(self.x(at_s), self.top + 13, name, "middle") for at_s, name in drawing.captions]
        if drawing.level is not None:
            volts, name = drawing.level
            parts.append(self.line(LEFT, self.y(volts), self.width - RIGHT, self.y(volts), "#000", ' stroke-dasharray="5 5"'))
            parts.append(self.text_element(LEFT + 4, self.y(volts) - 3, name))
        if drawing.title:
            parts.append(self.text_element(LEFT, TOP + 12, drawing.title))
        if drawing.legend:
            parts += self.legend()
        return "\n".join([*parts, "</svg>"])

    def grid(self) -> list[str]:
        parts = []
        for volts in ticks(*self.drawing.volts, most=6):
            parts.append(self.line(LEFT, self.y(volts), self.width - RIGHT, self.y(volts), "#ddd"))
            parts.append(self.text_element(LEFT - 5, self.y(volts) + 4, number(volts), "end"))
        for time_s in ticks(*self.drawing.time_s, most=8):
            parts.append(self.vertical(time_s, "#ddd"))
            parts.append(self.text_element(self.x(time_s), self.bottom + 14, number(time_s), "middle"))
        parts.append(f'<rect x="{LEFT:g}" y="{self.top:g}" width="{self.width - LEFT - RIGHT:g}" ')
        parts[-1] += f'height="{self.bottom - self.top:g}" stroke="#000" stroke-width="0.8"/>'
        parts.append(self.text_element((LEFT + self.width - RIGHT) / 2, self.height - 5, "seconds", "middle"))
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
        width = curve.width_pt * UNITS_PER_PT
        return f'<path d="{"".join(pieces)}" {_stroke(curve, width)} stroke-linejoin="round"/>'

    def hatched(self, from_s: float, to_s: float) -> list[str]:
        """Slanted lines over a stretch of time: it is seen without colour."""
        left, right = max(self.x(from_s), LEFT), min(self.x(to_s), self.width - RIGHT)
        height = self.bottom - self.top
        parts = []
        for start in np.arange(left - height, right, 9.0).tolist():
            begin, end = max(start, left), min(start + height, right)
            if end > begin:
                parts.append(self.line(begin, self.bottom - (begin - start), end, self.bottom - (end - start), "#777"))
        return parts

    def legend(self) -> list[str]:
        named = [curve for curve in self.drawing.curves if curve.label]
        widths = [SAMPLE + 6 + LETTER * len(curve.label) + 14 for curve in named]
        at = max((self.width - sum(widths)) / 2, 2.0)
        y = TOP + LINE * bool(self.drawing.title) + 7
        parts = []
        for curve, width in zip(named, widths, strict=True):
            stroke = _stroke(curve, 2.0)
            parts.append(f'<path d="M{at:.1f} {y:.1f}h{SAMPLE:g}" {stroke}/>')
            parts.append(self.text_element(at + SAMPLE + 6, y + 4, curve.label))
            at += width
        return parts

    def vertical(self, time_s: float, colour: str) -> str:
        return self.line(self.x(time_s), self.top, self.x(time_s), self.bottom, colour)

    @staticmethod
    def line(x1: float, y1: float, x2: float, y2: float, colour: str, more: str = "") -> str:
        return f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}" stroke="{colour}" stroke-width="0.8"{more}/>'

    @staticmethod
    def text_element(x: float, y: float, text: str, anchor: str = "start") -> str:
        return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="#000">{escape(printable(text))}</text>'


def _stroke(curve: Curve, width: float) -> str:
    dashes = " ".join(f"{length * width:.1f}" for length in curve.style.dashes)
    pattern = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'stroke="{curve.style.colour}" stroke-width="{width:.1f}"{pattern}'


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
